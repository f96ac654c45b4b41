"""Whether `verify` finds every single edit that a general database tool can do to an archive.

`make bench-edits` does thousands at random and writes the counts into docs/security.md; `make test`
does a small, seeded sample.
"""

import argparse
import random
import shutil
import sqlite3
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing as closed
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any, Protocol

import psycopg
from PIL import Image
from sqlalchemy import Table

from benchproof.conduct.archivecheck import looked_at
from benchproof.conduct.opening import note_known, open_proof
from benchproof.conduct.papers import certificate
from benchproof.conduct.proofactions import take_reading, take_sheet
from benchproof.conduct.shopsettings import set_shop
from benchproof.conduct.work import now
from benchproof.network.files import read_family
from benchproof.plan.actions import Mode
from benchproof.proof.closing import closing
from benchproof.proof.events import ProofOutcome
from benchproof.proof.problems import ProofProblem
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.meterfile import read_meter
from benchproof.reading.sheet import write_readings
from benchproof.record import chain, schema
from benchproof.record.chain import Entry, entry_hash
from benchproof.record.openformats import export
from benchproof.record.problems import RecordProblem
from benchproof.record.rowjson import TABLES
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.record.store import Store, open_store
from benchproof.shipped.contents import shipped_bytes
from figures import write_between
from postgres import Server, server

DOC = Path(__file__).parents[1] / "docs" / "security.md"
FAMILY, METER = "valley-coded-7", "depot-bench"
ALL = (*TABLES, schema.ledger)


class Tool(Protocol):
    """A connection of the engine's own driver; SQL has ? for a value."""

    cascade: str

    def all(self, query: str) -> list[Any]:
        """Return the rows of a query."""

    def do(self, statement: str, values: list[Any]) -> None:
        """Change something."""

    def other(self, value: object, drawn: random.Random) -> object:
        """Return something else that the engine lets into the column."""

    def close(self) -> None:
        """Let go of it."""


Edit = Callable[[Tool, random.Random], str]
"""Does one thing, and says what."""


def fill(where: str) -> None:
    """Record something in every table: an accepted, a refused and an open proof among it."""
    with open_store(where, lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("families", FAMILY))
        meter = store.files.put(shipped_bytes("meters", METER))
        for row in (PersonRow("AB", "Ada Invented"), PersonRow("CD", "")):
            store.people.add(row)
        store.customers.add(CustomerRow("K-1", "Invented Farm", "gate 3"))
        set_shop(store, {"name": "Invented Depot", "language": "es"}, by="AB")
        store.gear.add(GearRow("M-1", "meter", meter, date(2026, 1, 1), date(2100, 1, 1)))
        store.units.add(UnitRow("U-1", store.now(), "", "K-1", "007", "slips", "", 120_000))
        store.cores.add(CoreRow("C-1", store.now(), "", "paid"))
        for tag, core in (("S-1", "C-1"), ("S-2", None), ("S-3", None)):
            store.parts.add(PartRow(tag, FAMILY, file, store.now(), "other", core))
        drawn = BytesIO()
        Image.new("RGB", (40, 20), "red").save(drawn, "JPEG")
        photograph = store.photographs.put(drawn.getvalue(), "IMG 1.jpg")
        store.conditions.note(
            core="C-1", item="bent pins", grade="sound", photograph=photograph, by="AB"
        )
        store.conditions.note(part="S-1", item="housing cracks", grade="sound", by="AB")
        _prove(store, "S-1", good=True)
        _prove(store, "S-2", good=False)
        take_reading(open_proof(store, "S-3", Mode.PROVE, meter="M-1", by="AB"), "AB", _CELL)
        store.shelf.move("S-1", "stock", by="AB")
        store.shelf.move("S-1", "fitted", "U-1", by="AB")


_CELL = ("P", "A-E", "OL")


def _prove(store: Store, part: str, *, good: bool) -> None:
    work = open_proof(store, part, Mode.PROVE, meter="M-1", by="AB")
    if good:
        family = read_family(shipped_bytes("families", FAMILY), FAMILY)
        ideal = ideal_readings(family, read_meter(shipped_bytes("meters", METER), METER))
        take_sheet(work, "AB", write_readings(ideal).encode(), "good.csv")
        for position in ("R", "D", "3", "2", "1"):
            take_reading(work, "AB", (position, "G-H", "OL"), again=True)
    else:
        take_reading(work, "AB", _CELL)
    note_known(work)
    outcome = None if good else ProofOutcome.REPAIR
    work.append(lambda state: closing(state, now(), "AB", "0.1.0", outcome))


