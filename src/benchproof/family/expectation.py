"""What a chart cell asks for."""

import re
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from benchproof.family.ohms import LETTER_CODE, NUMBER, UNIT, parse_ohms


class Kind(StrEnum):
    """The kinds of expectation."""

    CLOSED = "closed"
    OPEN = "open"
    OHMS = "ohms"
    ANY = "any"


@dataclass(frozen=True)
class FamilyLimits:
    """Where closed ends and open begins, and how far a resistor may be off.

    The defaults are common practice, no source: closed under 1, 2 or 5 ohm by family,
    open over 10 kohm.
    """

    closed_at_most_ohm: float = 2.0
    open_at_least_ohm: float = 10_000.0
    tolerance_percent: float = 10.0
    """For a resistance charted without a tolerance of its own."""


@dataclass(frozen=True)
class Expectation:
    """What one cell asks for.

    Attributes
    ----------
    kind : Kind
        Closed, open, a resistance, or anything.
    nominal_ohm : float or None
        The charted resistance, ohms; only for a resistance charted with one.
    low_ohm, high_ohm : float or None
        The cell's own limits, ohms; None takes the family's.
    text : str
        As typed in the chart; two expectations are equal whatever their text.
    """

    kind: Kind
    nominal_ohm: float | None = None
    low_ohm: float | None = None
    high_ohm: float | None = None
    text: str = field(default="", compare=False)

    @cached_property
    def shown(self) -> str:
        """As typed."""
        return self.text or self.kind.value

    def __str__(self) -> str:
        """As typed."""
        return self.shown

    @cached_property
    def conducts(self) -> bool:
        """Whether current flows: closed or through a resistance."""
        return self.kind in (Kind.CLOSED, Kind.OHMS)

    def bounds(self, limits: FamilyLimits) -> tuple[float, float]:
        """Return the ohms allowed, lowest and highest (infinity where nothing bounds them)."""
        match self.kind:
            case Kind.ANY:
                return 0.0, float("inf")
            case Kind.CLOSED:
                own = self.high_ohm
                return 0.0, limits.closed_at_most_ohm if own is None else own
            case Kind.OPEN:
                own = self.low_ohm
                return limits.open_at_least_ohm if own is None else own, float("inf")
            case Kind.OHMS:
                if self.low_ohm is not None and self.high_ohm is not None:
                    return self.low_ohm, self.high_ohm
                assert self.nominal_ohm is not None, "a resistance has a nominal or both limits"
                part = self.nominal_ohm * limits.tolerance_percent / 100.0
                return self.nominal_ohm - part, self.nominal_ohm + part


_WORDS = {
    Kind.CLOSED: {"closed", "close", "c", "cl", "shut", "continuity", "on", "yes"},
    Kind.OPEN: {"open", "o", "op", "ol", "off", "no", "no continuity", "infinite", "inf", "∞"},
    Kind.ANY: {"any", "*", "don't care", "-any-"},
}
CLOSED = Expectation(Kind.CLOSED, text="closed")
OPEN = Expectation(Kind.OPEN, text="open")
ANY = Expectation(Kind.ANY, text="any")

_NUMBER = rf"(?:{LETTER_CODE}|{NUMBER})"
_VALUE = rf"(?P<value>{_NUMBER})\s*(?P<unit>{UNIT})?"
_SPAN = (
    rf"(?P<low>{_NUMBER})\s*(?P<low_unit>{UNIT})?\s*(?:\.\.+|…|–|—|-|\bto\b)"
    rf"\s*(?P<high>{_NUMBER})\s*(?P<span_unit>{UNIT})?"
)
_UNDER = r"<=?|≤|(?i:under|below|less than|up to|max\.?|at most)"
_OVER = r">=?|≥|(?i:over|above|more than|min\.?|at least)"
_FORMS = {
    "nominal": re.compile(_VALUE),
    "tolerance": re.compile(
        rf"{_VALUE}\s*(?:±|\+\s*/?\s*[-−])\s*(?P<part>{_NUMBER})\s*(?P<part_unit>%|{UNIT})?"
    ),
    "span": re.compile(_SPAN),
    # A blank must part the two, for a comma alone may be a decimal one: "3,1..3,5".
    "nominal and span": re.compile(rf"{_VALUE}(?:[,:]? |(?=[(\[]))[(\[]?\s*{_SPAN}\s*[)\]]?"),
    "under": re.compile(rf"(?:{_UNDER})\s*{_VALUE}"),
    "over": re.compile(rf"(?:{_OVER})\s*{_VALUE}"),
}
_WHAT_IS_RIGHT = (
    "type closed, open, any, or ohms such as '390 ohm', '390 ohm ±5%' or '3.3 kohm 3.1..3.5'"
)


