"""One reading against its expectation."""

from dataclasses import dataclass
from enum import StrEnum
from math import inf

from benchproof.family.expectation import Expectation, Kind
from benchproof.family.expectation import Limits as FamilyLimits
from benchproof.family.model import ChartRow, pair_text
from benchproof.family.ohms import format_ohms
from benchproof.judge.risk import (
    COVERAGE,
    Limits,
    accepted,
    can_accept,
    nonconformance,
    rejected,
)
from benchproof.reading.meter import Meter
from benchproof.reading.uncertainty import Estimate, estimate
from benchproof.reading.value import BUZZER_OHM, Mark, Measured, OverRange, Reading, Value


class Result(StrEnum):
    """What became of one cell."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    MISSING = "missing"


@dataclass(frozen=True)
class Outcome:
    """The result of one cell with its reason, a phrase."""

    result: Result
    reason: str


@dataclass(frozen=True)
class Cell:
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
    outcome : Outcome
        What became of it; of several readings the worst counts.
    """

    position: str
    row: ChartRow
    expectation: Expectation
    charted: Expectation
    readings: tuple[Reading, ...]
    outcome: Outcome

    @property
    def name(self) -> str:
        """The cell as a person says it: "A-B in P"."""
        return f"{pair_text(self.row.pair)} in {self.position}"


def judge_value(
    expectation: Expectation,
    value: Value,
    limits: FamilyLimits,
    meter: Meter,
    ambient_c: float | None = None,
    *,
    guarded: bool = False,
) -> Outcome:
    """Judge one reading.

    Parameters
    ----------
    expectation : Expectation
        What the cell asks for.
    value : Mark, Measured or OverRange
        What was read.
    limits : Limits of the family
        Where closed ends and open begins.
    meter : Meter
        What it was read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius.
    guarded : bool
        Whether the pair must not conduct here lest somebody be hurt (`family.safety`).

    Notes
    -----
    Numbers pass by guarded acceptance and fail by guarded rejection; between the two they are
    undecided (`benchproof.judge.risk`). A mark is what a person or a buzzer said: a buzzer sounds
    up to some tens of ohms and is silent above, so it shows neither a lower limit for closed nor,
    where that matters, that a pair is open; and never a resistance.
    """
    if expectation.kind is Kind.ANY:
        return Outcome(Result.PASS, "the chart allows anything here")
    low, high = expectation.bounds(limits)
    allowed = _allowed_text(expectation, low, high)
    match value:
        case Mark():
            return _judge_mark(expectation, value, high, guarded=guarded)
        case OverRange():
            top_ohm = meter.over_range_ohm if value.top_ohm is None else value.top_ohm
            return _judge_over_range(top_ohm, low, high, allowed)
        case Measured():
            return _judge_number(estimate(value, meter, ambient_c), low, high, allowed)


def _allowed_text(expectation: Expectation, low: float, high: float) -> str:
    match expectation.kind:
        case Kind.CLOSED:
            return f"at most {format_ohms(high)}"
        case Kind.OPEN:
            return f"at least {format_ohms(low)}"
        case _:
            return f"{format_ohms(low)} to {format_ohms(high)}"


def _judge_mark(expectation: Expectation, mark: Mark, high: float, *, guarded: bool) -> Outcome:
    if expectation.kind is Kind.OHMS:
        return Outcome(
            Result.UNDECIDED, f"marked {mark}, but only a number can show {expectation}: read ohms"
        )
    if mark.value != expectation.kind.value:
        return Outcome(Result.FAIL, f"marked {mark}, should be {expectation.kind}")
    buzzer = f"a buzzer is silent only above some {BUZZER_OHM:.0f} ohm"
    if mark is Mark.OPEN and guarded:
        return Outcome(Result.UNDECIDED, f"marked open, but {buzzer}: read ohms")
    if high < BUZZER_OHM:
        return Outcome(
            Result.UNDECIDED,
            f"marked closed, but {buzzer}, and allowed is at most {format_ohms(high)}: read ohms",
        )
    return Outcome(Result.PASS, f"marked {mark}")


def _judge_over_range(top_ohm: float, low: float, high: float, allowed: str) -> Outcome:
    top = format_ohms(top_ohm)
    if top_ohm >= high:
        return Outcome(Result.FAIL, f"over-range, so above {top}; allowed is {allowed}")
    if top_ohm >= low and high == inf:
        return Outcome(Result.PASS, f"over-range, so above {top}; allowed is {allowed}")
    return Outcome(
        Result.UNDECIDED,
        f"over-range shows only that it is above {top}; allowed is {allowed}: "
        "read on a higher range",
    )


def _judge_number(found: Estimate, low: float, high: float, allowed: str) -> Outcome:
    # Nothing reads below zero, so zero is no limit that a value could fall short of.
    limits = Limits(-inf if low <= 0.0 else low, high)
    u = found.u_ohm
    told = f"{format_ohms(max(found.ohm, 0.0), 3)} ± {format_ohms(COVERAGE * u, 2)}"
    risk = nonconformance(found.ohm, u, limits)
    if accepted(found.ohm, u, limits):
        return Outcome(Result.PASS, f"{told}, allowed is {allowed}; risk {_percent(risk)}")
    if rejected(found.ohm, u, limits):
        return Outcome(Result.FAIL, f"{told}, allowed is {allowed}; risk {_percent(1.0 - risk)}")
    if not can_accept(u, limits):
        why = "this meter is not good enough to tell"
    else:
        why = "too near the limit for this meter"
    return Outcome(
        Result.UNDECIDED,
        f"{told}, allowed is {allowed}; {why} (it is outside with {_percent(risk)})",
    )


def _percent(risk: float) -> str:
    """Return a risk as a person reads it.

    Examples
    --------
    >>> _percent(0.02275), _percent(1e-9)
    ('2.3 %', 'under 0.01 %')
    """
    return "under 0.01 %" if risk < 1e-4 else f"{100.0 * risk:.2g} %"
