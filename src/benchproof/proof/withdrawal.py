"""Readings that were withdrawn: which of them count nevertheless, and why.

What was read cannot be explained away: a reading that speaks against the part counts until it is
put down to a mistake that can read so, and further readings agree with each other against it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchproof.examine.ground import Ground
from benchproof.family.model import Family, same_pair
from benchproof.judge.cell import Result, judge_value
from benchproof.proof.events import Mistake, ReadingWithdrawn
from benchproof.proof.taking import TakenReading
from benchproof.reading.value import (
    Mark,
    Measured,
    OverRange,
    Reading,
    Value,
)
from benchproof.reading.warmth import growth_of

LEAST_AGAINST = 2
"""So many further readings of its cell must agree against a withdrawn one."""


@dataclass(frozen=True)
class Withdrawn:
    """A reading that was withdrawn.

    Attributes
    ----------
    taken : TakenReading
        The reading.
    turn : int
        How often the body had been turned when it was taken.
    seq : int
        Number of the event that withdrew it.
    event : ReadingWithdrawn
        That event.
    """

    taken: TakenReading
    turn: int
    seq: int
    event: ReadingWithdrawn

    @property
    def told(self) -> str:
        """Cell, value, kind, reason and who: what stands on the paper."""
        return f"{self.taken.name} ({self.taken.told}) {self.why}"

    @property
    def why(self) -> str:
        """As what it was withdrawn, by whom and why, a phrase."""
        return why_withdrawn(self.event)


def why_withdrawn(event: ReadingWithdrawn) -> str:
    """Return as what something was withdrawn, by whom and why, a phrase."""
    by = event.by or "nobody named"
    return f"withdrawn as {event.kind} by {by}: {event.reason.rstrip('.')}"


@dataclass(frozen=True)
class KeptReading:
    """A withdrawn reading that counts nevertheless.

    Attributes
    ----------
    gone : Withdrawn
        The reading.
    why : str
        Why it counts and what to do, a phrase.
    possible : bool
        Whether the mistake that was told can read so: then further readings can be against it.
    """

    gone: Withdrawn
    why: str
    possible: bool

    @property
    def told(self) -> str:
        """The reading, its withdrawal, and why it counts nevertheless."""
        return f"{self.gone.told}; it still counts: {self.why}"


@dataclass(frozen=True)
class _Reads:
    """What a mistake can read."""

    kind: Mistake
    can: Callable[[Value, Family], bool]
    otherwise: str


def _says_open(value: Value, _: Family) -> bool:
    return isinstance(value, OverRange) or value is Mark.OPEN


def _not_low(value: Value, family: Family) -> bool:
    if isinstance(value, Measured):
        return value.ohm > family.limits.closed_at_most_ohm
    return _says_open(value, family)


def _anything(_: Value, __: Family) -> bool:
    return True


def _nothing(_: Value, __: Family) -> bool:
    return False


CAN_READ = (
    _Reads(Mistake.SLIP, _says_open, "a slipped probe reads open, never that"),
    _Reads(Mistake.WRONG_CELL, _anything, ""),
    _Reads(Mistake.WRONG_KEY, _anything, ""),
    _Reads(
        Mistake.METER, _not_low, "a meter or leads that fail read open or too high, never closed"
    ),
    _Reads(Mistake.OTHER, _nothing, "nobody said what kind of mistake it was"),
)
"""What each mistake can read (common practice, no source)."""


def can_be(kind: Mistake, value: Value, family: Family) -> bool:
    """Return whether a mistake can read a value."""
    return _reads(kind).can(value, family)


def _reads(kind: Mistake) -> _Reads:
    return next(one for one in CAN_READ if one.kind is kind)


def kept(
    ground: Ground, taken: Sequence[TakenReading], withdrawn: Sequence[Withdrawn]
) -> tuple[KeptReading, ...]:
    """Return the withdrawn readings that count nevertheless.

    Parameters
    ----------
    ground : Ground
        What the proof stands on.
    taken : sequence of TakenReading
        The readings of one setting of the body that were not withdrawn.
    withdrawn : sequence of Withdrawn
        Those that were.
    """
    found = []
    for gone in withdrawn:
        if _speaks(ground, gone.taken):
            kind, value = gone.event.kind, gone.taken.reading.value
            possible = can_be(kind, value, ground.family)
            why = _lacks(ground, gone, taken) if possible else _reads(kind).otherwise
            if why:
                found.append(KeptReading(gone, why, possible))
    return tuple(found)


def _speaks(ground: Ground, taken: TakenReading) -> bool:
    """Return whether a reading speaks against the part, or may."""
    result = alone(ground, taken.reading)
    marked = isinstance(taken.reading.value, Mark)
    # A mark that could not decide says nothing that a number does not say better.
    return result is not Result.PASS and not (marked and result is Result.UNDECIDED)


def _lacks(ground: Ground, gone: Withdrawn, taken: Sequence[TakenReading]) -> str:
    """Return what is lacking for a withdrawn reading not to count; empty if nothing is."""
    at = gone.taken.reading
    further = further_of(gone, taken)
    if at.lean or alone(ground, at) is None:
        return "" if further else "it was not read again since"
    if any(alone(ground, one.reading) is not Result.PASS for one in further):
        return "the readings since do not agree against it"
    if len(further) < LEAST_AGAINST or not any(corroborates(gone, one) for one in further):
        return (
            f"{LEAST_AGAINST} readings since must agree against it, one of them with the lever "
            "held toward a neighbor or by a second person"
        )
    return ""


def further_of(gone: Withdrawn, taken: Sequence[TakenReading]) -> tuple[TakenReading, ...]:
    """Return the readings of a withdrawn one's cell taken since; leans only where it was none."""
    at = gone.taken.reading
    return tuple(
        one
        for one in taken
        if one.seq > gone.taken.seq
        and one.cell == gone.taken.cell
        and (not at.lean or one.reading.lean == at.lean)
    )


def corroborates(gone: Withdrawn, one: TakenReading) -> bool:
    """Return whether a further reading is more than the same person saying it once more."""
    if one.reading.lean:
        return True
    same = {gone.taken.by, gone.event.by}
    return bool(one.by) and bool(gone.taken.by) and one.by not in same


def alone(ground: Ground, reading: Reading) -> Result | None:
    """Return what becomes of a reading by itself in its cell, its lean left aside.

    None if the chart says nothing of its pair.
    """
    family, safety = ground.family, ground.safety
    at = family.positions.index(reading.position)
    pair = same_pair(reading.pair)
    guarded = safety.guards(reading.position, reading.pair)
    results = [
        judge_value(
            safety.expectation(reading.position, row, row.expect[at]),
            reading.value,
            family.limits,
            ground.meter,
            ground.ambient_c,
            growth_of(reading, family),
            guarded=guarded,
        ).result
        for row in family.chart
        if same_pair(row.pair) == pair
    ]
    order = (Result.FAIL, Result.UNDECIDED, Result.PASS)
    return min(results, key=order.index, default=None)