def _row(connection: Tool, drawn: random.Random, table: Table) -> dict[str, Any]:
    names = [column.name for column in table.columns]
    rows = connection.all(f"SELECT {_listed(names)} FROM {table.name}")
    return dict(zip(names, drawn.choice(rows), strict=True))


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _keyed(table: Table, row: dict[str, Any]) -> tuple[str, list[Any]]:
    keys = [column.name for column in table.primary_key]
    return " AND ".join(f'"{key}" = ?' for key in keys), [row[key] for key in keys]


def alter(connection: Tool, drawn: random.Random) -> str:
    """Put something else into one column of one row."""
    table = drawn.choice(ALL)
    row = _row(connection, drawn, table)
    column = drawn.choice(list(table.columns))
    value = connection.other(row[column.name], drawn)
    where, keys = _keyed(table, row)
    connection.do(f'UPDATE {table.name} SET "{column.name}" = ? WHERE {where}', [value, *keys])
    return f"altered {table.name}.{column.name}"


def remove(connection: Tool, drawn: random.Random) -> str:
    """Take one row away."""
    table = drawn.choice(ALL)
    where, keys = _keyed(table, _row(connection, drawn, table))
    connection.do(f"DELETE FROM {table.name} WHERE {where}", keys)
    return f"removed a row of {table.name}"


def forge(connection: Tool, drawn: random.Random) -> str:
    """Add a row like another one."""
    table = drawn.choice(ALL)
    row = _row(connection, drawn, table)
    for column in table.primary_key:
        old = row[column.name]
        row[column.name] = old + 100 if isinstance(old, int) else f"{old}9"
    names = list(row)
    marks = ", ".join("?" for _ in names)
    connection.do(
        f"INSERT INTO {table.name} ({_listed(names)}) VALUES ({marks})", list(row.values())
    )
    return f"added a row to {table.name}"


def exchange(connection: Tool, drawn: random.Random) -> str:
    """Exchange what one column of two rows holds."""
    table = drawn.choice(ALL)
    free = [c for c in table.columns if not c.primary_key]
    if not free:
        return remove(connection, drawn)
    column = drawn.choice(free)
    one, two = (_row(connection, drawn, table) for _ in range(2))
    for row, value in ((one, two[column.name]), (two, one[column.name])):
        where, keys = _keyed(table, row)
        connection.do(f'UPDATE {table.name} SET "{column.name}" = ? WHERE {where}', [value, *keys])
    return f"exchanged two {table.name}.{column.name}"


def cut_off(connection: Tool, drawn: random.Random) -> str:
    """Take the end away, head and all, as if the last acts had never been."""
    last = connection.all("SELECT max(number) FROM ledger")[0][0]
    first = last - drawn.randrange(6)
    told = connection.all(f"SELECT kind, subject FROM ledger WHERE number >= {first}")
    for kind, about in reversed(told):
        table = schema.metadata.tables.get(kind)
        if table is None:
            continue
        values = about.split(" ")
        where = " AND ".join(f'"{column.name}" = ?' for column in table.primary_key)
        keys: list[Any] = [
            int(value) if column.type.python_type is int else value
            for column, value in zip(table.primary_key, values, strict=True)
        ]
        connection.do(f"DELETE FROM {kind} WHERE {where}", keys)
        if kind == "events":
            query = f"SELECT seq, hash FROM events WHERE proof = '{keys[0]}' ORDER BY seq DESC"
            left = connection.all(query)
            if left:
                connection.do(
                    "UPDATE proofs SET last_seq = ?, head = ?, closed_as = NULL WHERE tag = ?",
                    [*left[0], keys[0]],
                )
    connection.do("DELETE FROM ledger WHERE number >= ?", [first])
    return "cut the end off"


def rehash(connection: Tool, drawn: random.Random) -> str:
    """Alter an entry and compute the chain anew from there, without the key."""
    names = _listed(list(Entry.__slots__))
    rows = connection.all(f"SELECT {names} FROM ledger ORDER BY number")
    entries = [Entry(*row) for row in rows]
    at = drawn.randrange(len(entries))
    spoilt = entries[at].payload.replace(b'"at":"2', b'"at":"1', 1)
    last = entries[at - 1] if at else None
    for entry in entries[at:]:
        payload = spoilt if entry is entries[at] else entry.payload
        last = replace(entry, payload=payload, hash=entry_hash(last, payload))
        connection.do(
            "UPDATE ledger SET payload = ?, hash = ? WHERE number = ?",
            [payload, last.hash, entry.number],
        )
    return "rewrote the chain without the key"


