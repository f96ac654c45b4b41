"""Old archives are brought to the newest shape with all their data, or not at all."""

from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, inspect, text

from benchproof.record import chain, schema
from benchproof.record import upgrade as upgrading
from benchproof.record.database import Database, database_at
from benchproof.record.migrations import m2_condition_and_shelf
from benchproof.record.moves import lawful_sql
from benchproof.record.problems import Unusable
from benchproof.record.rows import CoreRow, PartRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify

Clock = Callable[[], datetime]

FIRST = "1"
AT = "2025-01-02T03:04:05.000006+00:00"


def fill_first(database: Database) -> tuple[chain.ChainLink, ...]:
    """Record in the first shape of the archive, by its own columns."""
    links = [chain.following(chain.start("S-1.1"), b"opened")]
    links.append(chain.following(links[0], b"\x00reading\xff"))
    with database.writing() as connection:
        for statement in (
            "INSERT INTO people VALUES ('AB', 'Ada Invented')",
            "INSERT INTO customers VALUES ('K-1', 'Invented Farm', 'gate 3')",
            "INSERT INTO gear VALUES ('M-1', 'meter', NULL, '2025-01-01', '2026-01-01', '')",
            "INSERT INTO units VALUES "
            f"('U-1', 'autobus', 'K-1', 'SN', 'no reverse', '17', 412000, '{AT}')",
            f"INSERT INTO cores VALUES ('C-1', 'autobus', 'paid', 'wet', '{AT}')",
        ):
            connection.execute(text(statement))
        connection.execute(
            text("INSERT INTO files VALUES (:hash, :content)"),
            {"hash": "f" * 64, "content": b"family\x00"},
        )
        connection.execute(
            text(
                "INSERT INTO parts VALUES "
                f"('S-1', 'invented', '{'f' * 64}', 'other', 'C-1', false, 'n', '{AT}')"
            )
        )
        connection.execute(
            text(f"INSERT INTO proofs VALUES ('S-1.1', 'S-1', 1, '{AT}', 2, :head)"),
            {"head": links[1].hash},
        )
        for link, payload in zip(links, (b"opened", b"\x00reading\xff"), strict=True):
            connection.execute(
                text("INSERT INTO events VALUES ('S-1.1', :seq, :payload, :hash)"),
                {"seq": link.seq, "payload": payload, "hash": link.hash},
            )
    return tuple(links)


def test_the_first_archive_upgrades_to_the_last_with_its_data(where: str, clock: Clock) -> None:
    with closing(Database(database_at(where), FIRST)) as old:
        links = fill_first(old)
        with old.reading() as connection:
            assert not inspect(connection).has_table("shelf_moves")
    at = datetime(2025, 1, 2, 3, 4, 5, 6, tzinfo=UTC)
    with open_store(where, clock) as store:
        assert store.people.get("AB").name == "Ada Invented"
        assert store.customers.get("K-1").contact == "gate 3"
        assert str(store.gear.get("M-1").due_on) == "2026-01-01"
        assert store.units.get("U-1").mileage_km == 412000
        assert store.cores.get("C-1") == CoreRow("C-1", at, "autobus", "paid", note="wet")
        assert store.parts.get("S-1") == PartRow(
            "S-1", "invented", "f" * 64, at, "other", "C-1", bought=False, note="n"
        )
        assert [e.payload for e in store.proofs.events("S-1.1")] == [b"opened", b"\x00reading\xff"]
        row = store.proofs.row("S-1.1")
        assert (row.mode, row.closed_as, row.head) == ("", None, links[1].hash)
        # The file's hash above is invented; everything else is whole.
        assert [a.where for a in verify(store.database).found] == [f"file {'f' * 64}"]
        store.proofs.append("S-1.1", b"closed", 2, closed_as="accepted")
        store.shelf.move("S-1", "stock")
        with store.database.reading() as connection:
            assert upgrading.revision(connection) == schema.LAST_REVISION != FIRST


def test_an_upgraded_archive_has_the_shape_of_a_new_one(where: str, clock: Clock) -> None:
    Database(database_at(where), FIRST).close()
    with open_store(where, clock) as store:
        assert differences(store) == []


def differences(store: Store) -> list[object]:
    """Return in what the tables differ from those that the program believes in."""
    options = {"version_table": schema.VERSION_TABLE, "compare_type": True}
    with store.database.reading() as connection:
        found: list[object] = compare_metadata(
            MigrationContext.configure(connection, opts=options), schema.metadata
        )
        for table in schema.metadata.sorted_tables:
            there = {str(c["name"]) for c in inspect(connection).get_check_constraints(table.name)}
            wanted = {str(c.name) for c in table.constraints if isinstance(c, CheckConstraint)}
            if there != wanted:
                found.append((table.name, there, wanted))
    return found


def test_the_check_of_lawful_moves_is_the_same_in_both() -> None:
    """The migration has the condition spelt out; the tables have it from `moves.LAWFUL`."""
    assert lawful_sql() == m2_condition_and_shelf._LAWFUL


def test_a_step_that_fails_leaves_the_archive_as_it_was(where: str, clock: Clock) -> None:
    with closing(Database(database_at(where), FIRST)) as old:
        fill_first(old)
        with old.writing() as connection:
            # The last thing that the second step makes is there already.
            connection.execute(text("CREATE TABLE shelf_moves (part VARCHAR)"))
    with pytest.raises(Unusable, match="already exists"):
        open_store(where, clock)
    with closing(Database(database_at(where), FIRST)) as old:
        with old.reading() as connection:
            assert upgrading.revision(connection) == FIRST
            assert not inspect(connection).has_table("conditions")
            assert connection.execute(text("SELECT count(*) FROM events")).scalar_one() == 2
        with old.writing() as connection:
            connection.execute(text("DROP TABLE shelf_moves"))
    with open_store(where, clock) as store:
        assert store.people.get("AB").name == "Ada Invented"


def test_an_archive_of_a_newer_program_is_refused(where: str, clock: Clock) -> None:
    with (
        open_store(where, clock) as store,
        store.database.writing() as connection,
    ):
        connection.execute(text(f"UPDATE {schema.VERSION_TABLE} SET version_num = '99'"))
    with pytest.raises(Unusable, match=r"written by a newer benchproof \(its revision is 99"):
        open_store(where, clock)


def test_the_newest_step_is_the_one_that_the_tables_have() -> None:
    folder = str(Path(upgrading.__file__).parent / "migrations")
    steps = ScriptDirectory(folder, version_locations=[folder])
    assert steps.get_heads() == [schema.LAST_REVISION]
    assert steps.get_bases() == [FIRST]
