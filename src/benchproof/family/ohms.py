"""Resistances as people type them, and back."""

import re
from dataclasses import dataclass
from decimal import Context, Decimal
from functools import lru_cache

# IEC 60062 letter code: the letter stands where the decimal point would.
LETTER_CODE = r"\d+[RkKMG]\d+"
"""A number with a letter for its decimal point, as a regular expression without groups."""
NUMBER = r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?"
"""A number with a decimal point or comma, as a regular expression without groups."""
_PREFIX = r"(?:(?i:milli|kilo?|mega?|giga?)|[mkKMG])"
# Both the Greek capital omega and the ohm sign are typed.
_OHM = r"(?:[\u03a9\u2126]|(?i:ohms?))"
UNIT = rf"(?:{_PREFIX}?\s*(?:R|{_OHM})|{_PREFIX})"
"""A unit of resistance, as a regular expression without groups."""

_QUANTITY = re.compile(rf"({NUMBER})\s*({UNIT})?")
_LETTER_CODE = re.compile(rf"({LETTER_CODE})\s*{_OHM}?")
_EXPONENT_OF_WORD = {"milli": -3, "kil": 3, "meg": 6, "gig": 9}
_EXPONENT_OF_LETTER = {"m": -3, "k": 3, "K": 3, "M": 6, "G": 9}
MOST_OHM = 1e13
"""Above this no meter reads: a typing mistake."""
LEAST_STEP_OHM = 1e-18
"""Finer than any digit, even of a value that a spreadsheet computed."""
_EXACT = Context(prec=60)


class NotOhms(ValueError):
    """Text that is no resistance at all, rather than a wrong one."""


@dataclass(frozen=True)
class Quantity:
    """A resistance with the step of its last typed digit.

    Attributes
    ----------
    ohm : float
        The resistance, ohms.
    step_ohm : float
        One unit in the last typed place, ohms: 0.1 for "0.3", 100 for "1.2k".
    has_unit : bool
        Whether a unit was typed with the number.
    """

    ohm: float
    step_ohm: float
    has_unit: bool = True


def parse_ohms(text: str, unit: str = "") -> Quantity:
    """Read a resistance as people type it.

    Parameters
    ----------
    text : str
        Such as ``390``, ``.3``, ``0,3``, ``1.2k``, ``1k2``, ``3.3 kohm``, ``30 mΩ``.
    unit : str
        The unit to take when `text` has none; ohms if empty.

    Raises
    ------
    NotOhms
        If it is no resistance at all.
    ValueError
        With one sentence that says what is wrong and what would be right.

    References
    ----------
    IEC 60062 for the letter in place of the decimal point (``4R7``, ``1k2``); from memory.

    Examples
    --------
    >>> parse_ohms("3,3 kΩ").ohm
    3300.0
    >>> parse_ohms("4R7")
    Quantity(ohm=4.7, step_ohm=0.1, has_unit=True)
    """
    word = text.strip().replace("\N{MINUS SIGN}", "-")
    if coded := _LETTER_CODE.fullmatch(word):
        whole, typed_unit, rest = re.split("([A-Za-z])", coded[1])
        number = f"{whole}.{rest}"
    elif plain := _QUANTITY.fullmatch(word):
        number, typed_unit = plain[1], plain[2] or ""
    else:
        raise NotOhms("is no resistance; type such as 390, 0.3, 1.2k or 3.3 kohm")
    return _quantity(number, typed_unit, typed_unit or unit)


def _quantity(number: str, typed_unit: str, unit: str) -> Quantity:
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number):
        meant = [f"{number.replace(',', mark)}{typed_unit}" for mark in (".", "")]
        raise ValueError(f"could be {meant[0]} or {meant[1]}; type one of these")
    value = Decimal(number.replace(",", "."))
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int), "the pattern admits finite numbers only"
    shift = _exponent_of(unit)
    ohm = float(value.scaleb(shift, _EXACT))
    step_ohm = float(Decimal(1).scaleb(exponent + shift, _EXACT))
    if abs(ohm) > MOST_OHM or step_ohm > MOST_OHM:
        raise ValueError("is more ohms than any meter reads; check the digits and the unit")
    if step_ohm < LEAST_STEP_OHM:
        raise ValueError("has more decimals than any meter shows; round it")
    return Quantity(ohm, step_ohm, bool(typed_unit))


def is_unit(text: str) -> bool:
    """Return whether a text is a unit of resistance."""
    return re.fullmatch(UNIT, text.strip()) is not None


def _exponent_of(unit: str) -> int:
    word = unit.strip()
    for long, exponent in _EXPONENT_OF_WORD.items():
        if word.casefold().startswith(long):
            return exponent
    return _EXPONENT_OF_LETTER.get(word[:1], 0)


# A chart and a sheet say the same few values over and over.
@lru_cache(maxsize=4096)
def format_ohms(ohm: float, digits: int = 4) -> str:
    """Return a resistance in the unit a person would say it in.

    Examples
    --------
    >>> format_ohms(3300.0), format_ohms(0.05), format_ohms(float("inf"))
    ('3.3 kohm', '0.05 ohm', 'open')
    """
    if ohm == float("inf"):
        return "open"
    for factor, unit in ((1e9, "Gohm"), (1e6, "Mohm"), (1e3, "kohm")):
        # Judge the rounded value, so that 999.99 becomes 1 kohm and not 1000 ohm.
        if float(f"{ohm:.{digits}g}") >= factor:
            return f"{_plain(ohm / factor, digits)} {unit}"
    return f"{_plain(ohm, digits)} ohm"


def _plain(value: float, digits: int) -> str:
    return f"{Decimal(f'{value:.{digits}g}').normalize():f}"


def format_exact(ohm: float, step_ohm: float) -> str:
    """Return a number that `parse_ohms` reads back to the same ohms and step.

    Parameters
    ----------
    ohm : float
        A multiple of `step_ohm`, ohms.
    step_ohm : float
        A power of ten, ohms.

    Examples
    --------
    >>> format_exact(1200.0, 100.0), format_exact(0.3, 0.01)
    ('1.2k', '0.30')
    """
    exponent = Decimal(repr(step_ohm)).normalize().as_tuple().exponent
    assert isinstance(exponent, int), "a step is finite"
    units = ((0, ""), (3, "k"), (6, "M"), (9, "G"))
    fitting = (unit for unit in units if exponent <= unit[0])
    shift, letter = next(fitting, (exponent, f"e{exponent}"))
    typed = Decimal(repr(ohm)).scaleb(-shift, _EXACT)
    return f"{typed.quantize(Decimal(1).scaleb(exponent - shift), context=_EXACT):f}{letter}"
