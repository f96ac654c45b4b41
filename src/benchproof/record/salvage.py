"""Taking what is sound of a damaged archive into a new one; the damaged one is only read.

What the ledger tells of people, gear, parts and the like is put back as it was recorded, whatever
the tables say now. Events, files and photographs are taken where their hashes hold; of a proof,
the events before the first that does not.
"""

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import URL, Connection, Engine, Table, create_engine, insert
from sqlalchemy.exc import DBAPIError, IntegrityError

from benchproof.record import chain, schema
from benchproof.record.chain import ChainLink
from benchproof.record.database import database_at
from benchproof.record.entries import Ledgered, look_at_entries
from benchproof.record.failures import told as told_in_words
from benchproof.record.findings import KINDS, Alteration, lenient, raw_rows
from benchproof.record.inuse import log_of
from benchproof.record.openformats import emptied
from benchproof.record.passwords import shown
from benchproof.record.problems import Unusable
from benchproof.record.rowjson import TABLES, columns, decoded, python_value, row_stored, subject

if TYPE_CHECKING:
    from benchproof.record.store import Store

MOST_TOLD = 200
"""Losses that the new archive's own ledger lists."""
_CONTENTS = ("files", "photographs")


@dataclass
class Salvaged:
    """What became of a damaged archive.

    Attributes
    ----------
    kept : dict of str to int
        How many rows each table of the new archive has.
    put_back : int
        How many rows stand as they were recorded, though the old tables say otherwise.
    lost : list of Alteration
        What was recorded, or stood there, and is not in the new archive.
    """

    kept: dict[str, int] = field(default_factory=dict)
    put_back: int = 0
    lost: list[Alteration] = field(default_factory=list)

    def lose(self, where: str, sentence: str) -> None:
        """Note a loss."""
        self.lost.append(Alteration(where, sentence))


def salvage(where: str, store: "Store") -> Salvaged:
    """Take what is sound into an archive that is empty; all of that, or nothing.

    Parameters
    ----------
    where : str
        The damaged archive: a file, or a PostgreSQL URL.
    store : Store
        The new one.

    Raises
    ------
    Unusable
        If there is nothing to read.
    Conflict
        If the new one is not empty.
    """
    told = Salvaged()
    place = database_at(where)
    url = place if isinstance(place, URL) else None
    name = shown(url) if url is not None else where
    with told_in_words(name, url), _opened(place) as source, lenient(source):
        ledgered = Ledgered()
        try:
            ledgered = look_at_entries(source)
        except DBAPIError:
            # PostgreSQL answers nothing more in a transaction that met an error.
            source.rollback()
        told.lost += ledgered.found
        if not ledgered.count:
            told.lose("the ledger", "It is gone: nothing vouches for what was taken over.")
        of = {"salvaged_from": ledgered.name, "entry": ledgered.number}
        with emptied(store, name, of=of) as target:
            for table in TABLES:
                if table is schema.proofs:
                    _take_proofs(source, target, ledgered, told)
                elif table is not schema.events:
                    _take_rows(source, target, table, ledgered, told)
            of["lost"] = [f"{one.where}: {one.sentence}" for one in told.lost[:MOST_TOLD]]
            of["lost_in_all"] = len(told.lost)
    return told


@contextmanager
def _opened(place: Path | URL) -> Iterator[Connection]:
    """Give a connection to a damaged archive, of which a file is copied first."""
    with tempfile.TemporaryDirectory(prefix="benchproof-salvage-") as folder:
        engine = _engine_of(place, Path(folder))
        try:
            with engine.connect() as connection:
                yield connection
        finally:
            engine.dispose()


def _engine_of(place: Path | URL, folder: Path) -> Engine:
    if isinstance(place, URL):
        return create_engine(place)
    if not place.is_file():
        raise Unusable(f"{place}: there is no such file; name the damaged archive.")
    # The log holds what was recorded last.
    for file in (place, log_of(place)):
        if file.is_file():
            shutil.copyfile(file, folder / file.name)
    return create_engine(URL.create("sqlite", database=str(folder / place.name)))


def _readable(connection: Connection, table: Table, told: Salvaged) -> Iterator[tuple[Any, ...]]:
    """Give the rows of a table from its beginning, and from its end where that breaks off."""
    every = list(table.columns)
    keys = [every.index(column) for column in table.primary_key]
    seen: set[tuple[Any, ...]] = set()
    orders = ["rowid", "rowid DESC"] if connection.dialect.name == "sqlite" else [""]
    for order in orders:
        try:
            for row in raw_rows(connection, table, every, order):
                key = tuple(row[at] for at in keys)
                if key not in seen:
                    seen.add(key)
                    yield row
        except DBAPIError as error:
            why = str(error.orig).strip().splitlines()[0]
            told.lose(f"table {table.name}", f"Not all of it can be read ({why}).")
            connection.rollback()
        else:
            return


