"""The readings between two turns of the body, and what they say of the part as it stood.

Turning the body changes every edge, so readings from before and after are never judged together.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.diagnose.diagnosis import decision, diagnose, weighed
from benchproof.diagnose.posterior import Posterior, masses, observe, prior_of, tell
from benchproof.diagnose.verdict import Diagnosis
from benchproof.diagnose.verdict import Verdict as PartVerdict
from benchproof.family.model import CellName, same_pair
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement, judge_sheet
from benchproof.plan.actions import Place
from benchproof.proof.ground import Ground
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading

_WORST_FIRST = (Result.FAIL, Result.UNDECIDED, Result.MISSING, Result.PASS)


@dataclass(frozen=True)
class Taken:
    """A reading and its number among the proof's events."""

    seq: int
    reading: Reading

    @property
    def cell(self) -> CellName:
        """Its lever position and pins."""
        return self.reading.position, same_pair(self.reading.pair)


@dataclass(frozen=True)
class Known:
    """What the diagnosis comes to.

    Attributes
    ----------
    verdicts : mapping of verdict to float
        Probability of each.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    decided : verdict or None
        The verdict, once it is decided.
    """

    verdicts: Mapping[PartVerdict, float]
    hazard: float
    decided: PartVerdict | None


@dataclass(frozen=True)
class Round:
    """The readings that count, of one setting of the body.

    Attributes
    ----------
    ground : Ground
        What the proof stands on.
    meter : Meter
        What they were taken with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    start : Place
        Where lever and meter stood when it began.
    taken : tuple of Taken
        The readings, in the order in which they were taken.
    """

    ground: Ground
    meter: Meter
    ambient_c: float | None
    start: Place
    taken: tuple[Taken, ...] = ()

    def adding(self, one: Taken) -> "Round":
        """Return the round with one more reading."""
        longer = replace(self, taken=(*self.taken, one))
        if (known := self.__dict__.get("posterior")) is not None:
            # What is known already is told the new reading only; it comes to the same bits.
            longer.__dict__["posterior"] = longer.telling(known, one)
        return longer

    def without(self, seq: int) -> "Round":
        """Return the round without one of its readings."""
        return replace(self, taken=tuple(one for one in self.taken if one.seq != seq))

    @cached_property
    def judgement(self) -> Judgement:
        """The chart judged; it does not depend on the order in which different cells were read."""
        family = self.ground.family
        column = {same_pair(row.pair): k for k, row in reversed([*enumerate(family.chart)])}

        def place(one: Taken) -> tuple[int, int, list[str]]:
            pair = same_pair(one.reading.pair)
            at = family.positions.index(one.reading.position)
            return column.get(pair, len(column)), at, sorted(pair)

        ordered = [one.reading for one in sorted(self.taken, key=place)]
        return judge_sheet(family, ordered, self.meter, self.ambient_c)

    @cached_property
    def results(self) -> Mapping[CellName, Result]:
        """What became of each cell; the worst, if the chart has its pair in several rows."""
        found: dict[CellName, Result] = {}
        for cell in self.judgement.cells:
            name = cell.position, same_pair(cell.row.pair)
            both = (found.get(name, Result.PASS), cell.outcome.result)
            found[name] = min(both, key=_WORST_FIRST.index)
        return found

    @cached_property
    def times(self) -> Mapping[CellName, int]:
        """How often each cell was read in its detent."""
        return Counter(one.cell for one in self.taken if not one.reading.lean)

    def telling(self, posterior: Posterior, one: Taken) -> Posterior:
        """Return what is known once one more reading is told."""
        tables = posterior.tables
        return tell(posterior, observe(tables, [one.reading], self.meter, self.ambient_c))

    @cached_property
    def posterior(self) -> Posterior | None:
        """What the readings say of every hypothesis; None for a chart too large for it."""
        if self.ground.tables is None:
            return None
        posterior = prior_of(self.ground.tables)
        # One by one, as they came: told at once, the last digit could be another.
        for one in self.taken:
            posterior = self.telling(posterior, one)
        return posterior

    @cached_property
    def known(self) -> Known | None:
        """What the diagnosis comes to; None without one."""
        if self.posterior is None:
            return None
        found = masses(self.posterior)
        verdicts, danger = weighed(self.posterior, found)
        return Known(verdicts, danger, decision(verdicts, danger))

    @cached_property
    def diagnosis(self) -> Diagnosis | None:
        """What to say of the part; None for a chart too large for it."""
        return None if self.posterior is None else diagnose(self.posterior)
