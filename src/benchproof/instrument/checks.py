"""Before a part is read: no voltage on it, leads nulled, meter and leads as they were yesterday.

> Measure with the part off the vehicle or unplugged, and de-energised.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median

from benchproof.family.model import Pair, pair_text
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.protocols import Ohmmeter, Selector
from benchproof.reading.value import Measured

MOST_VOLT = 0.1
"""More than this on a pair and the part is live (common practice, no source)."""
MOST_LEAD_OHM = 2.0
"""Leads read 0.1 to 0.5 ohm (common practice, no source); far more is no short."""
MOST_WANDER_OHM = 0.05
NULL_READINGS = 5
RUN = 6
"""So many checks in a row that each rise, or each fall, are a trend (Nelson's third rule; from
memory)."""


def check_no_voltage(
    read_volt: Callable[[Pair], float], selector: Selector, pairs: Sequence[Pair]
) -> dict[Pair, float]:
    """Return the volts on every pair.

    Parameters
    ----------
    read_volt : callable
        Reads the volts of a pair, as a station does.
    selector : Selector
        Takes the meter off the part afterwards.
    pairs : sequence of pair
        The pairs.

    Raises
    ------
    InstrumentProblem
        At the first pair with more than `MOST_VOLT`; the meter is taken off it first.
    """
    found: dict[Pair, float] = {}
    for pair in pairs:
        volt = found[pair] = read_volt(pair)
        if abs(volt) > MOST_VOLT:
            selector.open_all()
            raise InstrumentProblem(f"pair {pair_text(pair)}", Trouble.LIVE, f"{volt:.3g} V")
    selector.open_all()
    return found


@dataclass(frozen=True)
class LeadNull:
    """What the leads read with their tips together.

    Attributes
    ----------
    ohm : float
        The mean, ohms.
    within_ohm : float
        How far the readings lay from it at most, ohms.
    at : str
        When, as told.
    """

    ohm: float
    within_ohm: float
    at: str


def null_leads(meter: Ohmmeter, at: str, times: int = NULL_READINGS) -> LeadNull:
    """Read the leads with their tips together.

    Raises
    ------
    InstrumentProblem
        If that is no short, or wanders.
    """
    ohms, step_ohm = [], 0.0
    for _ in range(times):
        value = meter.read_ohm()
        if not isinstance(value, Measured) or value.ohm > MOST_LEAD_OHM:
            raise InstrumentProblem("leads", Trouble.LEADS_OPEN)
        ohms.append(value.ohm)
        step_ohm = max(step_ohm, value.step_ohm)
    mean = fmean(ohms)
    within_ohm = max(abs(ohm - mean) for ohm in ohms)
    # A meter that shows tenths may show the one or the other of two.
    if within_ohm > max(MOST_WANDER_OHM, step_ohm):
        raise InstrumentProblem("leads", Trouble.LEADS_WANDER, f"±{within_ohm:.3g} ohm")
    return LeadNull(mean, within_ohm, at)


@dataclass(frozen=True)
class DailyCheck:
    """A known resistor, read with meter and leads as they are used.

    Attributes
    ----------
    known_ohm : float
        What the resistor is, ohms.
    limit_ohm : float
        How far a reading may lie from it, ohms: its own tolerance and the meter's accuracy.
    read_ohm : float or None
        What was read, ohms; None for over-range.
    lead_ohm : float
        What was taken off for the leads, ohms.
    at : str
        When, as told.
    """

    known_ohm: float
    limit_ohm: float
    read_ohm: float | None
    lead_ohm: float
    at: str

    @property
    def error_ohm(self) -> float:
        """How far the reading lies from the resistor, ohms; infinite for over-range."""
        if self.read_ohm is None:
            return float("inf")
        return self.read_ohm - self.lead_ohm - self.known_ohm

    @property
    def good(self) -> bool:
        """Whether meter and leads may be used."""
        return abs(self.error_ohm) <= self.limit_ohm


def daily_check(
    meter: Ohmmeter, known_ohm: float, limit_ohm: float, at: str, lead_ohm: float = 0.0
) -> DailyCheck:
    """Read the known resistor.

    Parameters
    ----------
    meter : Ohmmeter
        The meter, its leads on the resistor.
    known_ohm, limit_ohm, lead_ohm : float
        As for `DailyCheck`; `lead_ohm` is zero where the meter takes the leads off itself.
    at : str
        When.
    """
    value = meter.read_ohm()
    read_ohm = value.ohm if isinstance(value, Measured) else None
    return DailyCheck(known_ohm, limit_ohm, read_ohm, lead_ohm, at)


def drift(checks: Sequence[DailyCheck]) -> str:
    """Return a sentence if meter and leads drift though each check may be good; else nothing.

    Parameters
    ----------
    checks : sequence of DailyCheck
        Of one meter, leads and resistor, oldest first.
    """
    if not checks:
        return ""
    last = checks[-1]
    if not last.good:
        return "The last check is outside its limit; do not use this meter and these leads."
    errors = [check.error_ohm for check in checks]
    run = errors[-RUN:]
    steps = [after - before for before, after in pairwise(run)]
    if len(run) == RUN and (min(steps) > 0.0 or max(steps) < 0.0):
        way = "rise" if steps[0] > 0.0 else "fall"
        return f"The last {RUN} checks {way} one after another; find out why before it is too far."
    if len(errors) > RUN and abs(errors[-1] - median(errors[:-1])) > last.limit_ohm / 2.0:
        return "The last check lies far from those before; clean tips and plugs and check again."
    return ""
