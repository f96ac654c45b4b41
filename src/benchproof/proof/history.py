"""What happened in a proof, and what was read in each setting of the body.

No rule is asked yet: the tables of what stands against a part, of cautions, and of what to read
again look at this.
"""

from dataclasses import dataclass, field

from benchproof.examine.ground import Ground
from benchproof.family.model import without_lever
from benchproof.plan.actions import BenchPlace
from benchproof.plan.bench import Bench
from benchproof.proof.events import (
    BodyTurned,
    Closed,
    Event,
    GearChecked,
    InspectionNoted,
    MeterChosen,
    Mode,
    Opened,
    OtherProof,
    Photographed,
    Remarked,
    WorkDone,
)
from benchproof.proof.ground import Files
from benchproof.proof.noted import Noted, SetAside
from benchproof.proof.order import OF_A_LEVER, Phase, why_not
from benchproof.proof.problems import ProofProblem
from benchproof.proof.setting import Setting
from benchproof.proof.turning import BodyTurn, turns_of
from benchproof.proof.withdrawal import Withdrawn


@dataclass(frozen=True)
class History:
    """What a proof is made of, after some of its events.

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
    at : BenchPlace
        Where lever and meter stand.
    lean : str
        The neighbour toward which the lever is held; empty in its detent.
    settings : tuple of Setting
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
    at: BenchPlace
    lean: str
    settings: tuple[Setting, ...]
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
    def phase(self) -> Phase:
        """How far it has come."""
        if self.closed is not None:
            return Phase.CLOSED
        return Phase.READ if any(one.by_meter for one in self.settings) else Phase.UNREAD

    def why_not(self, kind: type[Event]) -> str:
        """Return why an event of some kind may not follow, a sentence; empty if it may."""
        family = self.ground.family
        if not family.lever and kind in OF_A_LEVER:
            return without_lever(family, OF_A_LEVER[kind])
        return why_not(kind, self.phase, "" if self.closed is None else self.closed.outcome)

    def check(self, kind: type[Event]) -> None:
        """Check that an event of some kind may follow.

        Raises
        ------
        ProofProblem
            If it may not.
        """
        if why := self.why_not(kind):
            raise ProofProblem(why)

    @property
    def as_found(self) -> Setting:
        """The readings before the body was first turned; all of them if it never was."""
        return self.settings[0]

    @property
    def as_left(self) -> Setting:
        """The readings since the body was last turned; all of them if it never was."""
        return self.settings[-1]

    @property
    def withdrawn(self) -> tuple[Withdrawn, ...]:
        """The readings that were withdrawn, in the order in which they were."""
        found = (one for setting in self.settings for one in setting.withdrawn)
        return tuple(sorted(found, key=lambda one: one.seq))

    @property
    def set_aside(self) -> tuple[SetAside, ...]:
        """The edges, offsets and sweeps that were withdrawn, in the order in which they were."""
        found = (one for setting in self.settings for one in setting.set_aside)
        return tuple(sorted(found, key=lambda one: one.seq))

    @property
    def noted(self) -> tuple[Noted, ...]:
        """The edges, offsets and sweeps that count, of every setting of the body."""
        return tuple(one for setting in self.settings for one in setting.noted)

    @property
    def noted_told(self) -> tuple[str, ...]:
        """Each of these in words, and of which setting of the body: what stands on the paper."""
        last = len(self.settings) - 1
        told = []
        for turn, setting in enumerate(self.settings):
            when = "As found" if turn == 0 else "As left" if turn == last else f"After turn {turn}"
            told += [f"{when}: {one.told}" if last else one.told for one in setting.noted]
        return tuple(told)

    @property
    def last_taken(self) -> int:
        """Number of the last event that can be withdrawn; 0 if there is none."""
        return max(setting.last for setting in self.settings)

    @property
    def withdrawn_told(self) -> tuple[str, ...]:
        """All that was withdrawn: what, kind, who and why, and of readings whether it counts."""
        counts = {
            (one.gone.taken.seq, one.gone.taken.cell): one.told
            for setting in self.settings
            for one in setting.kept
        }
        told = [
            (gone.seq, counts.get((gone.taken.seq, gone.taken.cell), gone.told))
            for gone in self.withdrawn
            # Of a sweep, told whole, only those readings that still count are told.
            if not gone.taken.swept or (gone.taken.seq, gone.taken.cell) in counts
        ]
        told += [(one.seq, one.told) for one in self.set_aside]
        return tuple(text for _, text in sorted(told))

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
    def noted_turns(self) -> tuple[BodyTurn, ...]:
        """Every turn of the body that was noted, those that were taken back too."""
        return turns_of(self.events)

    @property
    def turns(self) -> tuple[BodyTurned, ...]:
        """How the body was turned; no turn that was taken back is among them."""
        return tuple(one.event for one in self.noted_turns if one.back is None)


def is_overdue(history: History) -> bool:
    """Return whether the meter's calibration had run out on the day the proof was opened.

    The day it is due is still good.
    """
    due = "" if history.meter_chosen is None else history.meter_chosen.due_on
    # Days in this form are in order as texts.
    return bool(due) and history.opened.at[: len(due)] > due
