"""The grades noted at intake, with their photographs."""

from dataclasses import asdict, fields
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from benchproof.record import schema
from benchproof.record.register import check_there
from benchproof.record.rows import ConditionRow, row_of
from benchproof.record.words import checked_texts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

_COLUMNS = [schema.conditions.c[field.name] for field in fields(ConditionRow)]
_POINTS_TO = {"core": "core", "part": "part", "photograph": "photograph", "by": "person"}


class SeenConditions:
    """What was seen of cores and parts.

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

    def note(
        self,
        *,
        core: str | None = None,
        part: str | None = None,
        item: str,
        grade: str,
        remark: str = "",
        photograph: str | None = None,
        by: str | None = None,
    ) -> ConditionRow:
        """Note a grade of one item, of a core or of a part; the latest note of an item counts.

        Raises
        ------
        NoSuch
            If the core, part, photograph or person is not in the archive.
        """
        conditions = schema.conditions
        with self._ledger.writing() as change:
            connection = change.connection
            self._database.alone(connection, "conditions")
            last = connection.execute(select(func.max(conditions.c.number))).scalar_one()
            row = ConditionRow(
                (last or 0) + 1, core, part, item, grade, remark, photograph, by, self._now()
            )
            checked_texts(row)
            values = asdict(row)
            for name, kind in _POINTS_TO.items():
                check_there(connection, conditions, name, values[name], kind)
            change.add(conditions, values)
        return row

    def list(self, *, core: str | None = None, part: str | None = None) -> "list[ConditionRow]":
        """Return the notes of a core or of a part, the oldest first."""
        conditions = schema.conditions
        query = (
            select(*_COLUMNS)
            .where(conditions.c.core == core if part is None else conditions.c.part == part)
            .order_by(conditions.c.number)
        )
        with self._database.reading() as connection:
            return [row_of(ConditionRow, row) for row in connection.execute(query)]
