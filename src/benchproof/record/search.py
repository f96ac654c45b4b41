"""Rows that hold words anywhere in their texts, whatever the case, the same on both engines.

Both engines fold the case of the letters of English only. So a letter of another script stands for
any letters in the query, and what comes is looked at again here.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Row, and_, or_

if TYPE_CHECKING:
    from sqlalchemy import Column, Connection, Select

MOST_WORDS, MOST_LETTERS = 6, 80
"""More words, and more letters in all, are not looked for."""
MOST_LOOKED_AT = 20_000
"""So many rows that the engine takes for fitting are looked at again."""
_ASCII = 128


def words_of(text: str) -> tuple[str, ...]:
    """Return the words to look for in what was typed; none of blanks."""
    shown = "".join(letter if letter.isprintable() else " " for letter in text[:MOST_LETTERS])
    return tuple(dict.fromkeys(shown.split()))[:MOST_WORDS]


def fitting(
    connection: "Connection",
    query: "Select[Any]",
    columns: "Sequence[Column[Any]]",
    words: Sequence[str],
    limit: int,
) -> Iterator[Row[Any]]:
    """Yield the rows of a query that hold every word, each in any of the columns.

    Parameters
    ----------
    connection : Connection
    query : Select
        Has the columns.
    columns : sequence of Column
        Of text.
    words : sequence of str
        Of `words_of`; nothing fits none.
    limit : int
        How many at most.
    """
    if not words:
        return
    rows = connection.execute(query.where(_may_hold(columns, words)).limit(MOST_LOOKED_AT))
    left = limit
    for row in rows:
        if left == 0:
            return
        if _holds([row._mapping[column] for column in columns], words):
            left -= 1
            yield row


def _may_hold(columns: "Sequence[Column[Any]]", words: Sequence[str]) -> ColumnElement[bool]:
    patterns = [_pattern(word) for word in words]
    return and_(*(or_(*(column.ilike(one, escape="/") for column in columns)) for one in patterns))


def _pattern(word: str) -> str:
    letters = (
        "%" if ord(letter) >= _ASCII else f"/{letter}" if letter in "%_/" else letter
        for letter in word
    )
    return f"%{''.join(letters)}%"


def _holds(texts: Iterable[object], words: Sequence[str]) -> bool:
    folded = [text.casefold() for text in texts if isinstance(text, str)]
    return all(any(word.casefold() in text for text in folded) for word in words)