def rewrite_proof(connection: Tool, drawn: random.Random) -> str:
    """Alter an event and compute the proof's chain and row anew."""
    tags = [row[0] for row in connection.all("SELECT tag FROM proofs")]
    tag = drawn.choice(tags)
    payloads = connection.all(f"SELECT payload FROM events WHERE proof = '{tag}' ORDER BY seq")
    at, link = drawn.randrange(len(payloads)), chain.start(tag)
    for number, (payload,) in enumerate(payloads):
        told = payload + b" " if number == at else payload
        link = chain.following(link, told)
        connection.do(
            "UPDATE events SET payload = ?, hash = ? WHERE proof = ? AND seq = ?",
            [told, link.hash, tag, link.seq],
        )
    connection.do("UPDATE proofs SET head = ? WHERE tag = ?", [link.hash, tag])
    return "rewrote a proof with its row"


def forget_part(connection: Tool, drawn: random.Random) -> str:
    """Take all proofs of a part away."""
    part = drawn.choice(["S-1", "S-2", "S-3"])
    connection.do("DELETE FROM events WHERE proof = ?", [f"{part}.1"])
    connection.do("DELETE FROM proofs WHERE part = ?", [part])
    return "removed all proofs of a part"


def empty(connection: Tool, drawn: random.Random) -> str:
    """Take all rows of a table away; now and then all that points to them first."""
    return emptied(connection, drawn.choice(ALL), whole=drawn.random() < 0.5)


def emptied(connection: Tool, table: Table, *, whole: bool) -> str:
    """Take all rows of a table away, and if `whole`, what points to them first, as keys demand."""
    gone = [one for one in reversed(ALL) if one is table or (whole and table in _reached(one))]
    for one in gone:
        connection.do(f"DELETE FROM {one.name}", [])
    return f"emptied {table.name}" + (" and what points to it" if len(gone) > 1 else "")


def _reached(table: Table) -> set[Table]:
    """Return the other tables to which keys lead from this one, over others too."""
    targets = {key.column.table for key in table.foreign_keys} - {table}
    return targets.union(*map(_reached, targets))


def reshape(connection: Tool, drawn: random.Random) -> str:
    """Change the tables themselves."""
    indexes = [
        str(index.name) for table in schema.metadata.sorted_tables for index in table.indexes
    ]
    table = drawn.choice(ALL).name
    statement = drawn.choice(
        (
            f"DROP INDEX {drawn.choice(indexes)}",
            f"DROP TABLE {table}" + connection.cascade,
            f"ALTER TABLE {table} ADD COLUMN more TEXT",
            f"ALTER TABLE {table} RENAME TO {table}_old",
            "CREATE TABLE other (a TEXT)",
            "CREATE VIEW seen AS SELECT tag FROM parts",
            f"DELETE FROM {schema.VERSION_TABLE}",
            f"INSERT INTO {schema.VERSION_TABLE} VALUES ('9')",
            f"UPDATE {schema.VERSION_TABLE} SET version_num = '{drawn.choice('1249')}'",
        )
    )
    connection.do(statement, [])
    return f"changed the tables: {' '.join(statement.split()[:2]).lower()}"


ROWS: tuple[tuple[Edit, int], ...] = (
    (alter, 50),
    (remove, 12),
    (forge, 8),
    (exchange, 8),
    (cut_off, 6),
    (rehash, 3),
    (rewrite_proof, 3),
    (forget_part, 2),
    (empty, 6),
    (reshape, 8),
)


class Sqlite:
    """A connection of SQLite's own, with nothing of this program's set."""

    cascade = ""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection = sqlite3.connect(path, isolation_level=None)

    def all(self, query: str) -> list[Any]:
        """Return the rows of a query."""
        return self._connection.execute(query).fetchall()

    def do(self, statement: str, values: list[Any]) -> None:
        """Change something; keys are not looked at, as SQLite does without being asked."""
        self._connection.execute(statement, values)

    def other(self, value: object, drawn: random.Random) -> object:
        """Return something else that a person may type into the column: of any type."""
        if isinstance(value, bytes) and drawn.random() < 0.4:
            # What a tool makes of bytes that look like text.
            with suppress(UnicodeDecodeError):
                return value.decode()
        choices: tuple[object, ...] = (None, 7, -1, 3.5, "other", "", b"\xff\x00", "\x1b[31m")
        return _unlike(value, choices, drawn)

    def close(self) -> None:
        """Let go of it; what was done is in the file."""
        self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._connection.close()


