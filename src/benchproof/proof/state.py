"""The state of a proof: a pure fold of its events."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property

from benchproof.examine.ground import Ground
from benchproof.examine.policy import NextStep, stopping
from benchproof.family.danger import Danger, Signal
from benchproof.family.sentence import quoted
from benchproof.judge.cell import Result
from benchproof.plan.actions import Place, Stop
from benchproof.plan.bench import Bench
from benchproof.proof.accept import Objection, check_accepted, flagged, objections
from benchproof.proof.cautions import cautions_of
from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Closed,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    Mistake,
    Mode,
    Opened,
    OtherProof,
    Photographed,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.ground import Files, bench_of, content, ground_of, meter_of
from benchproof.proof.problems import ProofProblem
from benchproof.proof.round import Round
from benchproof.proof.settling import settling
from benchproof.proof.taking import Taken, lean_of, reading_of, visit_of
from benchproof.proof.turning import Turn, check_taken_back, turns_of
from benchproof.proof.withdrawal import Withdrawn


@dataclass(frozen=True)
class State:
    """Everything that a proof says, after some of its events.

    Attributes
    ----------
    opened : Opened
        How it began.
    ground : Ground
        What it stands on.
    files : mapping of hash to bytes
        The files that its events name.
    events : tuple of Event
        All of them in order; the number of an event counts from 1.
    meter_chosen : MeterChosen or None
        The meter that was named; None if the usual one is assumed.
    at : Place
        Where lever and meter stand.
    lean : str
        The neighbour toward which the lever is held; empty in its detent.
    rounds : tuple of Round
        The readings, parted where the body was turned; never empty.
    closed : Closed or None
        How it ended.
    void : frozenset of int
        Numbers of the turns that were taken back.
    """

    opened: Opened
    ground: Ground
    files: Files = field(compare=False, repr=False)
    events: tuple[Event, ...]
    meter_chosen: MeterChosen | None
    at: Place
    lean: str
    rounds: tuple[Round, ...]
    closed: Closed | None = None
    void: frozenset[int] = frozenset()

    @property
    def seq(self) -> int:
        """Number of the last event."""
        return len(self.events)

    @property
    def mode(self) -> Mode:
        """What the proof is for."""
        return self.opened.mode

    @property
    def bench(self) -> Bench:
        """How long moves take."""
        return self.ground.bench

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
        for one in reversed(self.rounds):
            if one is not self.as_left:
                found += [
                    replace(danger, sentence=f"before the body was turned {danger.sentence}")
                    for danger in one.examination.seen
                    if danger.signal is Signal.DANGER and not set(danger.cells) <= opened
                ]
            cells = one.judgement.cells
            opened |= {cell.name for cell in cells if cell.outcome.result is Result.PASS}
        return tuple(found)

    @property
    def as_found(self) -> Round:
        """The readings before the body was first turned; all of them if it never was."""
        return self.rounds[0]

    @property
    def as_left(self) -> Round:
        """The readings since the body was last turned; all of them if it never was."""
        return self.rounds[-1]

    @property
    def withdrawn(self) -> tuple[Withdrawn, ...]:
        """The readings that were withdrawn, in the order in which they were."""
        found = (one for round_ in self.rounds for one in round_.withdrawn)
        return tuple(sorted(found, key=lambda one: one.seq))

    @property
    def withdrawn_told(self) -> tuple[str, ...]:
        """Each withdrawn reading: cell, value, kind, who and why, and whether it still counts."""
        kept = {one.gone.taken.seq: one.told for round_ in self.rounds for one in round_.kept}
        return tuple(kept.get(gone.taken.seq, gone.told) for gone in self.withdrawn)

    @property
    def work(self) -> tuple[tuple[int, WorkDone], ...]:
        """What was done to the part, with the number of each event."""
        numbered = enumerate(self.events, 1)
        return tuple((seq, event) for seq, event in numbered if isinstance(event, WorkDone))

    @property
    def others(self) -> tuple[tuple[int, OtherProof], ...]:
        """What the part's other proofs came to, in their order.

        Each with the number of the event since which it speaks so against the part.
        """
        found: dict[str, tuple[int, OtherProof]] = {}
        for number, event in enumerate(self.events, 1):
            if isinstance(event, OtherProof):
                seq, last = found.get(event.proof, (number, event))
                seen = (last.against, last.starts_in_gear)
                same = seen == (event.against, event.starts_in_gear)
                found[event.proof] = (seq if same else number, event)
        return tuple(sorted(found.values(), key=lambda one: one[1].number))

    @property
    def remarks(self) -> tuple[Remarked, ...]:
        """What was remarked."""
        return tuple(event for event in self.events if isinstance(event, Remarked))

    @property
    def inspections(self) -> tuple[InspectionNoted, ...]:
        """What was seen by eye."""
        return tuple(event for event in self.events if isinstance(event, InspectionNoted))

    @property
    def checks(self) -> tuple[GearChecked, ...]:
        """How meter, leads and hook-up were checked."""
        return tuple(event for event in self.events if isinstance(event, GearChecked))

    @property
    def photographs(self) -> tuple[Photographed, ...]:
        """The photographs."""
        return tuple(event for event in self.events if isinstance(event, Photographed))

    @property
    def noted_turns(self) -> tuple[Turn, ...]:
        """Every turn of the body that was noted, those that were taken back too."""
        return turns_of(self.events)

    @property
    def turns(self) -> tuple[BodyTurned, ...]:
        """How the body was turned; no turn that was taken back is among them."""
        return tuple(one.event for one in self.noted_turns if one.back is None)

    @cached_property
    def next(self) -> NextStep:
        """What to do next."""
        if self.closed is not None:
            return stopping(Stop(None, f"this proof is closed as {self.closed.outcome}"))
        found = self.as_left.examination.next
        return settling(self) or found if isinstance(found.action, Stop) else found

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
        return cautions_of(self)

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
        if self.closed is not None and not isinstance(event, Remarked):
            raise ProofProblem(
                f"This proof is closed as {self.closed.outcome}; open a new one for the part, or "
                "add a remark."
            )
        return replace(self._changed(event), events=(*self.events, event))

    def _changed(self, event: Event) -> "State":
        match event:
            case Opened():
                raise ProofProblem("This proof is open already; open a new one for the part.")
            case BenchChosen():
                bench = bench_of(content(self.files, event.file), event.name)
                return self._on(lambda ground: replace(ground, bench=bench))
            case MeterChosen():
                return self._with_meter(event)
            case LeverAt():
                return self._with_lever(event)
            case ReadingTaken():
                return self._with_reading(event)
            case ReadingWithdrawn():
                return self._without_reading(event)
            case BodyTurned() if self.seq + 1 in self.void:
                return self
            case TurnTakenBack():
                check_taken_back(event, self.events)
                return self._without_turn(event.seq)
            case BodyTurned():
                fresh = Round(replace(self.ground, start=self.at), at=self.at)
                return replace(self, rounds=(*self.rounds, fresh))
            case Closed():
                return replace(self, closed=event)
            case WorkDone() if not event.by.strip() or not event.what.strip():
                raise ProofProblem("Say what was done to the part, and who did it.")
            case WorkDone() | OtherProof() | Photographed() | Remarked():
                return self
            case InspectionNoted() | GearChecked():
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
        if any(one.counted for one in self.rounds):
            raise ProofProblem(
                "The readings so far were taken with another meter; open a new proof for this one."
            )
        meter = meter_of(content(self.files, event.file), event.name)
        if event.lead_ohm is not None:
            leads = replace(meter.leads, ohm=event.lead_ohm, nulled=False)
            meter = replace(meter, leads=leads)
        chosen = self._on(lambda g: replace(g, meter=meter, ambient_c=event.ambient_c))
        return replace(chosen, meter_chosen=event)

    def _on(self, change: Callable[[Ground], Ground]) -> "State":
        """Return the state on a changed ground: with another meter or bench."""
        rounds = tuple(replace(one, ground=change(one.ground)) for one in self.rounds)
        return replace(self, ground=change(self.ground), rounds=rounds)

    def _with_lever(self, event: LeverAt) -> "State":
        lean = lean_of(self.ground.family, event.position, event.lean)
        at = replace(self.at, position=event.position)
        moved = replace(self, at=at, lean=lean)
        left = self.as_left.standing_at(at)
        if not left.taken:
            # Nothing was read yet, so the route begins where the lever is now.
            left = replace(left, ground=replace(left.ground, start=at))
        return replace(moved, rounds=(*self.rounds[:-1], left))

    def _with_reading(self, event: ReadingTaken) -> "State":
        reading = reading_of(event, self.ground.family, self.as_left.meter)
        reading = replace(reading, visit=visit_of(event, self.events, self.void))
        longer = self.as_left.adding(Taken(self.seq + 1, reading, event.by))
        return replace(
            self,
            at=Place(reading.position, reading.pair),
            lean=reading.lean,
            rounds=(*self.rounds[:-1], longer),
        )

    def _without_reading(self, event: ReadingWithdrawn) -> "State":
        found = [
            (turn, one)
            for turn, round_ in enumerate(self.rounds)
            for one in (*round_.taken, *self._unexplained(round_, event))
            if one.seq == event.seq
        ]
        if not found:
            raise ProofProblem(self._why_not_withdrawn(event.seq))
        turn, taken = found[0]
        gone = Withdrawn(taken, turn, self.seq + 1, event)
        rounds = tuple(
            round_.without(gone) if number == turn else round_
            for number, round_ in enumerate(self.rounds)
        )
        return replace(self, rounds=rounds)

    def _unexplained(self, round_: Round, event: ReadingWithdrawn) -> list[Taken]:
        """Return what was withdrawn without a kind, if this event tells one."""
        if event.kind is Mistake.OTHER:
            return []
        return [one.taken for one in round_.withdrawn if one.event.kind is Mistake.OTHER]

    def _why_not_withdrawn(self, seq: int) -> str:
        before = [gone for gone in self.withdrawn if gone.taken.seq == seq]
        if before:
            reason = quoted(before[0].event.reason)
            told = before[0].taken.told
            return (
                f"Reading {seq} ({told}) was withdrawn before ({reason}); nothing is left to "
                "withdraw."
            )
        if 1 <= seq <= self.seq:
            return f"Event {seq} is no reading; only readings can be withdrawn."
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
        raise ProofProblem("This proof does not begin by being opened; check the store.")
    ground = ground_of(event, files)
    at = Place(ground.family.positions[0])
    return State(
        opened=event,
        ground=ground,
        files=files,
        events=(event,),
        meter_chosen=None,
        at=at,
        lean="",
        rounds=(Round(replace(ground, start=at), at=at),),
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
