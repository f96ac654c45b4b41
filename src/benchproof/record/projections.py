"""Holding every table against the ledger, row by row: what is altered, added or gone."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from heapq import merge
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, select

from benchproof.record import chain, schema
from benchproof.record.chain import ChainLink, Stored
from benchproof.record.entries import Ledgered
from benchproof.record.findings import KINDS, Alteration, on_day, raw_rows
from benchproof.record.rowjson import TABLES, columns, decoded, row_stored, subject

Agrees = Callable[[str | None, Sequence[bytes]], bool]
_CONTENTS = ("files", "photographs")


@dataclass
class Counts:
    """How much was looked at, and which proofs are as recorded."""

    proofs: int = 0
    events: int = 0
    contents: int = 0
    sound: int = 0
    found: list[Alteration] = field(default_factory=list)


def look_at_rows(connection: Connection, ledgered: Ledgered, counts: Counts) -> None:
    """Hold the registers, contents and notes against the ledger."""
    for table in TABLES:
        if table not in (schema.proofs, schema.events):
            counts.found += _register(connection, table, ledgered, counts)


def _register(
    connection: Connection, table: Table, ledgered: Ledgered, counts: Counts
) -> Iterator[Alteration]:
    entries = dict(ledgered.rows.get(table.name, {}))
    told = columns(table)
    content = [table.c.content] if table.name in _CONTENTS else []
    kind = KINDS[table.name]
    for raw in raw_rows(connection, table, [*told, *content]):
        row, odd = row_stored(told, raw[: len(told)])
        about = subject(table, row)
        entry = entries.pop(about, None)
        where = f"{kind} {_short(about)}"
        if content:
            counts.contents += 1
            held = raw[-1]
            if not isinstance(held, bytes) or sha256(held).hexdigest() != about:
                yield Alteration(where, f"The {kind} was altered.")
        if entry is None and ledgered.count:
            yield Alteration(where, "It is in no entry of the ledger: another hand added it.")
        elif entry is not None:
            yield from _differences(where, row, entry["row"], odd, entry)
    for about, entry in entries.items():
        yield Alteration(
            f"{kind} {_short(about)}", f"It was recorded on {on_day(entry['at'])}, and is gone."
        )


def look_at_proofs(
    connection: Connection, ledgered: Ledgered, counts: Counts, agrees: Agrees | None
) -> None:
    """Hold the proofs and their events against the ledger, and each proof against its chain."""
    entries = dict(ledgered.rows.get("proofs", {}))
    told = list(schema.proofs.columns)
    rows: dict[str, tuple[dict[str, Any], set[str]]] = {}
    for raw in raw_rows(connection, schema.proofs, told):
        row, odd = row_stored(told, raw)
        rows[subject(schema.proofs, row)] = row, odd
    events = _events(connection, counts.found)
    for tag, group in groupby(merge(events, _event_entries(connection), key=_place), itemgetter(0)):
        stored_events, told_events = _parted(group)
        counts.events += len(stored_events)
        found = list(
            _proof(
                tag,
                rows.pop(tag, None),
                entries.pop(tag, None),
                stored_events,
                told_events,
                ledgered,
                agrees,
            )
        )
        _count(counts, found)
    for tag in sorted({*rows, *entries}):
        found = list(_proof(tag, rows.get(tag), entries.get(tag), [], [], ledgered, agrees))
        _count(counts, found)


def _count(counts: Counts, found: list[Alteration]) -> None:
    counts.proofs += 1
    counts.sound += not found
    counts.found += found


_Placed = tuple[str, int, int, Any]
"""Tag of a proof, number of an event, 0 for what is stored and 1 for its entry, and that itself."""


def _place(one: _Placed) -> tuple[str, int, int]:
    return one[:3]


def _events(connection: Connection, found: list[Alteration]) -> Iterator[_Placed]:
    names = ("proof", "seq", "payload", "hash")
    rows = raw_rows(connection, schema.events, [schema.events.c[name] for name in names])
    last: tuple[str, int] = ("", 0)
    for tag, seq, payload, hash_ in rows:
        # A key of another type sorts elsewhere.
        if not isinstance(tag, str) or type(seq) is not int or (tag, seq) <= last:
            found.append(Alteration(f"{tag}", f"Event {seq!r} was altered: it is out of order."))
            continue
        last = tag, seq
        yield tag, seq, 0, Stored(seq, payload, hash_)


def _event_entries(connection: Connection) -> Iterator[_Placed]:
    ledger = schema.ledger
    query = (
        select(ledger.c.subject, ledger.c.payload)
        .where(ledger.c.kind == schema.events.name)
        .order_by(ledger.c.subject)
    )
    for about, payload in connection.execute(query, execution_options={"yield_per": 1000}):
        tells = decoded(payload)
        tag, _, seq = str(about).partition(" ")
        if tells and seq.isdecimal():
            yield tag, int(seq), 1, tells


def _parted(group: Iterator[_Placed]) -> tuple[list[Stored], list[dict[str, Any]]]:
    both: tuple[list[Any], list[Any]] = [], []
    for _, _, which, one in group:
        both[which].append(one)
    return both


def _proof(
    tag: str,
    held: tuple[dict[str, Any], set[str]] | None,
    entry: dict[str, Any] | None,
    events: list[Stored],
    entries: list[dict[str, Any]],
    ledgered: Ledgered,
    agrees: Agrees | None,
) -> Iterator[Alteration]:
    if held is None:
        if entry is not None:
            yield Alteration(tag, f"The proof of {on_day(entry['at'])} is gone.")
        if events:
            yield Alteration(tag, "There are events, but the proof's row is missing.")
        return
    row, odd = held
    if entry is None and ledgered.count:
        yield Alteration(tag, "It is in no entry of the ledger: another hand added it.")
    expected = row if entry is None else _expected(entry, entries)
    broken = [
        Alteration(tag, f"{phrase[:1].upper()}{phrase[1:]}.")
        for phrase in chain.breaks(tag, events, ChainLink(expected["last_seq"], expected["head"]))
    ]
    yield from broken
    if entry is not None:
        if not broken:
            yield from _against_entries(tag, events, entries)
        yield from _differences(tag, row, expected, odd, entry)
    if agrees is not None and not broken and not odd:
        payloads = [event.payload for event in events]
        if not agrees(row["closed_as"], payloads):
            state = "open" if row["closed_as"] is None else f"closed as {row['closed_as']}"
            yield Alteration(tag, f"The list says {state}, but its events do not.")


def _against_entries(
    tag: str, events: list[Stored], entries: list[dict[str, Any]]
) -> Iterator[Alteration]:
    told = {entry["row"].get("seq"): entry for entry in entries}
    for event in events:
        entry = told.pop(event.seq, None)
        if entry is None:
            yield Alteration(
                tag, f"Event {event.seq} is in no entry of the ledger: another hand added it."
            )
        elif entry["row"].get("hash") != event.hash:
            day = on_day(entry.get("at"))
            yield Alteration(tag, f"Event {event.seq} is not the one recorded on {day}.")
    for seq, entry in told.items():
        yield Alteration(tag, f"Event {seq}, recorded on {on_day(entry.get('at'))}, is gone.")


def _expected(entry: dict[str, Any], entries: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a proof's row as its entries make it."""
    row = {"last_seq": 0, "head": "", **entry["row"]}
    for later in entries:
        row |= later.get("proof", {})
        row |= {"last_seq": later["row"].get("seq"), "head": later["row"].get("hash")}
    return row


def _differences(
    where: str, row: dict[str, Any], told: dict[str, Any], odd: set[str], entry: dict[str, Any]
) -> Iterator[Alteration]:
    differing = [name for name in row if name in odd or row[name] != told.get(name)]
    if differing:
        was = ", ".join(f"{name.replace('_', ' ')} {_shown(told.get(name))}" for name in differing)
        yield Alteration(where, f"It was altered since {on_day(entry['at'])}; recorded was: {was}.")


def _short(about: str) -> str:
    return about if len(about) <= 64 else f"{about[:63]}…"


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else _short(str(value))