class Postgres:
    """A connection of somebody who may do anything with the database."""

    cascade = " CASCADE"

    def __init__(self, url: str) -> None:
        self._connection = psycopg.connect(url, autocommit=True)
        self._connection.execute("SET session_replication_role = replica")

    def all(self, query: str) -> list[Any]:
        """Return the rows of a query."""
        return self._connection.execute(query.encode()).fetchall()

    def do(self, statement: str, values: list[Any]) -> None:
        """Change something."""
        self._connection.execute(statement.replace("?", "%s").encode(), values)

    def other(self, value: object, drawn: random.Random) -> object:
        """Return something else of the column's type, as the server lets no other in."""
        match value:
            case bool():
                return not value
            case int():
                return value + drawn.choice((-1, 1, 1000))
            case date():
                return drawn.choice((None, date(2031, 1, 1)))
            case bytes():
                return _unlike(value, (b"", b"\xff\x00", value + b" "), drawn)
            case None:
                return None
            case _:
                return _unlike(value, (None, "", "other", f"{value} ", f"{value}x"), drawn)

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()


def _unlike(value: object, choices: tuple[object, ...], drawn: random.Random) -> object:
    if isinstance(value, str) and value and drawn.random() < 0.3:
        at = drawn.randrange(len(value))
        choices = (value[:at] + chr(ord(value[at]) ^ 1) + value[at + 1 :],)
    return drawn.choice([one for one in choices if one != value or type(one) is not type(value)])


def scribble(path: Path, drawn: random.Random) -> str:
    """Spoil the file itself."""
    content = bytearray(path.read_bytes())
    at = drawn.randrange(len(content))
    match drawn.choice(("bit", "bytes", "page", "short", "empty", "flag")):
        case "bit":
            content[at] ^= 1 << drawn.randrange(8)
            what = "flipped a bit"
        case "bytes":
            content[at : at + 40] = drawn.randbytes(len(content[at : at + 40]))
            what = "40 random bytes"
        case "page":
            first = at // 4096 * 4096
            many = drawn.choice((2000, 4096))
            content[first : first + many] = drawn.randbytes(many)
            what = "random bytes over a page"
        case "short":
            del content[at:]
            what = "cut the file off"
        case "empty":
            content.clear()
            what = "emptied the file"
        case _:
            content[68:72] = drawn.randbytes(4)
            what = "another program's mark in the header"
    path.write_bytes(content)
    return what


@dataclass
class Outcomes:
    """What became of the edits.

    Attributes
    ----------
    found, refused, nothing : Counter
        By what was done: `verify` says so; the archive does not open and says why; nothing that is
        recorded, and no table, is another.
    missed : list of str
        Not found.
    broke : list of str
        Ended in something else than a sentence.
    """

    found: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    nothing: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)
    broke: list[str] = field(default_factory=list)


def look(outcomes: Outcomes, where: str, what: str, same: Callable[[], bool]) -> None:
    """Look at an archive after an edit, as a person would: verify, then everything that reads."""
    try:
        with open_store(where, lambda: datetime.now(UTC)) as store:
            found = looked_at(store).found
            if found:
                outcomes.found[what] += 1
            elif same():
                outcomes.nothing[what] += 1
            else:
                outcomes.missed.append(what)
            _use(store)
    except RecordProblem:
        outcomes.refused[what] += 1
    except Exception:
        outcomes.broke.append(f"{what}\n{traceback.format_exc()}")


def _use(store: Store) -> None:
    """Do what reads an archive: each may refuse in words, none may break."""
    with tempfile.TemporaryDirectory() as folder:
        acts: list[Callable[[], object]] = [
            store.proofs.list,
            store.shelf.list,
            store.photographs.list,
            lambda: export(store.database, Path(folder) / "out"),
            *(
                lambda name=name: store.register(name).list()
                for name in ("people", "customers", "gear", "units", "cores", "parts")
            ),
            lambda: store.conditions.list(core="C-1"),
            lambda: store.shelf.moves("S-1"),
            *(lambda tag=tag: certificate(store, tag) for tag in ("S-1.1", "S-2.1")),
        ]
        for act in acts:
            with suppress(RecordProblem, ProofProblem):
                act()