def parse_expectation(text: str) -> Expectation:
    """Read an expectation as people type it in a chart.

    Parameters
    ----------
    text : str
        ``closed``, ``open``, ``any``, ``390 ohm``, ``390 ohm ±5%``, ``3.3 kohm 3.1..3.5``,
        ``< 5 ohm`` (closed, with its own limit), ``> 100 kohm`` (open, with its own limit).

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.

    Examples
    --------
    >>> parse_expectation("3.3 kohm 3.1..3.5").bounds(FamilyLimits())
    (3100.0, 3500.0)
    """
    shown = " ".join(text.split())
    word = shown.casefold()
    if not word:
        raise ValueError(f"is empty; {_WHAT_IS_RIGHT}")
    for kind, spellings in _WORDS.items():
        if word in spellings:
            return Expectation(kind, text=kind.value)
    for form, pattern in _FORMS.items():
        if match := pattern.fullmatch(shown):
            return _expectation(form, match.groupdict(), shown)
    raise ValueError(f"is no expectation; {_WHAT_IS_RIGHT}")


def _expectation(form: str, part: dict[str, str | None], text: str) -> Expectation:
    unit = part.get("unit") or part.get("span_unit") or ""
    if form == "under":
        return Expectation(Kind.CLOSED, high_ohm=_positive(part["value"], unit), text=text)
    if form == "over":
        return Expectation(Kind.OPEN, low_ohm=_positive(part["value"], unit), text=text)
    low = high = nominal = None
    if form != "span":
        nominal = _positive(part["value"], unit)
        if nominal <= 1.0 and not unit:
            example = f"{part['value']} ohm"
            raise ValueError(f"could be a mark or a number; type closed, open, or '{example}'")
    if form == "tolerance":
        assert nominal is not None
        low, high = _around(nominal, part["part"], part["part_unit"])
    elif form in ("span", "nominal and span"):
        # A unit typed once is that of the whole span.
        low = _ohm(part["low"], part["low_unit"] or part["span_unit"] or unit)
        high = _ohm(part["high"], part["span_unit"] or part["low_unit"] or unit)
    return Expectation(Kind.OHMS, nominal, low, high, text)


def _around(nominal_ohm: float, part: str | None, unit: str | None) -> tuple[float, float]:
    if unit is None:
        raise ValueError("has a tolerance without a unit; type such as ±5% or ±20 ohm")
    amount = _ohm(part, "" if unit == "%" else unit)
    off = nominal_ohm * amount / 100.0 if unit == "%" else amount
    if not 0.0 <= off < nominal_ohm:
        raise ValueError(
            "has a tolerance as large as the value itself; check both numbers and their units"
        )
    return nominal_ohm - off, nominal_ohm + off


def _ohm(number: str | None, unit: str) -> float:
    ohm = parse_ohms(number or "", unit).ohm
    if ohm < 0.0:
        raise ValueError("is negative; ohms are never below zero")
    return ohm


def _positive(number: str | None, unit: str) -> float:
    ohm = _ohm(number, unit)
    if ohm == 0.0:
        raise ValueError("is zero ohms; type closed")
    return ohm
