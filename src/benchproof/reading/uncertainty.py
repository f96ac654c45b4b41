"""How well a number of ohms is known, source by source.

References
----------
JCGM 100:2008 (GUM) 4.3.7 and F.2.2.1: a limit without more knowledge is a rectangular
distribution, standard uncertainty limit / sqrt(3); 5.1.2: independent sources add in squares.
Clause numbers from memory.
"""

from dataclasses import dataclass
from math import sqrt

from benchproof.reading.meter import Meter
from benchproof.reading.value import Measured

_RECTANGULAR = sqrt(3.0)


@dataclass(frozen=True)
class Source:
    """One source of uncertainty: a stable name and its standard uncertainty, ohms."""

    name: str
    u_ohm: float


@dataclass(frozen=True)
class Estimate:
    """A resistance with its budget.

    Attributes
    ----------
    ohm : float
        Best estimate, ohms, after correction for the leads; may fall a little below zero.
    budget : tuple of Source
        ``meter`` (its accuracy), ``digit`` (its last shown place), ``leads``, ``temperature``.
    """

    ohm: float
    budget: tuple[Source, ...]

    @property
    def u_ohm(self) -> float:
        """Combined standard uncertainty, ohms."""
        return sqrt(sum(source.u_ohm**2 for source in self.budget))


def estimate(measured: Measured, meter: Meter, ambient_c: float | None = None) -> Estimate:
    """Return what a measured number says of the resistance.

    Parameters
    ----------
    measured : Measured
        What was read.
    meter : Meter
        What it was read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.

    Examples
    --------
    >>> from benchproof.reading.meter import Range
    >>> meter = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0),))
    >>> round(estimate(Measured(100.0, 0.1), meter).u_ohm, 4)
    0.7511
    """
    used = meter.range_for(measured.ohm)
    limit_ohm = used.percent / 100.0 * measured.ohm + used.counts * used.step_ohm
    # A person may note fewer digits than the meter shows.
    digit_ohm = max(measured.step_ohm, used.step_ohm) / 2.0
    kelvin = 0.0
    if ambient_c is not None:
        kelvin = max(meter.calm_c[0] - ambient_c, ambient_c - meter.calm_c[1], 0.0)
    drift_ohm = meter.percent_per_kelvin / 100.0 * kelvin * measured.ohm
    limits = {
        "meter": limit_ohm,
        "digit": digit_ohm,
        "leads": meter.leads.limit_ohm,
        "temperature": drift_ohm,
    }
    taken_off = 0.0 if meter.leads.nulled else meter.leads.ohm
    budget = tuple(Source(name, value / _RECTANGULAR) for name, value in limits.items())
    return Estimate(measured.ohm - taken_off, budget)
