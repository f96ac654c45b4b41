"""A meter's specification, and how well a number of ohms is known by it, source by source.

References
----------
JCGM 100:2008 (GUM) 4.3.7 and F.2.2.1: a limit without more knowledge is a rectangular
distribution, standard uncertainty limit / sqrt(3); 5.1.2: independent sources add in squares.
Clause numbers from memory.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import sqrt

from benchproof.family.ohms import format_ohms
from benchproof.network.temperature import Growth
from benchproof.reading.value import Measured, OverRange, Value


@dataclass(frozen=True)
class Range:
    """One range: accuracy is ±(percent of reading + counts of its last digit).

    Attributes
    ----------
    top_ohm : float
        The most it reads, ohms.
    step_ohm : float
        One count of its last digit, ohms.
    percent : float
        Part of the reading, percent.
    counts : float
        Counts of the last digit.
    """

    top_ohm: float
    step_ohm: float
    percent: float
    counts: float


@dataclass(frozen=True)
class Leads:
    """The test leads.

    Attributes
    ----------
    ohm : float
        Their resistance, ohms.
    nulled : bool
        Whether the meter already takes it off.
    limit_ohm : float
        How far what is left after taking it off may still be out either way, ohms.
    """

    ohm: float = 0.0
    nulled: bool = True
    limit_ohm: float = 0.0


@dataclass(frozen=True)
class Meter:
    """A meter and its leads.

    Attributes
    ----------
    name : str
        Name of the meter.
    ranges : tuple of Range
        Its ranges, rising; never empty.
    leads : Leads
        Its leads.
    autorange : bool
        Whether over-range means above the top range rather than above the one that was chosen.
    calm_c : tuple of float
        Ambient temperatures between which the accuracy holds as it stands, degrees Celsius.
    percent_per_kelvin : float
        What is added for each kelvin outside, percent of reading.
    marks : mapping of str to str
        What the display shows for closed and open where these are no numbers.
    note : str
        Where the specification comes from.
    """

    name: str
    ranges: tuple[Range, ...]
    leads: Leads = Leads()
    autorange: bool = True
    calm_c: tuple[float, float] = (18.0, 28.0)
    percent_per_kelvin: float = 0.0
    marks: Mapping[str, str] = field(default_factory=dict)
    note: str = ""

    @property
    def top_ohm(self) -> float:
        """The most it reads on any range, ohms."""
        return self.ranges[-1].top_ohm

    @property
    def over_range_ohm(self) -> float:
        """What over-range is sure to exceed when no range is told, ohms."""
        return self.top_ohm if self.autorange else self.ranges[0].top_ohm

    @property
    def below_zero_ohm(self) -> float:
        """How far below zero it may show what is zero: as far as it can be wrong there, ohms."""
        lowest = self.ranges[0]
        return (lowest.counts + 0.5) * lowest.step_ohm + self.leads.limit_ohm

    def range_for(self, ohm: float) -> Range:
        """Return the narrowest range that reads a resistance, or the top one."""
        return next((r for r in self.ranges if ohm <= r.top_ohm), self.ranges[-1])


_RECTANGULAR = sqrt(3.0)


@dataclass(frozen=True)
class UncertaintySource:
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
    budget : tuple of UncertaintySource
        ``meter`` (its accuracy), ``digit`` (its last shown place), ``leads``, ``temperature``, and
        ``part temperature`` where the ohms of the pair depend on it.
    """

    ohm: float
    budget: tuple[UncertaintySource, ...]

    @cached_property
    def u_ohm(self) -> float:
        """Combined standard uncertainty, ohms."""
        return sqrt(sum(source.u_ohm**2 for source in self.budget))


def estimate(
    measured: Measured,
    meter: Meter,
    ambient_c: float | None = None,
    growth: Growth | None = None,
) -> Estimate:
    """Return what a measured number says of the resistance.

    Parameters
    ----------
    measured : Measured
        What was read.
    meter : Meter
        What it was read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    growth : Growth or None
        What the part's temperature makes of the pair's ohms; with it the resistance is that at 20
        degrees Celsius. None where it makes nothing.

    Examples
    --------
    >>> meter = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0),))
    >>> round(estimate(Measured(100.0, 0.1), meter).u_ohm, 4)
    0.7511
    """
    used = meter.range_for(measured.ohm)
    # A nulled meter shows a little below zero what is zero.
    read_ohm = max(measured.ohm, 0.0)
    limit_ohm = used.percent / 100.0 * read_ohm + used.counts * used.step_ohm
    # A person may note fewer digits than the meter shows.
    digit_ohm = max(measured.step_ohm, used.step_ohm) / 2.0
    kelvin = 0.0
    if ambient_c is not None:
        kelvin = max(meter.calm_c[0] - ambient_c, ambient_c - meter.calm_c[1], 0.0)
    drift_ohm = meter.percent_per_kelvin / 100.0 * kelvin * read_ohm
    taken_off = 0.0 if meter.leads.nulled else meter.leads.ohm
    limits = limit_ohm, digit_ohm, meter.leads.limit_ohm, drift_ohm
    found = _estimated(measured.ohm - taken_off, limits)
    return found if growth is None else _referred(found, growth)


def least_ohm(over: OverRange, meter: Meter, growth: Growth | None = None) -> float:
    """Return what over-range is sure to exceed, ohms; see `estimate`."""
    top_ohm = meter.over_range_ohm if over.top_ohm is None else over.top_ohm
    return top_ohm if growth is None else top_ohm / growth.factor


def _referred(found: Estimate, growth: Growth) -> Estimate:
    """Return an estimate as it would be at 20 degrees Celsius."""
    ohm = found.ohm / growth.factor
    scaled = (UncertaintySource(one.name, one.u_ohm / growth.factor) for one in found.budget)
    warmth = UncertaintySource("part temperature", abs(ohm) * growth.u / growth.factor)
    return Estimate(ohm, (*scaled, warmth))


_SOURCES = "meter", "digit", "leads", "temperature"


@lru_cache(maxsize=4096)
def _estimated(ohm: float, limits_ohm: tuple[float, ...]) -> Estimate:
    """Return an estimate from the limit of each source; parts read the same again and again."""
    sources = zip(_SOURCES, limits_ohm, strict=True)
    return Estimate(
        ohm, tuple(UncertaintySource(name, limit / _RECTANGULAR) for name, limit in sources)
    )


def why_unreadable(value: Value, meter: Meter) -> str:
    """Return why a meter cannot have read a value and what to do, a phrase; empty if it can.

    Examples
    --------
    >>> meter = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0),))
    >>> why_unreadable(Measured(-0.1, 0.1), meter)
    ''
    >>> why_unreadable(Measured(-5.0, 1.0), meter)
    'is further below zero than invented can be wrong (0.35 ohm); null the leads and read again'
    """
    told = (value.top_ohm or 0.0) if isinstance(value, OverRange) else 0.0
    told = value.ohm if isinstance(value, Measured) else told
    if told > meter.top_ohm:
        return (
            f"is more than {meter.name} can read; type OL for over-range, or name the meter that "
            "read it"
        )
    # So that a limit of 0.1 + 0.2 lets -0.3 pass.
    if told < -meter.below_zero_ohm * (1.0 + 1e-9):
        return (
            f"is further below zero than {meter.name} can be wrong "
            f"({format_ohms(meter.below_zero_ohm, 3)}); null the leads and read again"
        )
    return ""
