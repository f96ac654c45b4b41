"""What a meter, or a person with one, says of a pair."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from benchproof.family.model import Pair
from benchproof.family.ohms import UNIT, NotOhms, format_exact, is_unit, parse_ohms
from benchproof.family.sentence import quoted

BUZZER_OHM = 50.0
"""Below this a continuity mark says closed (common practice, no source: buzzers differ widely)."""


class Mark(StrEnum):
    """A continuity mark: no number."""

    CLOSED = "closed"
    OPEN = "open"


@dataclass(frozen=True)
class Measured:
    """A number of ohms, with one unit in its last shown place, ohms."""

    ohm: float
    step_ohm: float


@dataclass(frozen=True)
class OverRange:
    """More than the meter's range; `top_ohm` is the range's top, None if not told."""

    top_ohm: float | None = None


Value = Mark | Measured | OverRange


@dataclass(frozen=True)
class Conditions:
    """What a part was under when it was read, beside lever position and lean; each may be absent.

    Attributes
    ----------
    part_c, part_c_u : float or None
        Its temperature, degrees Celsius, and the standard uncertainty of that.
    pressure_kpa, pressure_kpa_u : float or None
        The pressure on it, kilopascals above that of the air, and its standard uncertainty.
    supply_v, supply_v_u : float or None
        What it was fed with, volts, and its standard uncertainty.
    """

    part_c: float | None = None
    part_c_u: float | None = None
    pressure_kpa: float | None = None
    pressure_kpa_u: float | None = None
    supply_v: float | None = None
    supply_v_u: float | None = None

    @property
    def told(self) -> str:
        """What is told, such as "at 80 °C ± 2"; empty if nothing is."""
        each = (
            (self.part_c, self.part_c_u, "°C"),
            (self.pressure_kpa, self.pressure_kpa_u, "kPa"),
            (self.supply_v, self.supply_v_u, "V"),
        )
        told = (
            f"{value:g} {unit}{'' if u is None else f', u {u:g}'}"
            for value, u, unit in each
            if value is not None
        )
        text = "; ".join(told)
        return f"at {text}" if text else ""


UNTOLD = Conditions()
"""Nothing was told."""


@dataclass(frozen=True)
class Reading:
    """One reading of a pair in a lever position.

    Attributes
    ----------
    position : str
        Lever position, by the family's name.
    pair : tuple of str
        The two pins, by the family's names.
    value : Mark, Measured or OverRange
        What was read.
    time, note : str
        As typed, without blanks around it; empty if not told.
    lean : str
        The neighbouring position toward which the lever was held off its detent; empty if it
        rested in it.
    visit : int
        Readings of a cell with the same number, not zero, were taken without moving the lever or
        setting the probes anew; zero for a reading that was a visit of its own.
    place : str
        Where it stands in its file; equal readings may stand in different places.
    conditions : Conditions
        What the part was under.
    """

    position: str
    pair: Pair
    value: Value
    time: str = ""
    note: str = ""
    lean: str = ""
    visit: int = field(default=0, compare=False)
    place: str = field(default="", compare=False)
    conditions: Conditions = UNTOLD


_MARKS = {
    Mark.CLOSED: {"c", "cl", "closed", "close", "shut", "short", "beep", "continuity"},
    Mark.OPEN: {"o", "op", "open", "none", "no continuity", "no beep"},
}
# Some displays keep the unit beside it.
_OVER_RANGE = re.compile(
    r"(?:(?i:[o0]\.?l\.?|\.[o0]l|[o0]vld|ovl|overload|over[ -]?range|over)"
    rf"|(?i:infinite|infinity|inf)|∞|>)\s*{UNIT}?"
)
_ABOVE = re.compile(r"(?:>|over|above)\s*(.+)", re.I)


def parse_value(text: str, unit: str = "", marks: Mapping[str, str] | None = None) -> Value:
    """Read a reading as people type it.

    Parameters
    ----------
    text : str
        A mark (``c``, ``closed``, ``o``, ``open``), a number with or without unit (``.3``,
        ``0,3``, ``1.2k``, ``-0.1`` of a nulled meter), or over-range (``OL``, ``0L``, ``inf``,
        ``> 40 Mohm``). How far below zero a meter may read is its own matter (`reading.meter`).
    unit : str
        The unit of a bare number; ohms if empty.
    marks : mapping of str to str
        What the meter shows for ``closed`` and ``open`` when these are no numbers, as on a
        dial that shows 0 and 1; empty for most meters.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.

    Examples
    --------
    >>> parse_value("0,3")
    Measured(ohm=0.3, step_ohm=0.1)
    >>> parse_value("0L")
    OverRange(top_ohm=None)
    >>> parse_value("1", marks={"0": "closed", "1": "open"})
    <Mark.OPEN: 'open'>
    """
    word = " ".join(text.split())
    if marks and word in marks:
        if unit:
            mark = marks[word]
            raise ValueError(
                f"with a unit could be a number or this meter's mark for {mark}; "
                f"type {mark}, or '{word} {unit}' and no unit beside it"
            )
        return Mark(marks[word])
    for mark, spellings in _MARKS.items():
        if word.casefold() in spellings:
            return mark
    if _OVER_RANGE.fullmatch(word):
        return OverRange()
    if unit and not is_unit(unit):
        raise ValueError(
            f"has the unit {quoted(unit)}, no unit of resistance; type ohm, kohm or Mohm"
        )
    if above := _ABOVE.fullmatch(word):
        top = parse_ohms(above[1], unit).ohm
        if top <= 0.0:
            raise ValueError("is over-range of no range; type OL, or '> 40 Mohm'")
        return OverRange(top)
    try:
        quantity = parse_ohms(word, unit)
    except NotOhms:
        raise ValueError(
            "is no reading; type c or closed, o or open, OL, or ohms such as 0.3 or 1.2k"
        ) from None
    if unit and quantity.has_unit:
        raise ValueError(f"has a unit, and the unit column says {quoted(unit)} too; give it once")
    # Zero has no sign.
    return Measured(quantity.ohm + 0.0, quantity.step_ohm)


def format_value(value: Value) -> str:
    """Return text that `parse_value` reads back to the same value.

    Examples
    --------
    >>> format_value(Measured(0.3, 0.1)), format_value(OverRange()), format_value(Mark.OPEN)
    ('0.3', 'OL', 'open')
    """
    match value:
        case Mark():
            return value.value
        case OverRange(None):
            return "OL"
        case OverRange(top_ohm):
            return f"> {Decimal(repr(top_ohm)).normalize():f} ohm"
        case Measured(ohm, step_ohm):
            return format_exact(ohm, step_ohm)
