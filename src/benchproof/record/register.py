"""A table whose rows are added once and found by their tag."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from sqlalchemy import Connection, String, Table, exists, select

from benchproof.family.sentence import quoted
from benchproof.record import schema
from benchproof.record.problems import NoSuch, TagTaken
from benchproof.record.rows import row_of
from benchproof.record.search import fitting
from benchproof.record.words import checked_tag, checked_texts

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

Row = TypeVar("Row", bound="DataclassInstance")
LAST_LETTER = "\U0010ffff"


class Register(Generic[Row]):
    """Rows of one dataclass, whose fields are columns and whose first field is the tag.

    Parameters
    ----------
    database : Database
    ledger : Ledger
    table : Table
    row_type : type
        A frozen dataclass of `rows`.
    kind : str
        What messages call a row.
    points_to : mapping of str to str
        Fields that name a row of another table, and what messages call that.
    """

    def __init__(
        self,
        database: "Database",
        ledger: "Ledger",
        table: Table,
        row_type: type[Row],
        kind: str,
        points_to: Mapping[str, str],
    ) -> None:
        self._database = database
        self._ledger = ledger
        self._table = table
        self._row_type = row_type
        self._kind = kind
        self._points_to = points_to
        self._columns = [table.c[field.name] for field in fields(row_type)]
        self._key = self._columns[0]

    def add(self, row: Row) -> None:
        """Record a row.

        Raises
        ------
        TagTaken
            If its tag is in use.
        NoSuch
            If it names something that is not in the archive.
        RecordProblem
            If its tag or a text cannot be kept.
        """
        values = asdict(row)
        tag = checked_tag(values[self._key.name], self._kind)
        checked_texts(row)
        with self._ledger.writing() as change:
            if self._has(change.connection, tag):
                raise TagTaken(
                    f"{tag}: there is a {self._kind} of this name already; take another."
                )
            for name, kind in self._points_to.items():
                check_there(change.connection, self._table, name, values[name], kind)
            change.add(self._table, values)

    def get(self, tag: str) -> Row:
        """Return the row with this tag.

        Raises
        ------
        NoSuch
            If there is none.
        """
        with self._database.reading() as connection:
            found = connection.execute(select(*self._columns).where(self._key == tag)).one_or_none()
        if found is None:
            raise no_such(tag, self._kind)
        return row_of(self._row_type, found)

    def list(self, beginning: str = "", limit: int | None = None, **wanted: str) -> "list[Row]":
        """Return the rows whose tag begins so, in order of their tags.

        Parameters
        ----------
        beginning : str
            Of the tag.
        limit : int, optional
            How many at most.
        **wanted : str
            Only rows that have these values, by column.
        """
        query = (
            select(*self._columns)
            .where(self._key >= beginning, self._key < beginning + LAST_LETTER)
            .where(*(self._table.c[name] == value for name, value in wanted.items()))
            .order_by(self._key)
            .limit(limit)
        )
        with self._database.reading() as connection:
            return [row_of(self._row_type, row) for row in connection.execute(query)]

    def holding(self, words: Sequence[str], limit: int) -> Sequence[Row]:
        """Return the rows that hold every word somewhere in their texts, in order of their tags.

        Parameters
        ----------
        words : sequence of str
            Of `search.words_of`.
        limit : int
            How many at most.
        """
        texts = [
            column
            for column in self._columns
            if isinstance(column.type, String) and not column.references(schema.files.c.hash)
        ]
        query = select(*self._columns).order_by(self._key)
        with self._database.reading() as connection:
            rows = fitting(connection, query, texts, words, limit)
            return [row_of(self._row_type, row) for row in rows]

    def tags(self, beginning: str, limit: int) -> Sequence[str]:
        """Return the tags that begin so, in order."""
        query = (
            select(self._key)
            .where(self._key >= beginning, self._key < beginning + LAST_LETTER)
            .order_by(self._key)
            .limit(limit)
        )
        with self._database.reading() as connection:
            return [tag for (tag,) in connection.execute(query)]

    def distinct(self, *columns: str, **wanted: str) -> Sequence[tuple[Any, ...]]:
        """Return what rows have in these columns, each once and in order.

        Parameters
        ----------
        *columns : str
        **wanted : str
            Only of rows that have these values, by column.
        """
        shown = [self._table.c[name] for name in columns]
        query = (
            select(*shown)
            .where(*(self._table.c[name] == value for name, value in wanted.items()))
            .distinct()
            .order_by(*shown)
        )
        with self._database.reading() as connection:
            return [tuple(row) for row in connection.execute(query)]

    def _has(self, connection: Connection, tag: str) -> bool:
        return bool(connection.execute(select(exists().where(self._key == tag))).scalar_one())


def check_there(
    connection: Connection, table: Table, column: str, value: str | None, kind: str
) -> None:
    """Look whether the row that a column points to is there.

    Raises
    ------
    NoSuch
        If not.
    """
    if value is None:
        return
    # A column may also be one of several that point to a row together.
    (key,) = (
        key
        for key in table.c[column].foreign_keys
        if key.constraint is not None and len(key.constraint.columns) == 1
    )
    if not connection.execute(select(exists().where(key.column == value))).scalar_one():
        raise no_such(value, kind)


def no_such(tag: str, kind: str) -> NoSuch:
    """Return the problem that nothing is called so."""
    return NoSuch(f"{quoted(tag)}: the archive has no {kind} of this name.")
