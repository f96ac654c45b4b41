"""A meter's specification: its ranges, how well it knows, its leads, what its display means."""

from collections.abc import Mapping
from dataclasses import dataclass, field


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

    def range_for(self, ohm: float) -> Range:
        """Return the narrowest range that reads a resistance, or the top one."""
        return next((r for r in self.ranges if ohm <= r.top_ohm), self.ranges[-1])
