"""Finding what was altered in the archive since it was recorded."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import groupby
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Table, select

from benchproof.record import chain, schema
from benchproof.record.chain import Link, Stored

if TYPE_CHECKING:
    from benchproof.record.database import Database

Agrees = Callable[[str | None, Sequence[bytes]], bool]
_AT_ONCE = 1000
"""Rows that are held in memory at once."""


@dataclass(frozen=True, slots=True)
class Alteration:
    """Something that is not as it was recorded.

    Attributes
    ----------
    where : str
        A proof's tag, or what is altered.
    sentence : str
    """

    where: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at, and what was found.

    Attributes
    ----------
    proofs, events, contents : int
        How many; contents are files and photographs.
    found : tuple of Alteration
    """

    proofs: int
    events: int
    contents: int
    found: tuple[Alteration, ...]


def verify(database: "Database", agrees: Agrees | None = None) -> Verified:
    """Look at every event, file and photograph of the archive.

    Parameters
    ----------
    database : Database
    agrees : callable, optional
        Whether what lists say that a proof is closed as (None while open) is what its events say;
        without it this is not looked at, since events are only bytes here.

    Whoever rewrites a whole chain, or takes away the latest proof of a part with its events, is not
    found here, but by the hash that is printed on the certificate.
    """
    with database.reading() as connection:
        return verified(connection, agrees)


def verified(connection: Connection, agrees: Agrees | None = None) -> Verified:
    """Do as `verify` does, in a transaction that is open."""
    counts = [0, 0]
    found = list(_chains(connection, counts, agrees))
    contents = 0
    for table, kind in ((schema.files, "file"), (schema.photographs, "photograph")):
        for key, content in _stream(connection, table, "hash", "content"):
            contents += 1
            if sha256(content).hexdigest() != key:
                found.append(Alteration(f"{kind} {key}", f"The {kind} was altered."))
    return Verified(counts[0], counts[1], contents, tuple(found))


def _chains(
    connection: Connection, counts: list[int], agrees: Agrees | None
) -> Iterator[Alteration]:
    rows = _stream(
        connection, schema.proofs, "tag", "part", "number", "last_seq", "head", "closed_as"
    )
    stored = _stream(connection, schema.events, "proof", "seq", "payload", "hash")
    groups = groupby(stored, key=lambda row: row[0])
    group = next(groups, None)
    numbers: dict[str, set[int]] = {}
    for tag, part, number, last_seq, head, closed_as in rows:
        while group is not None and group[0] < tag:
            yield _orphans(group[0], counts, group[1])
            group = next(groups, None)
        events: list[Stored] = []
        if group is not None and group[0] == tag:
            events = [Stored(*row[1:]) for row in group[1]]
            group = next(groups, None)
        counts[0] += 1
        counts[1] += len(events)
        numbers.setdefault(part, set()).add(number)
        if tag != f"{part}.{number}":
            yield Alteration(tag, f"It is put down as proof {number} of {part}.")
        for phrase in chain.breaks(tag, events, Link(last_seq, head)):
            yield Alteration(tag, f"{phrase[:1].upper()}{phrase[1:]}.")
        if agrees is not None and not agrees(closed_as, [event.payload for event in events]):
            state = "open" if closed_as is None else f"closed as {closed_as}"
            yield Alteration(tag, f"The list says {state}, but its events do not.")
    while group is not None:
        yield _orphans(group[0], counts, group[1])
        group = next(groups, None)
    for part, there in numbers.items():
        for number in sorted(set(range(1, max(there))) - there):
            yield Alteration(f"{part}.{number}", "The proof is missing.")


def _orphans(tag: str, counts: list[int], rows: Iterator[tuple[object, ...]]) -> Alteration:
    counts[1] += len(list(rows))
    return Alteration(tag, "There are events, but the proof's row is missing.")


def _stream(connection: Connection, table: Table, *names: str) -> Iterator[tuple[Any, ...]]:
    columns = [table.c[name] for name in names]
    query = select(*columns).order_by(*table.primary_key)
    options = {"yield_per": _AT_ONCE}
    for row in connection.execute(query, execution_options=options):
        yield tuple(row)
