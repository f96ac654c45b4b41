"""Turns of the body that were noted, and those that were taken back.

What was noted stays on record. A turn that was taken back parts no readings: those since it stay
and are judged with those before it, for the body stood as it stood, and of readings that disagree
the worst counts. So nothing that speaks against the part is lost by taking a turn back.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.sentence import quoted
from benchproof.proof.events import BodyTurned, Event, ReadingTaken, TurnTakenBack
from benchproof.proof.problems import ProofProblem


@dataclass(frozen=True)
class BodyTurn:
    """A turn of the body.

    Attributes
    ----------
    seq : int
        Number of its event.
    event : BodyTurned
        That event.
    back : TurnTakenBack or None
        Who took it back, and why; None if it stands.
    back_seq : int
        Number of the event that took it back; 0 if it stands.
    """

    seq: int
    event: BodyTurned
    back: TurnTakenBack | None = None
    back_seq: int = 0

    @property
    def told(self) -> str:
        """Who turned it and how far, and who took that back and why: what stands on the paper."""
        turned = f"Turned by {self.event.by or 'nobody named'}: {self.event.note or 'no note'}"
        if self.back is None:
            return turned
        return (
            f"{turned}; taken back by {self.back.by} (event {self.back_seq}), the body was not "
            f"turned: {self.back.reason}"
        )


def turns_of(events: Sequence[Event]) -> tuple[BodyTurn, ...]:
    """Return every turn among a proof's events, in order."""
    back = {
        one.seq: (one, at) for at, one in enumerate(events, 1) if isinstance(one, TurnTakenBack)
    }
    return tuple(
        BodyTurn(seq, event, *back.get(seq, (None, 0)))
        for seq, event in enumerate(events, 1)
        if isinstance(event, BodyTurned)
    )


def check_taken_back(event: TurnTakenBack, events: Sequence[Event]) -> None:
    """Check that an event takes back a turn that stands.

    Raises
    ------
    ProofProblem
        If it names none, one that was taken back before, or nobody who takes it back.
    """
    if not event.by.strip():
        raise ProofProblem(
            "Say who takes the turn back (--by INITIALS): what was read before counts again."
        )
    turn = next((one for one in turns_of(events) if one.seq == event.seq), None)
    if turn is None and event.seq <= len(events):
        raise ProofProblem(
            f"Event {event.seq} is no turn of the body; only a turn can be taken back so."
        )
    if turn is None:
        raise ProofProblem(f"There is no event {event.seq}; the proof has {len(events)} events.")
    if turn.back is not None:
        raise ProofProblem(
            f"Turn {event.seq} was taken back before ({quoted(turn.back.reason)}); nothing is left "
            "to take back."
        )


def said_of_taken_back(events: Sequence[Event]) -> str:
    """Return what the last event, which takes back a turn, means for what was read, in sentences.

    Parameters
    ----------
    events : sequence of Event
        The proof's, the last of them a `TurnTakenBack`.
    """
    turn = next(one for one in turns_of(events) if one.back_seq == len(events))
    since = sum(isinstance(one, ReadingTaken) for one in events[turn.seq :])
    stays = f"The turn of event {turn.seq} is taken back and stays in the record. "
    again = (
        "If the body was turned after all, note the turn again: then everything read so far is as "
        "found, and every cell is to be read."
    )
    if not since:
        return f"{stays}What was read before it counts as left again. {again}"
    readings = "1 reading since it stays" if since == 1 else f"{since} readings since it stay"
    return (
        f"{stays}The {readings} and count{'s' if since == 1 else ''} together with those before "
        "it, as of one setting of the body: of readings of a cell that disagree the worst counts, "
        f"and a danger stays until every reading that shows it is explained. {again}"
    )
