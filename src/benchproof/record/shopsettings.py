"""What the shop puts on its papers; every change is kept, the last one counts."""

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

from sqlalchemy import select

from benchproof.record import schema
from benchproof.record.register import check_there
from benchproof.record.rows import ShopRow, row_of
from benchproof.record.words import checked_texts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy import Connection

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

_TABLE = schema.shop_settings
_COLUMNS = [_TABLE.c[field.name] for field in fields(ShopRow)]


class ShopSettings:
    """The settings of the shop's papers.

    Parameters
    ----------
    database : Database
    ledger : Ledger
    now : callable
        Returns the time, with its offset.
    """

    def __init__(
        self, database: "Database", ledger: "Ledger", now: "Callable[[], datetime]"
    ) -> None:
        self._database = database
        self._ledger = ledger
        self._now = now

    def put(
        self,
        *,
        name: str,
        address: str,
        signer: str,
        logo: str | None,
        paper: str,
        label: str,
        distance: str,
        temperature: str,
        language: str,
        by: str | None = None,
    ) -> ShopRow:
        """Record settings, all of them; nothing is recorded where they are as they were.

        Raises
        ------
        NoSuch
            If the logo or the person is not in the archive.
        RecordProblem
            If a text cannot be kept.
        """
        with self._ledger.writing() as change:
            connection = change.connection
            self._database.alone(connection, _TABLE.name)
            last = _last(connection)
            number = 1 if last is None else last.number + 1
            row = ShopRow(
                number,
                name,
                address,
                signer,
                logo,
                paper,
                label,
                distance,
                temperature,
                language,
                by,
                self._now(),
            )
            if last is not None and _told(last) == _told(row):
                return last
            checked_texts(row)
            values = asdict(row)
            check_there(connection, _TABLE, "logo", logo, "file")
            check_there(connection, _TABLE, "by", by, "person")
            change.add(_TABLE, values)
        return row

    def current(self) -> ShopRow | None:
        """Return the settings that count; None if none were made.

        Raises
        ------
        Altered
            If they are not as they were recorded: they go on papers.
        """
        with self._database.reading() as connection:
            row = _last(connection)
        if row is not None:
            self._ledger.attest(_TABLE, asdict(row))
        return row


def _last(connection: "Connection") -> ShopRow | None:
    query = select(*_COLUMNS).order_by(_TABLE.c.number.desc()).limit(1)
    found = connection.execute(query).one_or_none()
    return None if found is None else row_of(ShopRow, found)


def _told(row: ShopRow) -> tuple[object, ...]:
    """Return what is set, beside the number, who and when."""
    apart = ("number", "by", "at")
    return tuple(getattr(row, one.name) for one in fields(row) if one.name not in apart)
