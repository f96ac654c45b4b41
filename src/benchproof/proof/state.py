"""The state of a proof: a pure fold of its events."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.examine.ground import Ground
from benchproof.examine.policy import NextStep, stopping
from benchproof.family.danger import Danger, Signal
from benchproof.family.sentence import quoted
from benchproof.judge.cell import Result
from benchproof.plan.actions import BenchPlace, Stop
from benchproof.proof.accept import Objection, check_accepted, flagged, objections
from benchproof.proof.cautions import Now, cautions_of
from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Closed,
    EdgeFound,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    OffsetMeasured,
    Opened,
    OtherProof,
    Photographed,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    SweepTaken,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.ground import Files, bench_of, content, ground_of, meter_of
from benchproof.proof.history import History, seen_in
from benchproof.proof.noted import Noted, NotedEdge, NotedOffset, NotedSweep
from benchproof.proof.order import Phase, why_not
from benchproof.proof.problems import ProofProblem
from benchproof.proof.rereading import to_read_again
from benchproof.proof.setting import Setting
from benchproof.proof.sweeps import swept_evidence
from benchproof.proof.taking import TakenReading, edge_of, lean_of, reading_of, visit_of
from benchproof.proof.turning import check_taken_back
from benchproof.reading.evidence import MeasuredOffset


@dataclass(frozen=True)
class State(History):
    """Everything that a proof says, after some of its events."""

    @property
    def dangers(self) -> tuple[Danger, ...]:
        """What could hurt somebody, worst first."""
        flags = [
            Danger(
                Signal.DANGER,
                "accepted-by-older-rules",
                "this proof was accepted by older rules and is not proved by these: "
                f"{one.sentence}",
            )
            for one in self.flagged
        ]
        return (*flags, *self._found_dangers, *self.as_left.dangers)

    @property
    def seen(self) -> tuple[Danger, ...]:
        """The dangers that readings show by themselves; a list cannot wait for a diagnosis."""
        return (*self._found_dangers, *self.as_left.examination.seen)

    @cached_property
    def _found_dangers(self) -> tuple[Danger, ...]:
        """The starts in gear that were read before the body was turned.

        Each stands until all of its cells were read open since: turning alone mends nothing.
        """
        opened: set[str] = set()
        found: list[Danger] = []
        for one in reversed(self.settings):
            if one is not self.as_left:
                found += [
                    replace(danger, sentence=f"before the body was turned {danger.sentence}")
                    for danger in one.examination.seen
                    if danger.signal is Signal.DANGER and not set(danger.cells) <= opened
                ]
            cells = one.judgement.cells
            opened |= {cell.name for cell in cells if cell.outcome.result is Result.PASS}
        return tuple(found)

    @cached_property
    def next(self) -> NextStep:
        """What to do next."""
        if self.closed is not None:
            return stopping(Stop(None, f"this proof is closed as {self.closed.outcome}"))
        found = self.as_left.examination.next
        return to_read_again(self) or found if isinstance(found.action, Stop) else found

    @cached_property
    def objections(self) -> tuple[Objection, ...]:
        """Everything that stands against accepting the part."""
        return objections(self)

    @cached_property
    def flagged(self) -> tuple[Objection, ...]:
        """What nobody can answer for and stands against a part accepted by older rules."""
        return flagged(self)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What can hurt someone, now; hazards first."""
        return cautions_of(Now(self, self.dangers, self.next))

    def after(self, event: Event) -> "State":
        """Return the state after one more event.

        Raises
        ------
        ProofProblem
            If the event cannot follow: the proof is closed, it names no cell of the chart, its
            reading cannot be understood, it withdraws what cannot be withdrawn, or it accepts a
            part against what nobody can answer for.
        """
        if isinstance(event, Closed):
            check_accepted(self, event)
        return self.recorded(event)

    def recorded(self, event: Event) -> "State":
        """Return the state after one more event that is on record.

        A part that an older version accepted stays accepted, and is flagged.

        Raises
        ------
        ProofProblem
            If the event cannot follow.
        """
        self.check(type(event))
        return replace(self._changed(event), events=(*self.events, event))

    def told(self, seq: int, event: Event) -> "State":
        """Return the state after an event of a number; told again it counts once.

        Raises
        ------
        ProofProblem
            If the event cannot follow, or another one has its number.
        """
        if seq == self.seq + 1:
            return self.recorded(event)
        if not 1 <= seq <= self.seq or self.events[seq - 1] != event:
            raise ProofProblem(
                f"Event {seq} is not what follows event {self.seq} of this proof; check the store."
            )
        return self

    def _changed(self, event: Event) -> "State":
        match event:
            case BenchChosen():
                bench = bench_of(content(self.files, event.file), event.name)
                return self._on(lambda ground: replace(ground, bench=bench))
            case MeterChosen():
                return self._with_meter(event)
            case LeverAt():
                return self._with_lever(event)
            case ReadingTaken():
                return self._with_reading(event)
            case EdgeFound():
                return self._with_edge(event)
            case OffsetMeasured():
                return self._with_offset(event)
            case SweepTaken():
                return self._with_sweep(event)
            case ReadingWithdrawn():
                return self._without(event)
            case BodyTurned() if self.seq + 1 in self.void:
                return self
            case TurnTakenBack():
                check_taken_back(event, self.events)
                return self._without_turn(event.seq)
            case BodyTurned():
                ground, seen = replace(self.ground, start=self.at), self.as_left.seen
                fresh = Setting(ground, at=self.at, seen=seen)
                return replace(self, settings=(*self.settings, fresh))
            case Closed():
                return replace(self, closed=event)
            case WorkDone() if not event.by.strip() or not event.what.strip():
                raise ProofProblem("Say what was done to the part, and who did it.")
            case InspectionNoted():
                return self._with_seen(event)
            case WorkDone() | OtherProof() | Photographed() | Remarked():
                return self
            # The table lets no second opening follow.
            case GearChecked() | Opened():
                return self

    def _without_turn(self, seq: int) -> "State":
        """Return the state as if a turn had not been noted, its events as they are."""
        again = replace(start(self.events[0], self.files), void=self.void | {seq})
        for event in self.events[1:]:
            # What was taken back before is void from the beginning.
            after = again if isinstance(event, TurnTakenBack) else again._changed(event)
            again = replace(after, events=(*again.events, event))
        return again

    def _with_meter(self, event: MeterChosen) -> "State":
        meter = meter_of(content(self.files, event.file), event.name)
        if event.lead_ohm is not None:
            leads = replace(meter.leads, ohm=event.lead_ohm, nulled=False)
            meter = replace(meter, leads=leads)
        chosen = self._on(lambda g: replace(g, meter=meter, ambient_c=event.ambient_c))
        return replace(chosen, meter_chosen=event)

    def _on(self, change: Callable[[Ground], Ground]) -> "State":
        """Return the state on a changed ground: with another meter or bench."""
        settings = tuple(one.on(change(one.ground)) for one in self.settings)
        return replace(self, ground=change(self.ground), settings=settings)

    def _with_lever(self, event: LeverAt) -> "State":
        lean = lean_of(self.ground.family, event.position, event.lean)
        at = replace(self.at, position=event.position)
        moved = replace(self, at=at, lean=lean)
        left = self.as_left.standing_at(at)
        if not left.taken:
            # Nothing was read yet, so the route begins where the lever is now.
            left = left.on(replace(left.ground, start=at))
        return replace(moved, settings=(*self.settings[:-1], left))

    def _with_reading(self, event: ReadingTaken) -> "State":
        reading = reading_of(event, self.ground.family, self.as_left.meter)
        reading = replace(reading, visit=visit_of(event, self.events, self.void))
        longer = self.as_left.adding(TakenReading(self.seq + 1, reading, event.by))
        return replace(
            self,
            at=BenchPlace(reading.position, reading.pair),
            lean=reading.lean,
            settings=(*self.settings[:-1], longer),
        )

    def _with_edge(self, event: EdgeFound) -> "State":
        edge = edge_of(event, self.ground.family, self.as_left.meter)
        return self._noting(NotedEdge(self.seq + 1, edge, event.by, event.turned, self._unit))

    def _with_offset(self, event: OffsetMeasured) -> "State":
        offset = MeasuredOffset(event.offset, event.u, event.how)
        return self._noting(NotedOffset(self.seq + 1, offset, event.by, self._unit))

    def _with_sweep(self, event: SweepTaken) -> "State":
        file, seq, own = content(self.files, event.file), self.seq + 1, not event.meter_file
        ground = self.as_left.ground
        found = swept_evidence(file, event.file, event.name, ground, series=seq, own_meter=own)
        return self._noting(NotedSweep(seq, event.file, event.name, found, event.by, event.meter))

    def _with_seen(self, event: InspectionNoted) -> "State":
        """Return the state with what was seen by eye: of the part, however its body stands."""
        seen = seen_in((*self.inspections, event))
        settings = tuple(one.seeing(seen) for one in self.settings)
        return replace(self, settings=settings)

    def _noting(self, one: Noted) -> "State":
        return replace(self, settings=(*self.settings[:-1], self.as_left.noting(one, self.at)))

    @property
    def _unit(self) -> str:
        return "detent gaps" if self.ground.family.detents_deg is None else "deg"

    def _without(self, event: ReadingWithdrawn) -> "State":
        for turn, setting in enumerate(self.settings):
            left = setting.withdrawing(turn, self.seq + 1, event)
            if left is not None:
                settings = (*self.settings[:turn], left, *self.settings[turn + 1 :])
                return replace(self, settings=settings)
        raise ProofProblem(self._why_not_withdrawn(event.seq))

    def _why_not_withdrawn(self, seq: int) -> str:
        # Of a sweep the whole is told, and not its readings.
        before = [
            (one.what.name, one.what.told, one.event)
            for one in self.set_aside
            if one.what.seq == seq
        ] + [
            (one.taken.name, one.taken.told, one.event)
            for one in self.withdrawn
            if one.taken.seq == seq
        ]
        if before:
            name, told, event = before[0]
            return (
                f"{name} ({told}) was withdrawn before ({quoted(event.reason)}); nothing is left "
                "to withdraw."
            )
        if 1 <= seq <= self.seq:
            return (
                f"Event {seq} is no reading; only readings, edges, offsets and sweeps can be "
                "withdrawn."
            )
        return f"There is no reading {seq}; the proof has {self.seq} events."


def start(event: Event, files: Files) -> State:
    """Return the state of a proof that was just opened.

    Parameters
    ----------
    event : Event
        The first one, an `Opened`.
    files : mapping of hash to bytes
        The files that the proof's events name; later ones may name more of them.

    Raises
    ------
    ProofProblem
        If it begins otherwise, or a file is missing.
    BadFile
        If a file cannot be used.
    """
    if not isinstance(event, Opened):
        raise ProofProblem(why_not(type(event), Phase.NEW))
    ground = ground_of(event, files)
    at = BenchPlace(ground.family.positions[0])
    return State(
        opened=event,
        ground=ground,
        files=files,
        events=(event,),
        meter_chosen=None,
        at=at,
        lean="",
        settings=(Setting(replace(ground, start=at), at=at),),
    )


def fold(events: Iterable[Event], files: Files) -> State:
    """Return the state after all of a proof's events.

    Raises
    ------
    ProofProblem
        If one of them cannot follow those before, or there is none.
    BadFile
        If a file cannot be used.
    """
    rest = iter(events)
    first = next(rest, None)
    if first is None:
        raise ProofProblem("This proof has no events; check the store.")
    state = start(first, files)
    for event in rest:
        state = state.recorded(event)
    return state
