"""What a look at the archive finds; reading it as it is, whatever another program wrote there."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, Connection, Table

_AT_ONCE = 1000
"""Rows that are held in memory at once."""
KINDS = {
    "people": "person",
    "customers": "customer",
    "files": "file",
    "gear": "gear",
    "units": "unit",
    "cores": "core",
    "parts": "part",
    "photographs": "photograph",
    "conditions": "condition",
    "shelf_moves": "shelf move",
    "shop_settings": "shop settings",
    "proofs": "proof",
    "events": "event",
}
"""What people call a row of a table."""


@dataclass(frozen=True, slots=True)
class Alteration:
    """Something that is not as it was recorded.

    Attributes
    ----------
    where : str
        A proof's tag, or what is altered.
    sentence : str
        What, and since when.
    """

    where: str
    sentence: str


@contextmanager
def lenient(connection: Connection) -> Iterator[None]:
    """Let texts be read that are none: SQLite keeps any bytes as text."""
    driver = connection.connection.driver_connection
    if connection.dialect.name != "sqlite" or driver is None:
        yield
        return
    driver.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = str


def raw_rows(
    connection: Connection, table: Table, columns: "list[Column[Any]]", order: str = ""
) -> Iterator[tuple[Any, ...]]:
    """Give the rows of a table as the driver gives them, no value converted."""
    quote = connection.dialect.identifier_preparer.quote
    names = ", ".join(quote(column.name) for column in columns)
    keys = order or ", ".join(quote(column.name) for column in table.primary_key)
    found = connection.exec_driver_sql(
        f"SELECT {names} FROM {quote(table.name)} ORDER BY {keys}",
        execution_options={"yield_per": _AT_ONCE},
    )
    try:
        for row in found:
            yield tuple(row)
    finally:
        # Who asks may stop before the end, and the server holds the rest until then.
        found.close()


def on_day(at: object) -> str:
    """Return the day of a time as the ledger tells it.

    Examples
    --------
    >>> on_day("2026-03-02T08:00:00.000000+00:00")
    '2026-03-02'
    """
    return str(at)[:10]
