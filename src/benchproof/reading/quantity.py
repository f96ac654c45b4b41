"""Numbers with a unit as people type them: a decimal comma, another unit than ours beside it.

References
----------
NIST SP 811 (2008), appendix B.8, from memory: 1 mile = 1.609344 km and 1 inch = 25.4 mm exactly,
1 psi = 6.894757 kPa, t/°C = (t/°F - 32) / 1.8.
"""

import re
from collections.abc import Mapping

from benchproof.family.ohms import NUMBER, parse_ohms

_Units = Mapping[str, tuple[float, float]]
_QUANTITY = re.compile(rf"({NUMBER})\s*(.*)")
UNITS: Mapping[str, _Units] = {
    "": {"": (1.0, 0.0)},
    "°C": {"°c": (1.0, 0.0), "c": (1.0, 0.0), "degc": (1.0, 0.0), "°f": (1 / 1.8, -32 / 1.8),
           "f": (1 / 1.8, -32 / 1.8), "degf": (1 / 1.8, -32 / 1.8)},
    "K": {"k": (1.0, 0.0), "°c": (1.0, 0.0), "c": (1.0, 0.0), "°f": (1 / 1.8, 0.0),
          "f": (1 / 1.8, 0.0)},
    "km": {"km": (1.0, 0.0), "mi": (1.609344, 0.0), "mile": (1.609344, 0.0),
           "miles": (1.609344, 0.0)},
    "deg": {"deg": (1.0, 0.0), "°": (1.0, 0.0)},
    "kPa": {"kpa": (1.0, 0.0), "bar": (100.0, 0.0), "psi": (6.894757, 0.0)},
    "V": {"v": (1.0, 0.0), "volt": (1.0, 0.0), "volts": (1.0, 0.0), "mv": (1e-3, 0.0)},
    "s": {"s": (1.0, 0.0), "ms": (1e-3, 0.0)},
}  # fmt: skip
"""What a number is told in, and the units that may stand beside it: factor, then what is added."""


def parse_quantity(text: str, unit: str) -> float:
    """Read a number, in a unit of ours or in another that is typed beside it.

    Parameters
    ----------
    text : str
        Such as ``1,5``, ``75000 mi``, ``68 F``, ``1.2k`` where ohms are asked for.
    unit : str
        Ours: "ohm", or one of `UNITS`.

    Returns
    -------
    float
        In that unit; finite.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.

    Examples
    --------
    >>> parse_quantity("1,5", "deg"), parse_quantity("68 F", "°C"), parse_quantity("100 mi", "km")
    (1.5, 20.0, 160.9344)
    """
    if unit == "ohm":
        return parse_ohms(text).ohm
    word = text.strip().replace("\N{MINUS SIGN}", "-")
    known = UNITS[unit]
    found = _QUANTITY.fullmatch(word)
    beside = "" if found is None else found[2].strip().casefold()
    if found is None or (beside and beside not in known):
        names = ", ".join(dict.fromkeys(name for name in known if name))
        raise ValueError(f"is no number{f' of {names}' if names else ''}; type such as 1.5")
    number = found[1]
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", number):
        raise ValueError(
            f"could be {number.replace(',', '.')} or {number.replace(',', '')}; type one of these"
        )
    factor, more = known[beside] if beside else (1.0, 0.0)
    value = float(number.replace(",", ".")) * factor + more
    # Rounded so that a computed value is not told with digits that nobody typed.
    return float(f"{value:.12g}")
