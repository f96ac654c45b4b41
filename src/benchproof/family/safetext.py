"""Text from elsewhere made safe for the place where it goes: a spreadsheet's cell, a terminal."""

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Sequence

FORMULA = r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]"
"""How a cell begins that a spreadsheet program may take for a formula, or that looks like one made
safe; from memory: the list that security guides give."""
NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"
"""What stays as it is all the same."""
_FORMULA = re.compile(FORMULA)
_MADE_SAFE = re.compile(f"'{FORMULA}")
_NUMBER = re.compile(NUMBER)


def for_cell(text: str) -> str:
    """Return a text that no spreadsheet program takes for a formula; numbers stay numbers.

    An apostrophe before it says that it is text; `from_cell` takes it away.

    Examples
    --------
    >>> for_cell("=1+1"), for_cell("-0.1"), for_cell("A-B"), for_cell("'=1")
    ("'=1+1", '-0.1', 'A-B', "''=1")
    """
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def from_cell(text: str) -> str:
    """Return the text of a cell without the apostrophe that `for_cell`, or a person, put there.

    Examples
    --------
    >>> from_cell("'=1+1"), from_cell("'tis"), from_cell("-0.1")
    ('=1+1', "'tis", '-0.1')
    """
    return text[1:] if _MADE_SAFE.match(text) else text


def csv_text(rows: Iterable[Sequence[str]], delimiter: str = ",") -> str:
    r"""Return rows as CSV, each cell safe in a spreadsheet program; all our tables are written so.

    Examples
    --------
    >>> csv_text([["note", "ohm"], ["=1", "-0.1"]])
    "note,ohm\n'=1,-0.1\n"
    """
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerows([for_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def for_terminal(text: str) -> str:
    r"""Return a text whose control characters are shown, not obeyed; lines and tabs stay.

    They are written as JSON writes them, so JSON stays the same JSON. Shown are all that do not
    print: escapes, bells, turns of the writing direction, halves of a pair.

    Examples
    --------
    >>> print(for_terminal("a\x1b[2J\u202eb\n"), end="")
    a\u001b[2J\u202eb
    """
    if text.isprintable():
        return text
    return "".join(c if _may_be_shown(c) else _written(c) for c in text)


def _may_be_shown(letter: str) -> bool:
    # Blanks of every width count as not printable.
    return letter.isprintable() or letter in "\n\t" or unicodedata.category(letter) == "Zs"


def _written(letter: str) -> str:
    units = letter.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[n : n + 2].hex()}" for n in range(0, len(units), 2))
