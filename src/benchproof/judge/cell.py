"""One reading against its expectation: the decision rule, its risk, what becomes of a cell.

References
----------
JCGM 106:2012, "Evaluation of measurement data - The role of measurement uncertainty in
conformity assessment": clause 7 (conformance probability), 8.3.2 (guarded acceptance with a
guard band of r times the expanded uncertainty), 8.3.3 (guarded rejection), 9 (global risks).
Clause numbers from memory; the worked values in the tests name where each was read.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property, lru_cache
from itertools import pairwise
from math import erfc, inf, sqrt

from benchproof.family.expectation import Expectation, FamilyLimits, Kind
from benchproof.family.model import CellName, ChartRow, cell_text, same_pair
from benchproof.family.ohms import format_ohms
from benchproof.family.sentence import risk_percent
from benchproof.network.branches.base import USUAL_C
from benchproof.network.temperature import Growth
from benchproof.reading.meter import Estimate, Meter, estimate, least_ohm
from benchproof.reading.value import BUZZER_OHM, Mark, Measured, OverRange, Reading, Value

MOST_OUTCOMES = 4096
"""So many outcomes of numbers are remembered: parts of a family read the same again and again."""
COVERAGE = 2.0
"""The guard band is this many standard uncertainties: 8.3.2 with r = 1 and U = 2 u."""


@dataclass(frozen=True)
class AllowedRange:
    """Lowest and highest value allowed; infinite where nothing bounds it."""

    low: float
    high: float


def nonconformance(value: float, u: float, limits: AllowedRange) -> float:
    """Return the probability that the true value is outside its limits (the specific risk).

    Parameters
    ----------
    value : float
        The measured value, any unit.
    u : float
        Its standard uncertainty, same unit, above zero.
    limits : AllowedRange
        What is allowed, same unit.

    Notes
    -----
    The true value is taken as normal about the measured one: nothing else is known of it.

    Examples
    --------
    >>> round(1 - nonconformance(13.6, 1.8, AllowedRange(12.5, 16.3)), 3)
    0.663
    """
    below = 0.5 * erfc((value - limits.low) / (u * sqrt(2.0)))
    above = 0.5 * erfc((limits.high - value) / (u * sqrt(2.0)))
    return min(below + above, 1.0)


def accepted(value: float, u: float, limits: AllowedRange) -> bool:
    """Return whether a value passes guarded acceptance: inside its limits by the guard band."""
    guard = COVERAGE * u
    return limits.low + guard <= value <= limits.high - guard


def rejected(value: float, u: float, limits: AllowedRange) -> bool:
    """Return whether a value fails guarded rejection: outside its limits by the guard band."""
    guard = COVERAGE * u
    return value < limits.low - guard or value > limits.high + guard


def can_accept(u: float, limits: AllowedRange) -> bool:
    """Return whether any value at all could pass: whether the meter is good enough."""
    return limits.high - limits.low >= 2.0 * COVERAGE * u


@dataclass(frozen=True)
class GlobalRisk:
    """What a decision rule does to a whole production.

    Attributes
    ----------
    nonconforming : float
        Part that is outside its limits.
    consumer : float
        Part that is outside its limits and accepted (false accept).
    producer : float
        Part that is inside its limits and not accepted (false reject).
    """

    nonconforming: float
    consumer: float
    producer: float


def global_risk(
    density: Callable[[float], float],
    span: tuple[float, float],
    u: float,
    limits: AllowedRange,
    acceptance: AllowedRange,
) -> GlobalRisk:
    """Return the risks of a decision rule over all parts made.

    Parameters
    ----------
    density : callable
        Probability density of the true value, over the span.
    span : tuple of float
        Where the density counts.
    u : float
        Standard uncertainty of the measurement.
    limits : AllowedRange
        What is allowed.
    acceptance : AllowedRange
        What is accepted when measured.

    Notes
    -----
    Gauss-Legendre quadrature on pieces no wider than u / 2, split at the limits, so that each
    piece is smooth.
    """
    import numpy as np

    node, weight = np.polynomial.legendre.leggauss(8)
    conforming = nonconforming = consumer = producer = 0.0
    inner = [edge for edge in (limits.low, limits.high) if span[0] < edge < span[1]]
    edges = [span[0], *inner, span[1]]
    for low, high in pairwise(edges):
        inside = limits.low <= (low + high) / 2.0 <= limits.high
        count = max(1, int((high - low) / (u / 2.0)) + 1)
        width = (high - low) / count
        for piece in range(count):
            middle = low + (piece + 0.5) * width
            for x, w in zip(node, weight, strict=True):
                true = middle + float(x) * width / 2.0
                mass = density(true) * float(w) * width / 2.0
                accept = 1.0 - nonconformance(true, u, acceptance)
                if inside:
                    conforming += mass
                    producer += mass * (1.0 - accept)
                else:
                    nonconforming += mass
                    consumer += mass * accept
    total = conforming + nonconforming
    return GlobalRisk(nonconforming / total, consumer / total, producer / total)


class Result(StrEnum):
    """What became of one cell."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    MISSING = "missing"


