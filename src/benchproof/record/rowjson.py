"""How the ledger tells a row: JSON, the same from both engines and from Python's own values."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import msgspec
from sqlalchemy import Boolean, Column, Integer, LargeBinary, Table

from benchproof.record import schema

_NOT_TOLD: Mapping[str, frozenset[str]] = {
    # Named by their hash.
    "files": frozenset({"content"}),
    "photographs": frozenset({"content"}),
    # The hash of an event covers its bytes.
    "events": frozenset({"payload"}),
    # They follow from the events' entries.
    "proofs": frozenset({"last_seq", "head"}),
}
TABLES = tuple(table for table in schema.metadata.sorted_tables if table is not schema.ledger)
"""Every table whose rows the ledger tells, each after those that it points to."""


class Odd(ValueError):
    """A value is not of its column's type."""


def columns(table: Table) -> list["Column[Any]"]:
    """Return the columns of a table that the ledger tells."""
    without = _NOT_TOLD.get(table.name, frozenset())
    return [column for column in table.columns if column.name not in without]


def subject(table: Table, row: Mapping[str, Any]) -> str:
    """Return what the ledger calls a row of a table: its key; it sorts as the key does.

    Examples
    --------
    >>> subject(schema.events, {"proof": "S-1.1", "seq": 12})
    'S-1.1 000000012'
    """
    keys = (row[column.name] for column in table.primary_key)
    return " ".join(f"{key:09d}" if isinstance(key, int) else str(key) for key in keys)


def told(table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is given of a row as the ledger tells it, from Python's values."""
    named = (str(column.name) for column in columns(table))
    return {name: _value(row[name]) for name in named if name in row}


def _value(value: Any) -> Any:  # noqa: ANN401
    match value:
        case datetime():
            return schema.Moment.stored(value)
        case date():
            return value.isoformat()
        case _:
            return value


def stored(column: "Column[Any]", raw: Any) -> Any:  # noqa: ANN401
    """Return a value as the ledger tells it, from what a driver gave, not converted by anything.

    Raises
    ------
    Odd
        If it is none of the column's.
    """
    if raw is None:
        if not column.nullable:
            raise Odd
        return None
    match column.type:
        case Boolean():
            # SQLite keeps 0 and 1.
            if type(raw) is bool or (type(raw) is int and raw in (0, 1)):
                return bool(raw)
        case Integer():
            if type(raw) is int:
                return raw
        case schema.Day():
            if isinstance(raw, date):
                return raw.isoformat()
            if isinstance(raw, str):
                return raw
        case LargeBinary():
            if isinstance(raw, bytes):
                return raw
        case _:
            if isinstance(raw, str):
                return raw
    raise Odd


def row_stored(
    told_columns: "Sequence[Column[Any]]", raw: Sequence[Any]
) -> tuple[dict[str, Any], set[str]]:
    """Return a row as the ledger tells it, from what a driver gave, and which values are odd.

    An odd value, none of its column's, stands there as it was given.
    """
    row: dict[str, Any] = {}
    odd: set[str] = set()
    for column, value in zip(told_columns, raw, strict=True):
        name = str(column.name)
        try:
            row[name] = stored(column, value)
        except Odd:
            row[name] = value
            odd.add(name)
    return row, odd


def python_value(column: "Column[Any]", value: Any) -> Any:  # noqa: ANN401  (of any type)
    """Return Python's own value of one that the ledger, or an export, tells.

    Raises
    ------
    ValueError
        If it is no time with an offset, or no date.
    """
    if value is None:
        return None
    if isinstance(column.type, schema.Moment):
        moment = datetime.fromisoformat(value)
        if moment.tzinfo is None:
            raise ValueError("a time without its offset")
        return moment
    return date.fromisoformat(value) if isinstance(column.type, schema.Day) else value


def encoded(kind: str, about: str, at: str, tells: Mapping[str, Any]) -> bytes:
    """Return the payload of an entry.

    Examples
    --------
    >>> encoded("people", "AB", "2026-03-02T08:00:00+00:00", {"row": {"initials": "AB"}})
    b'{"at":"2026-03-02T08:00:00+00:00","kind":"people","row":{"initials":"AB"},"subject":"AB"}'
    """
    return msgspec.json.encode({"kind": kind, "subject": about, "at": at, **tells}, order="sorted")


def decoded(payload: object) -> dict[str, Any]:
    """Return what an entry tells; nothing of one that cannot be read."""
    if not isinstance(payload, bytes):
        return {}
    try:
        found = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return {}
    return found if isinstance(found, dict) and isinstance(found.get("row"), dict) else {}
