"""Looking at the ledger itself: an unbroken chain, signed by benches that it knows."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from benchproof.record import ledger, schema
from benchproof.record.chain import Entry, entry_hash
from benchproof.record.findings import KINDS, Alteration, on_day, raw_rows
from benchproof.record.rowjson import Odd, decoded, stored
from benchproof.record.seal import genuine, name_of

_KNOWN = {*KINDS, ledger.ADOPTED, ledger.BEGAN, ledger.BENCH, ledger.PRINTED}
_BIG = {schema.events.name}
"""Kinds that are too many to hold in memory."""


@dataclass
class Ledgered:
    """What the ledger tells, and what is wrong with it.

    Attributes
    ----------
    count : int
        How many entries.
    name, head : str
        The archive's own name, and the hash of the last entry; empty if there is none.
    names : list of str
        All that it ever had: a copy of an archive gets one of its own.
    number : int
        Of the last entry.
    adopted : int
        Number of the last entry that tells what was there before the ledger was; 0 if all was
        told when it was done.
    adopted_at : str
        The day on which it was told.
    salvaged : bool
        Whether it was taken out of a damaged archive.
    rows : dict of str to dict of str to dict
        By kind and subject, what an entry tells; not of events.
    printed : list of dict
        The certificates.
    keys : dict of str to bytes
        Public keys of the benches, by name.
    found : list of Alteration
    broken_at : int or None
        Number of the first entry that is not as it was written.
    """

    count: int = 0
    name: str = ""
    head: str = ""
    names: list[str] = field(default_factory=list)
    number: int = 0
    adopted: int = 0
    adopted_at: str = ""
    salvaged: bool = False
    rows: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    printed: list[dict[str, Any]] = field(default_factory=list)
    keys: dict[str, bytes] = field(default_factory=dict)
    found: list[Alteration] = field(default_factory=list)
    broken_at: int | None = None

    def say(self, number: object, sentence: str) -> None:
        """Note a finding about an entry."""
        self.found.append(Alteration(f"ledger, entry {number}", sentence))
        at = number if isinstance(number, int) else 0
        self.broken_at = at if self.broken_at is None else min(self.broken_at, at)

    def vouched(self, number: int) -> bool:
        """Tell whether an entry stands before anything that is wrong with the ledger."""
        return self.broken_at is None or number < self.broken_at


def look_at_entries(connection: Connection) -> Ledgered:
    """Look at every entry: its place, its hash, what it tells, and the signatures."""
    seen = Ledgered()
    last: Entry | None = None
    # The last entry that each bench signed vouches for all before it.
    signed: dict[str, Entry] = {}
    whole = True
    for entry in _entries(connection, seen):
        seen.count += 1
        expected = 1 if last is None else last.number + 1
        if entry.number != expected:
            gone = f"{expected} to {entry.number - 1}" if entry.number > expected + 1 else expected
            seen.say(entry.number, f"What stands before it is gone: {gone}.")
            whole = False
        elif entry_hash(last, entry.payload) != entry.hash:
            _say_altered(seen, last, entry)
            whole = False
        _take_in(seen, entry)
        if entry.signer:
            signed[entry.signer] = entry
        last = entry
    if last is None:
        return seen
    seen.number, seen.head = last.number, last.hash
    if not last.signer:
        seen.say(last.number, "It is the last one, and nobody signed it.")
    bad = [one for one in signed.values() if not _is_genuine(seen, one)]
    if bad or not whole:
        _say_unsigned(connection, seen)
    return seen


def _entries(connection: Connection, seen: Ledgered) -> Iterator[Entry]:
    columns = [schema.ledger.c[name] for name in Entry.__slots__]
    for row in raw_rows(connection, schema.ledger, columns):
        try:
            values = [stored(column, raw) for column, raw in zip(columns, row, strict=True)]
            bytes.fromhex(values[4])
        except (Odd, ValueError):
            seen.say(row[0], "It was altered: it is no entry any more.")
            continue
        yield Entry(*values)


def _say_altered(seen: Ledgered, last: Entry | None, entry: Entry) -> None:
    if last is not None and last.signer and not _is_genuine(seen, last):
        seen.say(last.number, "It or its signature was altered.")
    else:
        seen.say(entry.number, "It was altered.")


def _is_genuine(seen: Ledgered, entry: Entry) -> bool:
    key = seen.keys.get(entry.signer)
    return key is not None and genuine(key, entry.hash, entry.signature)


def _say_unsigned(connection: Connection, seen: Ledgered) -> None:
    """Say from which entry on the signatures are not genuine."""
    named = {one.where for one in seen.found}
    for entry in _entries(connection, Ledgered()):
        if entry.signer and not _is_genuine(seen, entry):
            if f"ledger, entry {entry.number}" not in named:
                seen.say(
                    entry.number,
                    f"Bench {entry.signer} did not sign it: from here on the ledger is not what "
                    "was recorded.",
                )
            return


def _take_in(seen: Ledgered, entry: Entry) -> None:
    tells = decoded(entry.payload)
    if not tells or (tells.get("kind"), tells.get("subject")) != (entry.kind, entry.subject):
        seen.say(entry.number, "It does not tell what it is filed under.")
        return
    row = tells["row"]
    match entry.kind:
        case ledger.BEGAN:
            seen.name = entry.subject
            seen.names.append(entry.subject)
            seen.salvaged = bool(row.get("salvaged_from"))
        case ledger.ADOPTED:
            seen.adopted, seen.adopted_at = entry.number, on_day(tells.get("at"))
        case ledger.BENCH:
            _take_key(seen, entry, row)
        case ledger.PRINTED:
            seen.printed.append(tells)
        case kind if kind not in _KNOWN:
            seen.say(entry.number, f"It is of no kind that this program knows: {kind}.")
        case kind if kind not in _BIG:
            if entry.subject in seen.rows.setdefault(kind, {}):
                seen.say(entry.number, f"It tells {entry.subject} a second time.")
            seen.rows[kind][entry.subject] = {**tells, "number": entry.number}


def _take_key(seen: Ledgered, entry: Entry, row: dict[str, Any]) -> None:
    try:
        key = bytes.fromhex(row["key"])
    except (KeyError, TypeError, ValueError):
        key = b""
    if name_of(key) == entry.subject:
        seen.keys[entry.subject] = key
    else:
        seen.say(entry.number, "It tells the key of a bench, but it is not that bench's.")