def _take_rows(
    source: Connection, target: Connection, table: Table, ledgered: Ledgered, told: Salvaged
) -> None:
    kind = KINDS[table.name]
    entries = {
        about: entry["row"]
        for about, entry in ledgered.rows.get(table.name, {}).items()
        if ledgered.vouched(entry["number"])
    }
    names = [str(column.name) for column in columns(table)]
    for raw in _readable(source, table, told):
        held = dict(zip((column.name for column in table.columns), raw, strict=True))
        about = subject(table, held)
        row, odd = row_stored(columns(table), [held[name] for name in names])
        recorded = entries.pop(about, None)
        if recorded is None and (odd or not _unvouched(ledgered)):
            told.lose(f"{kind} {about[:64]}", "Nothing vouches for it; it was left behind.")
            continue
        content = held.get("content")
        if table.name in _CONTENTS and not _is_whole(content, about):
            told.lose(f"{kind} {about}", "Its content is not what it was.")
            continue
        told.put_back += recorded is not None and recorded != row
        _put(target, table, names, recorded or row, content, told)
    for about, recorded in entries.items():
        if table.name in _CONTENTS:
            told.lose(f"{kind} {about}", "Its content is gone.")
        else:
            told.put_back += 1
            _put(target, table, names, recorded, None, told)


def _unvouched(ledgered: Ledgered) -> bool:
    """Tell whether rows are taken as they stand, the ledger itself being damaged or gone."""
    return not ledgered.count or ledgered.broken_at is not None


def _is_whole(content: object, key: str) -> bool:
    return isinstance(content, bytes) and sha256(content).hexdigest() == key


def _put(
    target: Connection,
    table: Table,
    names: list[str],
    told_row: Mapping[str, Any],
    content: object,
    told: Salvaged,
) -> None:
    try:
        row = {name: python_value(table.c[name], told_row.get(name)) for name in names}
    except ValueError:
        told.lose(f"{KINDS[table.name]} {subject(table, told_row)[:64]}", "It cannot be read.")
        return
    if table.name in _CONTENTS:
        row["content"] = content
    try:
        with target.begin_nested():
            target.execute(insert(table).values(row))
    except (IntegrityError, DBAPIError):
        told.lose(
            f"{KINDS[table.name]} {subject(table, row)[:64]}",
            "What it names was lost, or it fits no other row.",
        )
    else:
        told.kept[table.name] = told.kept.get(table.name, 0) + 1


def _take_proofs(
    source: Connection, target: Connection, ledgered: Ledgered, told: Salvaged
) -> None:
    entries = ledgered.rows.get("proofs", {})
    rows = {}
    for raw in _readable(source, schema.proofs, told):
        held = dict(zip((column.name for column in schema.proofs.columns), raw, strict=True))
        rows[subject(schema.proofs, held)] = held
    later = _later(source, ledgered)
    taken = set()
    events = (row for row in _readable(source, schema.events, told) if _is_event(row))
    for tag, group in groupby(sorted(events, key=itemgetter(0, 1)), itemgetter(0)):
        entry = entries.get(tag)
        vouched = entry is not None and ledgered.vouched(entry["number"])
        row = entry["row"] if entry is not None and vouched else rows.get(tag)
        if row is None or (not vouched and not _unvouched(ledgered)):
            told.lose(tag, "Nothing vouches for it; it was left behind.")
            continue
        taken.add(tag)
        _take_proof(target, tag, row, list(group), later.get(tag, {}), told)
    for tag in sorted({*rows, *entries} - taken):
        told.lose(tag, "Its events are gone.")


def _is_event(row: tuple[Any, ...]) -> bool:
    return isinstance(row[0], str) and type(row[1]) is int


def _later(source: Connection, ledgered: Ledgered) -> dict[str, dict[int, dict[str, Any]]]:
    """Return, by proof and event, its hash and what lists said from then on."""
    found: dict[str, dict[int, dict[str, Any]]] = {}
    ledger = schema.ledger
    try:
        wanted = [ledger.c.number, ledger.c.kind, ledger.c.payload]
        for number, kind, payload in raw_rows(source, ledger, wanted):
            tells = decoded(payload) if kind == schema.events.name else {}
            if tells and ledgered.vouched(number):
                row = tells["row"]
                found.setdefault(str(row.get("proof")), {})[row.get("seq")] = tells
    except DBAPIError:
        source.rollback()
    return found


def _take_proof(
    target: Connection,
    tag: str,
    row: Mapping[str, Any],
    events: list[tuple[Any, ...]],
    later: Mapping[int, Mapping[str, Any]],
    told: Salvaged,
) -> None:
    link = chain.start(tag)
    whole = []
    state: dict[str, Any] = {"mode": row["mode"], "closed_as": None}
    for _, seq, payload, hash_ in events:
        expected = later.get(seq)
        # Text is what another program made of the bytes; the hash tells.
        as_bytes = payload.encode("utf-8", "replace") if isinstance(payload, str) else payload
        if not isinstance(as_bytes, bytes):
            break
        following = chain.following(link, as_bytes)
        if following.seq != seq or following.hash != hash_:
            break
        told.put_back += as_bytes is not payload
        if later and (expected is None or expected["row"].get("hash") != hash_):
            break
        link = ChainLink(seq, hash_)
        whole.append({"proof": tag, "seq": seq, "payload": as_bytes, "hash": hash_})
        state |= expected.get("proof", {}) if expected else {}
    last = max((*later, *(event[1] for event in events)), default=0)
    if link.seq < last:
        told.lose(tag, f"Events {link.seq + 1} to {last} are lost; it is open again.")
    elif not later:
        state["closed_as"] = row.get("closed_as")
    if not whole:
        return
    values = {**row, **state, "last_seq": link.seq, "head": link.hash}
    names = [str(column.name) for column in schema.proofs.columns]
    before = len(told.lost)
    _put(target, schema.proofs, names, values, None, told)
    if len(told.lost) == before:
        target.execute(insert(schema.events), whole)
        told.kept["events"] = told.kept.get("events", 0) + len(whole)
