"""The readings between two turns of the body, and what they say of the part as it stood.

Turning the body changes every edge, so readings from before and after are never judged together.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import DiagnosisResult, Examination
from benchproof.examine.ground import Ground
from benchproof.family.danger import Danger
from benchproof.family.model import CellName
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement
from benchproof.plan.actions import BenchPlace
from benchproof.proof.events import Mistake, ReadingWithdrawn
from benchproof.proof.noted import Noted, NotedEdge, NotedOffset, NotedSweep, SetAside
from benchproof.proof.taking import TakenReading
from benchproof.proof.withdrawal import KeptReading, Withdrawn
from benchproof.proof.withdrawal import kept as kept_of
from benchproof.reading.evidence import (
    ConductingStretch,
    Evidence,
    FoundEdge,
    MeasuredOffset,
    SeenCondition,
    WatchedStretch,
)
from benchproof.reading.meter import Meter


@dataclass(frozen=True)
class Setting:
    """One setting of the body: the readings that count, and what they say.

    Attributes
    ----------
    ground : Ground
        What the proof stands on, and where lever and meter stood when the body was set so.
    taken : tuple of TakenReading
        The readings that were not withdrawn, in the order in which they were taken.
    at : BenchPlace or None
        Where lever and meter stand, if the lever was moved since the last reading.
    withdrawn : tuple of Withdrawn
        The readings that were withdrawn, in the order in which they were.
    noted : tuple of NotedEdge, NotedOffset and NotedSweep
        What was found beside readings and not withdrawn, in the order in which it was noted.
    set_aside : tuple of SetAside
        What of that was withdrawn.
    seen : tuple of SeenCondition
        What was seen of the part by eye.
    examined : Examination or None
        The examination of just this, if it is at hand; it is made anew otherwise.
    """

    ground: Ground
    taken: tuple[TakenReading, ...] = ()
    at: BenchPlace | None = None
    withdrawn: tuple[Withdrawn, ...] = ()
    noted: tuple[Noted, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    seen: tuple[SeenCondition, ...] = ()
    examined: Examination | None = field(default=None, compare=False, repr=False)

    def adding(self, one: TakenReading) -> "Setting":
        """Return the setting with one more reading; told again it counts once."""
        if self._has(one.seq):
            return self
        # With one more reading a withdrawn one may cease to count.
        told = None if self.kept else self.examination.telling(one.reading)
        return replace(self, taken=(*self.taken, one), at=None, examined=told)

    def noting(self, one: Noted, at: BenchPlace) -> "Setting":
        """Return the setting with an edge, offset or sweep more; told again it counts once.

        Lever and meter are looked for where they were last noted to stand.
        """
        if self._has(one.seq):
            return self
        read = one.found.readings if isinstance(one, NotedSweep) else ()
        taken = tuple(TakenReading(one.seq, reading, one.by, swept=True) for reading in read)
        longer = replace(
            self,
            taken=(*self.taken, *taken),
            noted=(*self.noted, one),
            at=at,
            examined=None,
        )
        if self.kept:
            return longer
        told = self.examination
        for piece in (*read, *_pieces(one)):
            told = told.telling(piece)
        return replace(longer, examined=told.standing_at(at))

    def seeing(self, seen: tuple[SeenCondition, ...]) -> "Setting":
        """Return the setting of a part of which this was seen by eye, and no more."""
        return self if seen == self.seen else replace(self, seen=seen, examined=None)

    def _has(self, seq: int) -> bool:
        every = (*self.taken, *self.noted)
        return any(one.seq == seq for one in every)

    def withdrawing(self, turn: int, number: int, event: ReadingWithdrawn) -> "Setting | None":
        """Return the setting without what an event withdraws; None if it is not here.

        What was withdrawn without a kind is withdrawn once more if the event tells one.
        """
        seq = event.seq
        again = event.kind is not Mistake.OTHER
        gone = [one for one in self.taken if one.seq == seq]
        aside = [one for one in self.noted if one.seq == seq]
        if again:
            gone += [x.taken for x in self.withdrawn if x.taken.seq == seq and _no_kind(x.event)]
            aside += [x.what for x in self.set_aside if x.what.seq == seq and _no_kind(x.event)]
        if not gone and not aside:
            return None
        others = tuple(one for one in self.withdrawn if one.taken.seq != seq)
        left = tuple(one for one in self.set_aside if one.what.seq != seq)
        return replace(
            self,
            taken=tuple(one for one in self.taken if one.seq != seq),
            withdrawn=(*others, *(Withdrawn(one, turn, number, event) for one in gone)),
            noted=tuple(one for one in self.noted if one.seq != seq),
            set_aside=(*left, *(SetAside(one, turn, number, event) for one in aside)),
            examined=None,
        )

    def standing_at(self, at: BenchPlace) -> "Setting":
        """Return the setting with the lever moved."""
        return replace(self, at=at, examined=self.examination.standing_at(at))

    def on(self, ground: Ground) -> "Setting":
        """Return the setting on another ground: with another meter or bench."""
        return replace(self, ground=ground, examined=None)

    @cached_property
    def kept(self) -> tuple[KeptReading, ...]:
        """The withdrawn readings that count nevertheless."""
        gone = self.withdrawn
        return kept_of(self.ground, self.taken, gone) if gone else ()

    @property
    def last(self) -> int:
        """Number of the last event that can be withdrawn; 0 if there is none."""
        return max((one.seq for one in (*self.taken, *self.noted)), default=0)

    @property
    def by_meter(self) -> bool:
        """Whether anything counts that was read with the proof's meter."""
        edges = any(isinstance(one, NotedEdge) for one in self.noted)
        return bool(self.taken or self.kept) or edges

    @property
    def evidence(self) -> Evidence:
        """All that counts."""
        evidence = Evidence(tuple(one.reading for one in self.counted), seen=self.seen)
        for one in self.noted:
            for piece in _pieces(one):
                evidence = evidence.with_more(piece)
        return evidence

    @property
    def counted(self) -> tuple[TakenReading, ...]:
        """The readings that count, in the order in which they were taken."""
        both = (*self.taken, *(one.gone.taken for one in self.kept))
        return tuple(sorted(both, key=lambda one: one.seq))

    @cached_property
    def examination(self) -> Examination:
        """All that is said of the part."""
        evidence = self.evidence
        # One that is at hand counts only if it is of just this evidence.
        if self.examined is not None and self.examined.evidence == evidence:
            return self.examined
        return examine(self.ground, evidence, self.at)

    @property
    def start(self) -> BenchPlace:
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
    def known(self) -> DiagnosisResult | None:
        """What the diagnosis comes to; None without one."""
        return self.examination.known

    @property
    def diagnosis(self) -> Diagnosis | None:
        """What is believed of the part; None for a chart too large for it."""
        return self.examination.believed

    @property
    def learned(self) -> Diagnosis | None:
        """What is believed, once a reading, an edge or an offset says anything of the part."""
        found = self.diagnosis
        return None if found is None or found.only_prior else found

    @property
    def likeliest(self) -> str:
        """The likeliest fault in words, once something is decided against the part; else empty."""
        known, found = self.known, self.diagnosis
        if known is None or known.decided in (None, PartVerdict.ACCEPT) or found is None:
            return ""
        return found.likeliest

    @property
    def dangers(self) -> tuple[Danger, ...]:
        """What could hurt somebody, worst first."""
        return self.examination.dangers


def _pieces(
    one: Noted,
) -> tuple[FoundEdge | MeasuredOffset | WatchedStretch | ConductingStretch, ...]:
    match one:
        case NotedEdge():
            return (one.edge,)
        case NotedOffset():
            return (one.offset,)
        case NotedSweep():
            found = one.found.evidence
            return (*found.edges, *found.watched, *found.conducting)


def _no_kind(event: ReadingWithdrawn) -> bool:
    return event.kind is Mistake.OTHER
