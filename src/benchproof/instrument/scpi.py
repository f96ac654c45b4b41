"""SCPI as bytes and text: lines, numbers, lists of channels, errors. No I/O.

The grammar is strict, so that a reply cut short or garbled is refused rather than read as another
number. What lets a whole but wrong reply through no grammar can see; `conversation` sees to that.

References
----------
SCPI-1999 and IEEE 488.2 for the commands and the forms NR1, NR2, NR3 of numbers, from memory;
infinity 9.9E37 and not-a-number 9.91E37 as in open instrument documentation.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

MOST_LINE = 4096
"""No reply of a meter or a selector is longer, bytes."""
INFINITY = Decimal("9.9E37")
NOT_A_NUMBER = Decimal("9.91E37")

_NUMBER = re.compile(r"[+-]?\d{1,40}(?:\.\d{1,40})?(?:[Ee][+-]?\d{1,3})?", re.ASCII)
_ERROR = re.compile(r'([+-]?\d{1,6}),"((?:[^"]|"")*)"', re.ASCII)
_STRING = re.compile(r'"((?:[^"]|"")*)"' r"|'((?:[^']|'')*)'")
CHANNEL = r"\d{1,6}(?:!\d{1,6}){0,3}"
"""A channel as SCPI names it, as a regular expression without groups: 101, or 1!2 of a matrix."""


class NotScpi(ValueError):
    """Bytes or text that are no reply; the text says what stands there."""


class Lines:
    r"""Bytes in, whole lines out; what has no line end yet is kept and is no line.

    Examples
    --------
    >>> lines = Lines()
    >>> lines.feed(b"+1.5E+0")
    []
    >>> lines.feed(b"1\r\n+2")
    ['+1.5E+01']
    """

    def __init__(self) -> None:
        self._kept = b""

    def feed(self, data: bytes) -> list[str]:
        """Return the lines that these bytes complete, without their ends.

        Bytes outside ASCII stand in them as escapes, which no grammar here takes.

        Raises
        ------
        NotScpi
            If a line is longer than any reply; what was kept is dropped.
        """
        *whole, self._kept = (self._kept + data).split(b"\n")
        if max(map(len, [*whole, self._kept])) > MOST_LINE:
            self._kept = b""
            raise NotScpi("a line without end")
        return [line.removesuffix(b"\r").decode("ascii", "backslashreplace") for line in whole]

    def drop(self) -> None:
        """Forget what has no line end yet."""
        self._kept = b""


def parse_number(text: str) -> Decimal:
    """Read a number in the form NR1, NR2 or NR3, blanks around it allowed.

    Raises
    ------
    NotScpi
        If it is anything else, or cut short.

    Examples
    --------
    >>> parse_number("+1.20000E+02"), parse_number(" 12")
    (Decimal('120.000'), Decimal('12'))
    >>> parse_number("1.2E")
    Traceback (most recent call last):
    ...
    benchproof.instrument.scpi.NotScpi: '1.2E' is no number
    """
    word = text.strip(" ")
    if not _NUMBER.fullmatch(word):
        raise NotScpi(f"{word[:40]!r} is no number")
    return Decimal(word)


def parse_string(text: str) -> str:
    """Read a quoted string.

    Raises
    ------
    NotScpi
        If it is none.

    Examples
    --------
    >>> parse_string('"R"'), parse_string("''")
    ('R', '')
    """
    match = _STRING.fullmatch(text.strip(" "))
    if not match:
        raise NotScpi(f"{text[:40]!r} is no quoted text")
    if match[1] is not None:
        return match[1].replace('""', '"')
    return match[2].replace("''", "'")


def parse_error(text: str) -> tuple[int, str]:
    """Read one entry of the error queue; code 0 is no error.

    Raises
    ------
    NotScpi
        If it is none.

    Examples
    --------
    >>> parse_error('-113,"Undefined header"')
    (-113, 'Undefined header')
    """
    match = _ERROR.fullmatch(text.strip(" "))
    if not match:
        raise NotScpi(f"{text[:40]!r} is no entry of an error queue")
    return int(match[1]), match[2].replace('""', '"')


def parse_switches(text: str, count: int) -> tuple[bool, ...]:
    """Read the states of a list of channels: one 0 or 1 each, parted by commas.

    Raises
    ------
    NotScpi
        If these are not `count` of them.

    Examples
    --------
    >>> parse_switches("0,1,0", 3)
    (False, True, False)
    """
    words = [word.strip(" ").removeprefix("+") for word in text.split(",")]
    if len(words) != count or not {*words} <= {"0", "1"}:
        raise NotScpi(f"{text[:40]!r} is no state of {count} channels")
    return tuple(word == "1" for word in words)


@dataclass(frozen=True)
class Identity:
    """What an instrument calls itself; empty where it does not say."""

    maker: str
    model: str = ""
    serial: str = ""
    firmware: str = ""

    def __str__(self) -> str:
        """Return the fields that are told, parted by commas."""
        fields = (self.maker, self.model, self.serial, self.firmware)
        return ", ".join(field for field in fields if field)


def parse_identity(text: str) -> Identity:
    """Read the reply to ``*IDN?``: four fields by the rule, fewer or more by some makers.

    Raises
    ------
    NotScpi
        If there is nothing printable in it.
    """
    fields = [field.strip(' "') for field in text.split(",", 3)]
    if not fields[0] or not text.isprintable() or "\\x" in text:
        raise NotScpi(f"{text[:40]!r} is no identity")
    return Identity(*fields)


def split_reply(text: str) -> list[str]:
    """Return the parts of a reply to several queries, parted by semicolons outside quotes.

    Examples
    --------
    >>> split_reply('0,"a;b";37')
    ['0,"a;b"', '37']
    """
    parts, quote = [""], ""
    for letter in text:
        if letter == ";" and not quote:
            parts.append("")
            continue
        if letter in "\"'" and quote in ("", letter):
            quote = "" if quote else letter
        parts[-1] += letter
    return [part.strip(" ") for part in parts]


def channel_list(channels: Sequence[str]) -> str:
    """Return a list of channels as a command's parameter.

    Examples
    --------
    >>> channel_list(["101", "102"])
    '(@101,102)'
    """
    return f"(@{','.join(channels)})"


def parse_channel_list(text: str) -> list[str]:
    """Read a list of channels.

    Raises
    ------
    NotScpi
        If it is none.
    """
    match = re.fullmatch(rf"\(@({CHANNEL}(?:\s*,\s*{CHANNEL})*)\)", text.strip(" "), re.ASCII)
    if not match:
        raise NotScpi(f"{text[:40]!r} is no list of channels")
    return [word.strip() for word in match[1].split(",")]


def quoted_string(text: str) -> str:
    """Return a text as a command's quoted parameter."""
    doubled = text.replace('"', '""')
    return f'"{doubled}"'