def _same(path: Path, before: object) -> bool:
    return _dump(path) == before


def _unchanged(url: str, before: object) -> bool:
    return _held(url) == before


def _dump(path: Path) -> object:
    """Return all that an SQLite file holds, or None where it cannot be read."""
    try:
        with closed(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            return list(connection.iterdump()), connection.execute(
                "PRAGMA application_id"
            ).fetchone()
    except (sqlite3.Error, UnicodeDecodeError):
        return None


def sqlite_edits(runs: int, seed: int) -> Outcomes:
    """Edit copies of a filled SQLite archive, each once."""
    drawn, outcomes = random.Random(seed), Outcomes()
    with _folder() as folder:
        path, whole = folder / "archive.sqlite", folder / "whole"
        fill(str(path))
        shutil.copy(path, whole)
        before = _dump(whole)
        for _ in range(runs):
            for old in folder.glob("archive.sqlite*"):
                old.unlink()
            shutil.copy(whole, path)
            what = scribble(path, drawn) if drawn.random() < 0.2 else _edited(Sqlite(path), drawn)
            if what:
                look(outcomes, str(path), what, partial(_same, path, before))
    return outcomes


def postgresql_edits(runs: int, seed: int, running: Server) -> Outcomes:
    """Edit a filled PostgreSQL archive, each time a fresh copy."""
    drawn, outcomes = random.Random(seed), Outcomes()
    template = running.new_database()
    fill(template)
    name = template.rpartition("/")[2]
    with psycopg.connect(running.url("postgres"), autocommit=True) as admin:
        for _ in range(runs):
            admin.execute(b"DROP DATABASE IF EXISTS edited WITH (FORCE)")
            admin.execute(f"CREATE DATABASE edited TEMPLATE {name}".encode())
            url = running.url("edited")
            before = _held(url)
            what = _edited(Postgres(url), drawn)
            if what:
                look(outcomes, url, what, partial(_unchanged, url, before))
    return outcomes


def _held(url: str) -> object:
    held = {}
    with psycopg.connect(url) as connection:
        names = connection.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
        ).fetchall()
        for (name,) in names:
            query = f"SELECT * FROM {name}"
            held[name] = sorted(map(repr, connection.execute(query.encode()).fetchall()))
    return held


def _edited(connection: Tool, drawn: random.Random) -> str:
    """Do one edit; return what, or nothing where the engine did not let it happen."""
    edit = drawn.choices([one for one, _ in ROWS], [weight for _, weight in ROWS])[0]
    try:
        return str(edit(connection, drawn))
    except (sqlite3.Error, psycopg.Error):
        return ""
    finally:
        connection.close()


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="benchproof-edits-") as folder:
        yield Path(folder)


def told(name: str, outcomes: Outcomes) -> str:
    """Return a row of the table."""
    counts = [sum(one.values()) for one in (outcomes.found, outcomes.refused, outcomes.nothing)]
    missed, broke = len(outcomes.missed), len(outcomes.broke)
    done = sum(counts) + missed + broke
    found, refused, nothing = counts
    return f"| {name} | {done} | {found} | {refused} | {nothing} | {missed} | {broke} |"


def main() -> None:
    """Do them all and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sqlite", type=int, default=2000)
    parser.add_argument("--postgresql", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="into docs/security.md")
    asked = parser.parse_args()
    rows = [
        "| engine | edits | found | refused in words | changed nothing | not found | broke |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    all_of = [("SQLite", sqlite_edits(asked.sqlite, asked.seed))]
    if asked.postgresql:
        with server() as running:
            outcomes = postgresql_edits(asked.postgresql, asked.seed, running)
        all_of.append(("PostgreSQL", outcomes))
    for name, outcomes in all_of:
        rows.append(told(name, outcomes))
        for what in sorted({*outcomes.found, *outcomes.refused, *outcomes.nothing}):
            print(
                f"{name}: {what}: found {outcomes.found[what]}, refused {outcomes.refused[what]}, "
                f"changed nothing {outcomes.nothing[what]}"
            )
        print(*(f"NOT FOUND {name}: {what}" for what in outcomes.missed), sep="\n")
        print(*(f"BROKE {name}: {what}" for what in outcomes.broke[:5]), sep="\n")
    print("\n".join(rows))
    if asked.write:
        write_between(DOC, "edits", "\n".join(rows))


if __name__ == "__main__":
    main()
