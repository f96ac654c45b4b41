"""How one make of meter departs from the standard: its dialect, from a TOML file."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.family.names import named
from benchproof.family.ohms import MOST_OHM, parse_ohms
from benchproof.family.tomlfile import Ohms, Text, TomlFile
from benchproof.instrument.conversation import Conversation
from benchproof.instrument.problems import Doubt, Trouble
from benchproof.instrument.scpi import INFINITY, NOT_A_NUMBER, NotScpi, parse_number
from benchproof.reading.value import Measured, OverRange

FINEST = -9
"""Digits finer than a nano-ohm are rounded off; no meter knows them."""
Command = Annotated[str, Meta(max_length=200)]
USUAL_DIALECT = "scpi-1999"


class NoNumber(Exception):
    """A whole reply that is no resistance; `trouble` says why."""

    def __init__(self, trouble: Trouble, detail: str) -> None:
        self.trouble, self.detail = trouble, detail
        super().__init__(f"{trouble.name} {detail}")


@dataclass(frozen=True)
class Dialect:
    """What to send to a meter and what its replies mean.

    Attributes
    ----------
    name : str
        Name of the dialect.
    two_wire, four_wire : str
        Commands that set the meter to resistance; a range in ohms follows as a parameter. Empty
        where there is none.
    read : str
        The query that takes a new reading.
    repeat : str
        The query that tells the same reading again, so that a garbled digit shows; empty for none.
    volts : str
        The query that reads volts; empty if the meter cannot.
    errors : str
        The query of the error queue; empty for none.
    echo : bool
        Whether it answers several queries in one line.
    ends : str
        What ends a message to it: ``lf`` or ``crlf``.
    over_range : tuple of Decimal
        The numbers that mean more than the range.
    below_zero_ohm : float
        As far below zero is taken as zero, ohms: what a null leaves.
    note : str
        Where it comes from.
    """

    name: str
    two_wire: str = "CONF:RES"
    four_wire: str = "CONF:FRES"
    read: str = "READ?"
    repeat: str = "FETC?"
    volts: str = "MEAS:VOLT:DC?"
    errors: str = "SYST:ERR?"
    echo: bool = True
    ends: str = "lf"
    over_range: tuple[Decimal, ...] = (INFINITY,)
    below_zero_ohm: float = 0.05
    note: str = field(default="", compare=False)

    def conversation(self) -> Conversation:
        """Return a new conversation in it."""
        return Conversation(echo=self.echo, ends=b"\r\n" if self.ends == "crlf" else b"\n")


def read_number(text: str) -> Decimal:
    """Return the number of a reply.

    Raises
    ------
    Doubt
        If it is none.
    """
    try:
        return parse_number(text)
    except NotScpi as error:
        raise Doubt(Trouble.GARBLED, f"{error}") from None


def ohms_of(
    number: Decimal, dialect: Dialect, range_ohm: float | None = None
) -> Measured | OverRange:
    """Return what a meter's number means.

    Parameters
    ----------
    number : Decimal
        As it was sent.
    dialect : Dialect
        The meter's dialect.
    range_ohm : float or None
        The range it was set to, ohms; None if it chooses by itself.

    Raises
    ------
    NoNumber
        If it means that there is none, or lies below zero.
    Doubt
        If no meter sends such a number.

    Examples
    --------
    >>> ohms_of(Decimal("+2.70000E+02"), Dialect("standard"))
    Measured(ohm=270.0, step_ohm=0.001)
    >>> ohms_of(Decimal("9.90000000E+37"), Dialect("standard"))
    OverRange(top_ohm=None)
    """
    if number in dialect.over_range:
        return OverRange(range_ohm)
    if number == NOT_A_NUMBER:
        raise NoNumber(Trouble.NO_NUMBER, f"{number}")
    if number > Decimal(MOST_OHM) or number < -Decimal(MOST_OHM):
        raise Doubt(Trouble.GARBLED, f"{number} ohm")
    if number < 0:
        if number < -Decimal(dialect.below_zero_ohm):
            raise NoNumber(Trouble.BELOW_ZERO, f"{number:f} ohm")
        number = number * 0
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int), "the grammar admits finite numbers only"
    if exponent < FINEST:
        number = round(number, -FINEST)
        exponent = FINEST
    return Measured(float(number), float(Decimal(1).scaleb(exponent)))


class DialectFile(Struct, forbid_unknown_fields=True):
    """A dialect."""

    name: Text
    two_wire: Command = "CONF:RES"
    four_wire: Command = "CONF:FRES"
    read: Command = "READ?"
    repeat: Command = "FETC?"
    volts: Command = ""
    errors: Command = "SYST:ERR?"
    echo: bool = True
    ends: Literal["lf", "crlf"] = "lf"
    over_range: Annotated[list[Text], Meta(max_length=20)] = msgspec.field(
        default_factory=lambda: ["9.9E37"]
    )
    below_zero: Ohms = "0.05 ohm"
    note: str = ""


def read_dialect(data: bytes, file: str) -> Dialect:
    """Read a dialect.

    Parameters
    ----------
    data : bytes
        TOML.
    file : str
        Its name, for messages.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    shaped = toml.shaped(DialectFile)
    commands: dict[str, str] = {
        key: getattr(shaped, key).strip()
        for key in ("two_wire", "four_wire", "read", "repeat", "volts", "errors")
    }
    for key, text in commands.items():
        if not (text.isascii() and text.isprintable()) or ";" in text:
            toml.problems.add(
                toml.line_of(key), f"has '{key}' that is no single command in plain letters."
            )
        elif text and key not in ("two_wire", "four_wire") and not text.endswith("?"):
            toml.problems.add(toml.line_of(key), f"has '{key}' that is no query; end it with '?'.")
    if commands["repeat"] and not shaped.echo:
        sentence = "has 'repeat' without 'echo'; a meter that answers one query cannot repeat."
        toml.problems.add(toml.line_of("repeat"), sentence)
    codes = []
    for number, text in enumerate(shaped.over_range):
        try:
            codes.append(parse_number(text))
        except NotScpi as error:
            toml.problems.add(toml.line_of("over_range", number), f"has a code that {error}.")
    below_zero_ohm = 0.0
    try:
        below_zero_ohm = named(parse_ohms, shaped.below_zero).ohm
    except ValueError as error:
        toml.problems.add(toml.line_of("below_zero"), f"{error}")
    toml.problems.raise_if_any()
    return Dialect(
        name=shaped.name,
        **commands,
        echo=shaped.echo,
        ends=shaped.ends,
        over_range=tuple(codes),
        below_zero_ohm=below_zero_ohm,
        note=shaped.note,
    )
