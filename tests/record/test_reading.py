"""An archive that is opened only to read: nothing is made, changed or left beside it."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from benchproof.record import schema
from benchproof.record.database import Database, database_at
from benchproof.record.keeping import backup
from benchproof.record.problems import Unusable
from benchproof.record.rows import PersonRow
from benchproof.record.store import open_store
from benchproof.record.upgrade import revision

Clock = Callable[[], datetime]
FIRST = "1"


def listed(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def older(where: str) -> None:
    with closing(Database(database_at(where), FIRST)) as old, old.writing() as connection:
        connection.execute(text("INSERT INTO people VALUES ('AB', 'Ada Invented')"))


def test_where_no_table_of_ours_is_there_is_no_archive(where: str, clock: Clock) -> None:
    with pytest.raises(Unusable, match=r": there is no archive here; name the right place"):
        open_store(where, clock, reading=True)
    place = database_at(where)
    if isinstance(place, Path):
        assert not place.exists()
    else:
        with closing(Database(place, FIRST)) as now, now.reading() as connection:
            # It is this that has made the tables.
            assert not inspect(connection).has_table("shelf_moves")


def test_what_is_recorded_is_read_and_nothing_is_written(where: str, clock: Clock) -> None:
    with open_store(where, clock) as store:
        store.people.add(PersonRow("AB", "Ada"))
    with open_store(where, clock, reading=True) as store:
        assert [row.initials for row in store.people.list()] == ["AB"]
        assert store.database.notes == ()
        with pytest.raises((AssertionError, Unusable), match=r"only to read|read-only"):
            store.people.add(PersonRow("CD", ""))
    with open_store(where, clock) as store:
        assert [row.initials for row in store.people.list()] == ["AB"]


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_the_file_and_its_folder_stay_as_they_are(where: str, clock: Clock, tmp_path: Path) -> None:
    with open_store(where, clock) as store:
        store.people.add(PersonRow("AB", "Ada"))
    before = listed(tmp_path)
    assert list(before) == ["archive.sqlite"]
    with open_store(where, clock, reading=True) as one, open_store(where, clock, reading=True):
        one.people.list()
    assert listed(tmp_path) == before


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_who_reads_sees_what_another_program_records_meanwhile(where: str, clock: Clock) -> None:
    with open_store(where, clock) as writing:
        writing.people.add(PersonRow("AB", ""))
        with open_store(where, clock, reading=True) as store:
            writing.people.add(PersonRow("CD", ""))
            assert len(store.people.list()) == 2
        writing.people.add(PersonRow("EF", ""))
    with open_store(where, clock, reading=True) as store:
        with open_store(where, clock) as writing:
            writing.people.add(PersonRow("GH", ""))
        assert len(store.people.list()) == 4


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_an_older_archive_is_read_as_a_newer_copy(where: str, clock: Clock, tmp_path: Path) -> None:
    older(where)
    before = listed(tmp_path)
    with open_store(where, clock, reading=True) as store:
        assert store.people.get("AB").name == "Ada Invented"
        assert store.shelf.list() == []
        (note,) = store.database.notes
        assert "is of an older benchproof and was left as it is" in note
        backup(store, tmp_path / "copy")
    copied = listed(tmp_path).pop("copy")
    assert listed(tmp_path) == {**before, "copy": copied}
    # A backup is of what is there, in the shape that it has.
    with closing(sqlite3.connect(tmp_path / "copy")) as connection:
        (found,) = connection.execute(f"SELECT * FROM {schema.VERSION_TABLE}").fetchone()
    assert found == FIRST
    with open_store(where, clock) as store:
        assert store.people.get("AB").name == "Ada Invented"


@pytest.mark.parametrize("where", ["postgresql"], indirect=True)
def test_an_older_archive_on_a_server_is_left_and_said(where: str, clock: Clock) -> None:
    older(where)
    with pytest.raises(
        Unusable, match=r"is of an older benchproof .* the next command that records"
    ):
        open_store(where, clock, reading=True)
    with closing(Database(database_at(where), FIRST)) as old, old.reading() as connection:
        assert revision(connection) == FIRST


def test_an_archive_of_a_newer_program_is_refused(where: str, clock: Clock) -> None:
    with open_store(where, clock) as store, store.database.writing() as connection:
        connection.execute(text(f"UPDATE {schema.VERSION_TABLE} SET version_num = '99'"))
    with pytest.raises(Unusable, match=r"written by a newer benchproof \(its revision is 99"):
        open_store(where, clock, reading=True)


def test_a_file_of_another_program_is_refused_and_left_alone(tmp_path: Path, clock: Clock) -> None:
    for mode in ("delete", "wal"):
        path = tmp_path / f"{mode}.sqlite"
        with closing(sqlite3.connect(path)) as connection:
            connection.execute(f"PRAGMA journal_mode={mode}")
            connection.execute("CREATE TABLE people (x)")
            connection.execute("PRAGMA user_version=1")
            connection.commit()
        before = listed(tmp_path)
        with pytest.raises(Unusable, match="is a database of another program"):
            open_store(str(path), clock, reading=True)
        assert listed(tmp_path) == before
