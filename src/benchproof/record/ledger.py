"""The ledger: every change of the archive is an entry of one chain, signed with the bench's key."""

import re
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Table, insert, select

from benchproof.record import schema
from benchproof.record.chain import Entry, entry_hash
from benchproof.record.heads import Head
from benchproof.record.problems import Altered, Unusable
from benchproof.record.rowjson import TABLES, columns, decoded, encoded, subject, told

if TYPE_CHECKING:
    from datetime import datetime

    from benchproof.record.database import Database
    from benchproof.record.heads import Heads
    from benchproof.record.seal import Seal

BEGAN, ADOPTED, BENCH, PRINTED = "began", "adopted", "bench", "certificate"
"""Kinds of entries that tell no row: the archive's own name, the end of what was there before the
ledger was, a bench's key, a certificate that was printed."""
_AT_ONCE = 1000
_NOWHERE = object()
_NAME = re.compile(r"[0-9a-f]{32}")
_COLUMNS = [schema.ledger.c[name] for name in Entry.__slots__]

Told = tuple[str, str, dict[str, Any]]
"""Kind and subject of an entry, and what it tells beside the time."""


@dataclass
class Change:
    """A transaction that changes the archive, and what it tells the ledger.

    Attributes
    ----------
    connection : Connection
    """

    connection: Connection
    entries: list[Told] = field(default_factory=list)

    def add(self, table: Table, row: Mapping[str, Any]) -> None:
        """Insert a row and tell it."""
        self.connection.execute(insert(table).values(row))
        self.entries.append(entry_of(table, row))

    def tell(self, kind: str, about: str, row: Mapping[str, Any], **more: object) -> None:
        """Tell what is no new row of a register."""
        self.entries.append((kind, about, {"row": row, **more}))


class Ledger:
    """The ledger of an archive.

    Parameters
    ----------
    database : Database
    seal : callable
        Returns the key of this bench; asked when the first entry is written.
    heads : Heads
        Remembers how far the ledger has got.
    now : callable
        Returns the time, with its offset.
    """

    def __init__(
        self,
        database: "Database",
        seal: "Callable[[], Seal]",
        heads: "Heads",
        now: "Callable[[], datetime]",
    ) -> None:
        self._database = database
        self._seal = seal
        self.heads = heads
        self._now = now
        self._introduced = False
        self._name = ""
        self._before: Entry | None = None

    @contextmanager
    def writing(self) -> Iterator[Change]:
        """Give a change, which is on disk with its entries when the block ends, or not at all."""
        with self._database.writing() as connection:
            change = Change(connection)
            yield change
            head = self._append(connection, change.entries) if change.entries else None
        if head is not None:
            # Only now: what was not committed is not known to the archive.
            self._introduced, self._name = True, head.archive
            self.heads.saw(head, self._hash_at)

    def begin(self, connection: Connection) -> None:
        """Begin the ledger of an archive that is made, or brought up from before there was one.

        It belongs into that very transaction: a ledger that is found empty later was emptied.
        """
        if newest(connection) is None:
            self.take_over(connection)

    def remember(self) -> None:
        """Remember the end of the ledger as it is found.

        Raises
        ------
        Altered
            If it has none.
        """
        head = self.head()
        if head is None:
            raise Altered("The ledger of the archive was emptied")
        self.heads.saw(head, self._hash_at)

    def take_over(self, connection: Connection, **of: object) -> Head:
        """Make what is in the tables this bench's own archive, under a new name.

        Parameters
        ----------
        connection : Connection
            In a transaction that nobody else writes in.
        **of : object
            Where it comes from, for the entry.
        """
        name = secrets.token_hex(16)
        empty = newest(connection) is None
        head = self._append(connection, [(BEGAN, name, {"row": of})], name)
        if not empty:
            return head
        rows = (entry_of(table, row) for table in TABLES for row in _rows(connection, table))
        many = 0
        while some := list(islice(rows, _AT_ONCE)):
            many += len(some)
            self._append(connection, some, name)
        if many:
            head = self._append(connection, [(ADOPTED, name, {"row": {"rows": many}})], name)
        return head

    def attest(self, table: Table, row: Mapping[str, Any]) -> None:
        """Look whether a row of a register is as its entry tells it, before it goes on a paper.

        Parameters
        ----------
        table : Table
        row : mapping
            Its key, and the columns that go on the paper.

        Raises
        ------
        Altered
            If not.
        """
        ledger, about = schema.ledger, subject(table, row)
        query = select(ledger.c.payload).where(
            ledger.c.kind == table.name, ledger.c.subject == about
        )
        with self._database.reading() as connection:
            payloads = connection.execute(query).scalars().all()
        tells = decoded(payloads[0]).get("row", {}) if len(payloads) == 1 else {}
        if any(tells.get(name, _NOWHERE) != value for name, value in told(table, row).items()):
            raise Altered(f"{table.name.replace('_', ' ')}, {about}: was altered")

    def printed(self, proof: str, seq: int, hash_: str) -> tuple[Head, str, str] | None:
        """Note that a certificate was printed of an event, the first time that it is.

        Returns
        -------
        tuple of Head, str and str, or None
            The entry, the name of the key that signed it, and when; None where the archive cannot
            be written: the certificate may be printed nevertheless.
        """
        about = f"{proof} {seq}"
        row = {"proof": proof, "seq": seq, "hash": hash_}
        ledger = schema.ledger
        query = select(*_COLUMNS).where(ledger.c.kind == PRINTED, ledger.c.subject == about)
        for _ in range(2):
            with self._database.reading() as connection:
                found = connection.execute(query.order_by(ledger.c.number).limit(1)).one_or_none()
                if found is not None:
                    entry = Entry(*found)
                    at = str(decoded(entry.payload).get("at", ""))
                    return Head(name_of(connection), entry.number, entry.hash), entry.signer, at
            try:
                with self.writing() as change:
                    change.tell(PRINTED, about, row)
            except Unusable:
                return None
        raise AssertionError("an entry that was committed is not there")

    def head(self) -> Head | None:
        """Return the end of the ledger; None if it is not begun."""
        with self._database.reading() as connection:
            last = newest(connection)
            if last is None:
                return None
            return Head(name_of(connection), last.number, last.hash)

    def _hash_at(self, number: int) -> str | None:
        if self._before is not None and self._before.number == number:
            return self._before.hash
        with self._database.reading() as connection:
            return hash_at(connection, number)

    def _append(
        self, connection: Connection, entries: Iterable[Told], name: str | None = None
    ) -> Head:
        self._database.alone(connection, schema.ledger.name)
        seal, last = self._seal(), newest(connection)
        self._before = last
        if not self._introduced:
            entries = [*self._introduction(connection, seal), *entries]
        at = schema.Moment.stored(self._now())
        made: list[Entry] = []
        for kind, about, tells in entries:
            payload = encoded(kind, about, at, tells)
            number = 1 if last is None else last.number + 1
            last = Entry(number, kind, about, payload, entry_hash(last, payload))
            made.append(last)
        last = replace(made[-1], signer=seal.name, signature=seal.sign(made[-1].hash))
        made[-1] = last
        connection.execute(insert(schema.ledger), [_values(entry) for entry in made])
        return Head(name or self._name or name_of(connection), last.number, last.hash)

    def _introduction(self, connection: Connection, seal: "Seal") -> list[Told]:
        """Return the entry that tells the archive this bench's key, unless it knows it."""
        ledger = schema.ledger
        known = select(ledger.c.number).where(ledger.c.kind == BENCH, ledger.c.subject == seal.name)
        if connection.execute(known.limit(1)).first() is not None:
            return []
        return [(BENCH, seal.name, {"row": {"key": seal.public.hex()}})]


