"""Names in a file as people type them: positions, pins, pairs and roles."""

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TypeVar

from benchproof.family.branches import CASE
from benchproof.family.model import AT_REST, Family, Pair, Role, pair_text, without_lever
from benchproof.family.problems import BadFile, Problem
from benchproof.family.sentence import did_you_mean, quoted

MOST_LETTERS = 40
"""The longest name of a pin or position."""
MOST_POSITIONS = 60
MOST_PINS = 200
MOST_PAIRS = 2_000
"""More than any chart has rows."""
# A word processor turns a hyphen into any of several dashes.
_JOIN = re.compile(r"\s*(?:[-\u2010-\u2015\u2212/:&+,;]|\bto\b|\band\b)\s*|\s+", re.IGNORECASE)
# What a spreadsheet makes of a pair such as "1-2" or "1:2".
_DATE = re.compile(
    r"\d{4}-\d\d-\d\d\b.*|\d{1,2}:\d\d:\d\d(\.\d+)?"
    r"|\d{1,2}[-/. ](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
    r"|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[-/. ]\d{1,2}",
    re.IGNORECASE,
)
_ROLE_SPELLINGS = {
    "": Role.UNTOLD,
    "none": Role.OTHER,
    "bit": Role.RANGE_BIT,
    "range": Role.RANGE_BIT,
    "level": Role.RANGE_LEVEL,
    "start": Role.START_PERMIT,
    "starter": Role.START_PERMIT,
    "reverse": Role.REVERSE_LAMP,
    "reverse light": Role.REVERSE_LAMP,
    "backup lamp": Role.REVERSE_LAMP,
}


def check_name(name: str) -> str:
    """Return a name as it is, if it is one that a table can hold.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    if not name.strip():
        raise ValueError("is empty; give it a name")
    if name != name.strip() or not name.isprintable():
        raise ValueError("has blanks around it or characters that do not print; type it again")
    if len(name) > MOST_LETTERS:
        raise ValueError(f"is longer than {MOST_LETTERS} letters; shorten it")
    if name.startswith("#"):
        raise ValueError("begins with #, which marks a comment; begin it otherwise")
    return name


def check_position(name: str) -> str:
    """Return the name of a lever position as it is, if a table can hold it.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    if check_name(name) == AT_REST:
        raise ValueError("is kept for parts without a lever; name the position otherwise")
    return name


def check_pin_name(name: str) -> str:
    """Return the name of a pin or inner node as it is, if a pair can name it.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    check_name(name)
    if name.casefold() == CASE:
        raise ValueError("is the housing's own name; name the pin otherwise")
    if _JOIN.search(name):
        raise ValueError("has in it what parts the pins of a pair; use letters and digits only")
    return name


def split_pair(text: str) -> Pair:
    """Read the two pins of a pair: "A-B", "A – B", "A/B", "1 to 2", "A B".

    The case is told from a pin by its name, in capitals or not.

    Raises
    ------
    ValueError
        With one sentence, if there are not exactly two different pins.
    """
    if _DATE.fullmatch(text.strip()):
        raise ValueError(
            "is a date that a spreadsheet made of two pins; format the column as text and type "
            "it again, such as '1 to 2'"
        )
    names = [
        CASE if name.casefold() == CASE else name for name in _JOIN.split(text.strip()) if name
    ]
    if len(names) != 2:
        raise ValueError("is not a pair of pins; type two pins such as A-B")
    if names[0] == names[1]:
        raise ValueError("names one pin twice; a pair is two different pins")
    return names[0], names[1]


_Read = TypeVar("_Read")


def named(read: Callable[[str], _Read], text: str) -> _Read:
    """Return what a reader makes of a text, its error beginning with the text.

    Raises
    ------
    ValueError
        "'A-A' names one pin twice; ..." for a reader that says "names one pin twice; ...".
    """
    try:
        return read(text)
    except ValueError as error:
        subject = f"{quoted(text)} " if text.strip() else ""
        raise ValueError(f"{subject}{error}") from None


def match_name(typed: str, known: Sequence[str], what: str) -> str:
    """Return the known name that a person typed, whatever the case where that is unambiguous.

    Raises
    ------
    ValueError
        With one sentence naming `what` ("pin", "position") and the nearest known name.
    """
    word = typed.strip()
    if not word:
        raise ValueError(f"names no {what}; {did_you_mean(word, known)}")
    if word in known:
        return word
    alike = [name for name in known if name.casefold() == word.casefold()]
    if len(alike) == 1:
        return alike[0]
    raise ValueError(f"{quoted(word)} is no {what} of this family; {did_you_mean(word, known)}")


def match_pair(text: str, pins: Sequence[str], what: str = "pin") -> Pair:
    """Read a pair whose pins must be known; the case counts as a pin.

    Parameters
    ----------
    text : str
        As typed.
    pins : sequence of str
        The known pins.
    what : str
        What they are, for the sentence.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    known = [*pins, CASE]
    first, second = named(split_pair, text)
    pair = match_name(first, known, what), match_name(second, known, what)
    if pair[0] == pair[1]:
        raise ValueError(f"{quoted(text)} names {pair[0]} twice; a pair is two different pins")
    return pair


def need_lever(family: Family, done: str) -> None:
    """Refuse what only a part with a lever can have done to it.

    Raises
    ------
    BadFile
        If it has none.
    """
    if not family.lever:
        sentence = without_lever(family, done).removeprefix(f"{family.name} ")
        raise BadFile(family.name, [Problem("", sentence)])


def spellings(family: Family) -> dict[str, Pair]:
    """Return what typed text is which charted pair, each as the chart writes it."""
    found = {}
    for pair in family.charted_pairs:
        # A pair whose pins together look like a date can only be typed otherwise.
        with suppress(ValueError):
            found[pair_text(pair)] = match_pair(pair_text(pair), family.pin_names)
    return found


def parse_role(text: str) -> Role:
    """Read a role, in any case.

    Raises
    ------
    ValueError
        With one sentence listing the roles: a role that was mistyped must not silently lose
        the checks that hang on it.
    """
    word = " ".join(text.replace("-", " ").split()).casefold()
    # "range bit 2" is a range bit; bits are numbered by their order in the chart.
    word = re.sub(r"^((?:range )?bit)\s*\w$", r"\1", word)
    if word in _ROLE_SPELLINGS:
        return _ROLE_SPELLINGS[word]
    try:
        return Role(word)
    except ValueError:
        hint = did_you_mean(word, list(Role))
        raise ValueError(f"{quoted(text)} is no role; {hint} Or leave it empty.") from None