AT_USUAL = f" at {USUAL_C:g} °C"
"""What is said with a number that was read at another temperature."""
FAR = 10.0
"""Over-range this many times the most that is allowed is far from it, whatever the temperature."""
ALLOWS_ANYTHING = "the chart allows anything here"


@dataclass(frozen=True)
class CellOutcome:
    """The result of one cell with its reason, a phrase."""

    result: Result
    reason: str


@dataclass(frozen=True)
class JudgedCell:
    """One cell of the chart, judged.

    Attributes
    ----------
    position : str
        Lever position.
    row : ChartRow
        Its row of the chart.
    expectation : Expectation
        What it asks for: what is charted, but open where the pair must not conduct.
    charted : Expectation
        What the chart asks for.
    readings : tuple of Reading
        What was read, in the order read; empty if nothing was.
    outcome : CellOutcome
        What became of it; of several readings the worst counts.
    guarded : bool
        Whether the pair must not conduct here lest somebody be hurt (`family.safety`).
    each : tuple of CellOutcome
        What each reading is by itself, in the order read.
    deciding : int
        Number of the reading that decides, from 0; -1 if nothing was read.
    """

    position: str
    row: ChartRow
    expectation: Expectation
    charted: Expectation
    readings: tuple[Reading, ...]
    outcome: CellOutcome
    guarded: bool
    each: tuple[CellOutcome, ...] = ()
    deciding: int = -1

    @cached_property
    def name(self) -> str:
        """The cell as a person says it; see `cell_text`."""
        return cell_text(self.row.pair, self.position)

    @property
    def decided_by(self) -> Reading | None:
        """The reading that decides; None if nothing was read."""
        return None if self.deciding < 0 else self.readings[self.deciding]

    @cached_property
    def place(self) -> CellName:
        """Its lever position and pins."""
        return self.position, same_pair(self.row.pair)


@dataclass(frozen=True)
class CellCriteria:
    """What every reading of a cell is judged by.

    Attributes
    ----------
    expectation : Expectation
        What the cell asks for.
    low_ohm, high_ohm : float
        Between which it must lie.
    allowed : str
        The same in words.
    guarded : bool
        Whether the pair must not conduct here lest somebody be hurt (`family.safety`).
    """

    expectation: Expectation
    low_ohm: float
    high_ohm: float
    allowed: str
    guarded: bool


def asked_for(
    expectation: Expectation, limits: FamilyLimits, *, guarded: bool = False
) -> CellCriteria:
    """Return what a cell's readings are judged by, within the limits of its family."""
    low, high = expectation.bounds(limits)
    return CellCriteria(expectation, low, high, _allowed_text(expectation, low, high), guarded)


def judge_value(
    expectation: Expectation,
    value: Value,
    limits: FamilyLimits,
    meter: Meter,
    ambient_c: float | None = None,
    growth: Growth | None = None,
    *,
    guarded: bool = False,
) -> CellOutcome:
    """Judge one reading.

    Parameters
    ----------
    expectation : Expectation
        What the cell asks for.
    value : Mark, Measured or OverRange
        What was read.
    limits : FamilyLimits
        Where closed ends and open begins.
    meter : Meter
        What it was read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius.
    growth : Growth or None
        What the part's temperature makes of the pair's ohms: charts tell them at 20 degrees
        Celsius. None where it makes nothing.
    guarded : bool
        Whether the pair must not conduct here lest somebody be hurt (`family.safety`).

    Notes
    -----
    Numbers pass by guarded acceptance and fail by guarded rejection; between the two they are
    undecided. A mark is what a person or a buzzer said: a buzzer sounds
    up to some tens of ohms and is silent above, so it shows neither a lower limit for closed nor,
    where that matters, that a pair is open; and never a resistance.
    """
    return judged(asked_for(expectation, limits, guarded=guarded), value, meter, ambient_c, growth)


def judged(
    asked: CellCriteria,
    value: Value,
    meter: Meter,
    ambient_c: float | None = None,
    growth: Growth | None = None,
) -> CellOutcome:
    """Judge one reading of a cell whose limits are known; see `judge_value`."""
    expectation, low, high = asked.expectation, asked.low_ohm, asked.high_ohm
    if expectation.kind is Kind.ANY:
        return CellOutcome(Result.PASS, ALLOWS_ANYTHING)
    match value:
        case Mark():
            return _judge_mark(expectation, value, high, guarded=asked.guarded)
        case OverRange():
            shown_ohm, top_ohm = least_ohm(value, meter), least_ohm(value, meter, growth)
            return _judge_over_range(shown_ohm, top_ohm, low, high, asked.allowed)
        case Measured():
            found = estimate(value, meter, ambient_c, growth)
            how = AsJudged("" if growth is None else AT_USUAL, _coarsely_noted(value, found, meter))
            return _judge_number(found.ohm, found.u_ohm, low, high, asked.allowed, how)


def _allowed_text(expectation: Expectation, low: float, high: float) -> str:
    match expectation.kind:
        case Kind.CLOSED:
            return f"at most {format_ohms(high)}"
        case Kind.OPEN:
            return f"at least {format_ohms(low)}"
        case _:
            return f"{format_ohms(low)} to {format_ohms(high)}"