def newest(connection: Connection) -> Entry | None:
    """Return the last entry.

    Raises
    ------
    Altered
        If it is none.
    """
    query = select(*_COLUMNS).order_by(schema.ledger.c.number.desc()).limit(1)
    row = connection.execute(query).one_or_none()
    if row is None:
        return None
    entry = Entry(*row)
    if not re.fullmatch("[0-9a-f]{64}", str(entry.hash)) or not isinstance(entry.signature, bytes):
        raise Altered(f"The last entry of the ledger, number {entry.number}, was altered")
    return entry


def name_of(connection: Connection) -> str:
    """Return the archive's own name.

    Raises
    ------
    Altered
        If it has none.
    """
    ledger = schema.ledger
    query = select(ledger.c.subject).where(ledger.c.kind == BEGAN).order_by(ledger.c.number.desc())
    found = connection.execute(query.limit(1)).scalar_one_or_none()
    if found is None or not _NAME.fullmatch(found):
        raise Altered("The name of the archive in its ledger was altered")
    return str(found)


def hash_at(connection: Connection, number: int) -> str | None:
    """Return the hash of an entry; None if there is none of this number."""
    query = select(schema.ledger.c.hash).where(schema.ledger.c.number == number)
    found = connection.execute(query).scalar_one_or_none()
    return None if found is None else str(found)


def entry_of(table: Table, row: Mapping[str, Any]) -> Told:
    """Return the entry that tells a new row."""
    return str(table.name), subject(table, row), {"row": told(table, row)}


def _rows(connection: Connection, table: Table) -> Iterator[Mapping[str, Any]]:
    query = select(*columns(table)).order_by(*table.primary_key)
    for row in connection.execute(query, execution_options={"yield_per": _AT_ONCE}):
        yield dict(row._mapping)


def _values(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in Entry.__slots__}
