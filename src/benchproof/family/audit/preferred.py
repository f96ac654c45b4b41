"""Preferred resistor values of the E24 series.

References
----------
IEC 60063; the series is the one that the package `eseries` ships, which the tests compare with.
It is a list: rounding powers of ten does not give it.
"""

from math import floor, log10

E24 = (
    10,
    11,
    12,
    13,
    15,
    16,
    18,
    20,
    22,
    24,
    27,
    30,
    33,
    36,
    39,
    43,
    47,
    51,
    56,
    62,
    68,
    75,
    82,
    91,
)


def nearest_preferred(ohm: float) -> float:
    """Return the preferred value nearest by ratio to a resistance above zero, both in ohms.

    Examples
    --------
    >>> nearest_preferred(385.0)
    390.0
    """
    # A decimal power by text, for 0.39 rather than 39 * 0.01.
    decade = floor(log10(ohm)) - 1
    near = [float(f"{mantissa}e{decade + up}") for mantissa in E24 for up in (0, 1)]
    return min(near, key=lambda value: abs(log10(value / ohm)))


def is_preferred(ohm: float) -> bool:
    """Return whether a resistance, ohms, is a preferred value to within a thousandth.

    Examples
    --------
    >>> is_preferred(270.0), is_preferred(280.0)
    (True, False)
    """
    return abs(nearest_preferred(ohm) / ohm - 1.0) < 1e-3