def _judge_mark(expectation: Expectation, mark: Mark, high: float, *, guarded: bool) -> CellOutcome:
    if expectation.kind is Kind.OHMS:
        return CellOutcome(
            Result.UNDECIDED, f"marked {mark}, but only a number can show {expectation}: read ohms"
        )
    if mark.value != expectation.kind.value:
        return CellOutcome(Result.FAIL, f"marked {mark}, should be {expectation.kind}")
    buzzer = f"a buzzer is silent only above some {BUZZER_OHM:.0f} ohm"
    if mark is Mark.OPEN and guarded:
        return CellOutcome(Result.UNDECIDED, f"marked open, but {buzzer}: read ohms")
    if high < BUZZER_OHM:
        return CellOutcome(
            Result.UNDECIDED,
            f"marked closed, but {buzzer}, and allowed is at most {format_ohms(high)}: read ohms",
        )
    return CellOutcome(Result.PASS, f"marked {mark}")


@lru_cache(maxsize=MOST_OUTCOMES)
def _judge_over_range(
    shown_ohm: float, top_ohm: float, low: float, high: float, allowed: str
) -> CellOutcome:
    top = format_ohms(shown_ohm)
    if top_ohm != shown_ohm and top_ohm < FAR * high < inf:
        # Only near its limits does it matter how warm the part was.
        top = f"{top}, which is {format_ohms(top_ohm)}{AT_USUAL}"
    if top_ohm >= high:
        return CellOutcome(Result.FAIL, f"over-range, so above {top}; allowed is {allowed}")
    if top_ohm >= low and high == inf:
        return CellOutcome(Result.PASS, f"over-range, so above {top}; allowed is {allowed}")
    return CellOutcome(
        Result.UNDECIDED,
        f"over-range shows only that it is above {top}; allowed is {allowed}: "
        "read on a higher range",
    )


def _coarsely_noted(value: Measured, found: Estimate, meter: Meter) -> str:
    """Return the last place noted if digits left out are what is known least; else empty."""
    if value.step_ohm <= meter.range_for(value.ohm).step_ohm * (1.0 + 1e-9):
        return ""
    worst = max(found.budget, key=lambda source: source.u_ohm)
    return format_ohms(value.step_ohm) if worst.name == "digit" else ""


@dataclass(frozen=True)
class AsJudged:
    """What is told of a number beside its limits.

    Attributes
    ----------
    at : str
        At which temperature it is told; empty where that is no matter.
    noted : str
        The last place noted, if digits left out are what is known least; else empty.
    """

    at: str
    noted: str


@lru_cache(maxsize=MOST_OUTCOMES)
def _judge_number(
    ohm: float, u: float, low: float, high: float, allowed: str, how: AsJudged
) -> CellOutcome:
    # Nothing reads below zero, so zero is no limit that a value could fall short of.
    limits = AllowedRange(-inf if low <= 0.0 else low, high)
    told = f"{format_ohms(max(ohm, 0.0), 3)} ± {format_ohms(COVERAGE * u, 2)}{how.at}"
    risk = nonconformance(ohm, u, limits)
    if accepted(ohm, u, limits):
        return CellOutcome(Result.PASS, f"{told}, allowed is {allowed}; risk {risk_percent(risk)}")
    if rejected(ohm, u, limits):
        unit = _unit_forgotten(ohm, low, high)
        return CellOutcome(
            Result.FAIL, f"{told}, allowed is {allowed}; risk {risk_percent(1.0 - risk)}{unit}"
        )
    if how.noted:
        why = f"noted only to {how.noted}: type every digit that the meter shows"
    elif not can_accept(u, limits):
        why = "this meter is not good enough to tell"
    else:
        why = "too near the limit for this meter"
    return CellOutcome(
        Result.UNDECIDED,
        f"{told}, allowed is {allowed}; {why} (it is outside with {risk_percent(risk)})",
    )


def _unit_forgotten(ohm: float, low: float, high: float) -> str:
    """Return the suspicion that a unit is wrong, for a value some thousandfold off; else empty."""
    meant = thousandfold(ohm, low, high)
    return "" if meant is None else f"; was {format_ohms(meant)} meant? Look at the meter's unit"


def thousandfold(ohm: float, low: float, high: float) -> float | None:
    """Return what was meant if a factor of a thousand or a million would put a value in its limits.

    Parameters
    ----------
    ohm : float
        The value, ohms.
    low, high : float
        What is allowed, ohms; only a resistance bounded on both sides tells.

    Returns
    -------
    float or None
        Ohms; None if it is within its limits, or no such factor helps.

    Examples
    --------
    >>> thousandfold(1.27, 1200.0, 1340.0), thousandfold(1270.0, 1200.0, 1340.0)
    (1270.0, None)
    """
    if low <= 0.0 or high == inf or low <= ohm <= high:
        return None
    meant = (ohm * factor for factor in (1e3, 1e-3, 1e6, 1e-6))
    return next((one for one in meant if low <= one <= high), None)
