"""The readings between two turns of the body, and what they say of the part as it stood.

Turning the body changes every edge, so readings from before and after are never judged together.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.verdict import Diagnosis
from benchproof.examine import examine
from benchproof.examine.examination import Examination, Known
from benchproof.examine.ground import Ground
from benchproof.family.danger import Danger
from benchproof.family.model import CellName, same_pair
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement
from benchproof.plan.actions import Place
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading


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
class Round:
    """The readings that count, of one setting of the body.

    Attributes
    ----------
    ground : Ground
        What the proof stands on, and where lever and meter stood when the round began.
    taken : tuple of Taken
        The readings, in the order in which they were taken.
    at : Place or None
        Where lever and meter stand, if the lever was moved since the last reading.
    """

    ground: Ground
    taken: tuple[Taken, ...] = ()
    at: Place | None = None

    def adding(self, one: Taken) -> "Round":
        """Return the round with one more reading."""
        longer = replace(self, taken=(*self.taken, one), at=None)
        if (known := self.__dict__.get("examination")) is not None:
            longer.__dict__["examination"] = known.telling(one.reading)
        return longer

    def without(self, seq: int) -> "Round":
        """Return the round without one of its readings."""
        return replace(self, taken=tuple(one for one in self.taken if one.seq != seq))

    def standing_at(self, at: Place) -> "Round":
        """Return the round with the lever moved."""
        moved = replace(self, at=at)
        if (known := self.__dict__.get("examination")) is not None:
            moved.__dict__["examination"] = known.standing_at(at)
        return moved

    @cached_property
    def examination(self) -> Examination:
        """All that is said of the part."""
        return examine(self.ground, [one.reading for one in self.taken], self.at)

    @property
    def start(self) -> Place:
        """Where lever and meter stood when it began."""
        return self.ground.begins

    @property
    def meter(self) -> Meter:
        """What they were taken with."""
        return self.ground.meter

    @property
    def ambient_c(self) -> float | None:
        """Temperature at the meter, degrees Celsius; None for within its calm span."""
        return self.ground.ambient_c

    @property
    def judgement(self) -> Judgement:
        """The chart judged."""
        return self.examination.judged

    @property
    def results(self) -> Mapping[CellName, Result]:
        """What became of each cell."""
        return self.examination.results

    @property
    def times(self) -> Mapping[CellName, int]:
        """How often each cell was read in its detent."""
        return self.examination.times

    @property
    def posterior(self) -> Posterior | None:
        """What the readings say of every hypothesis; None for a chart too large for it."""
        return self.examination.posterior

    @property
    def known(self) -> Known | None:
        """What the diagnosis comes to; None without one."""
        return self.examination.known

    @property
    def diagnosis(self) -> Diagnosis | None:
        """What is believed of the part; None for a chart too large for it."""
        return self.examination.believed

    @property
    def dangers(self) -> tuple[Danger, ...]:
        """What could hurt somebody, worst first."""
        return self.examination.dangers
