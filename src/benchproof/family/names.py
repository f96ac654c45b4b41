"""Names in a file as people type them: positions, pins, pairs and roles."""

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

from benchproof.family.branches import CASE
from benchproof.family.model import Pair, Role
from benchproof.family.problems import did_you_mean, quoted

_JOIN = re.compile(r"\s*(?:[-–—/:&+,;]|\bto\b|\band\b)\s*|\s+", re.IGNORECASE)
_ROLE_SPELLINGS = {
    "": Role.OTHER,
    "bit": Role.RANGE_BIT,
    "range": Role.RANGE_BIT,
    "level": Role.RANGE_LEVEL,
    "start": Role.START_PERMIT,
    "starter": Role.START_PERMIT,
    "reverse": Role.REVERSE_LAMP,
    "reverse light": Role.REVERSE_LAMP,
    "backup lamp": Role.REVERSE_LAMP,
}


def split_pair(text: str) -> Pair:
    """Read the two pins of a pair: "A-B", "A – B", "A/B", "1 to 2", "A B".

    Raises
    ------
    ValueError
        With one sentence, if there are not exactly two different pins.
    """
    names = [name for name in _JOIN.split(text.strip()) if name]
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
        raise ValueError(f"{quoted(text)} {error}") from None


def match_name(typed: str, known: Sequence[str], what: str) -> str:
    """Return the known name that a person typed, whatever the case where that is unambiguous.

    Raises
    ------
    ValueError
        With one sentence naming `what` ("pin", "position") and the nearest known name.
    """
    word = typed.strip()
    if word in known:
        return word
    alike = [name for name in known if name.casefold() == word.casefold()]
    if len(alike) == 1:
        return alike[0]
    raise ValueError(f"{quoted(word)} is no {what} of this family; {did_you_mean(word, known)}")


def match_pair(text: str, pins: Sequence[str]) -> Pair:
    """Read a pair whose pins must be known; the case counts as a pin.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    return check_pair(*named(split_pair, text), pins)


def check_pair(first: str, second: str, pins: Sequence[str]) -> Pair:
    """Return a pair of known pins, two different ones; the case counts as a pin.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    known = [*pins, CASE]
    pair = match_name(first, known, "pin"), match_name(second, known, "pin")
    if pair[0] == pair[1]:
        raise ValueError(f"the pair names pin {pair[0]} twice; a pair is two different pins")
    return pair


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
