"""What to mind where the act is: a table of conditions and their sentences.

All are common practice, no source; the rules named in them were cited from memory.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchproof.diagnose.verdict import Verdict
from benchproof.family.danger import notes_on
from benchproof.family.sentence import Sentence, said
from benchproof.plan.actions import TakeReading

if TYPE_CHECKING:
    from benchproof.proof.state import State

BEFORE_HOOK_UP = (
    "Before you hook up the meter: part unplugged from the vehicle and de-energised. An ohmmeter "
    "on a live circuit can hurt you and the meter."
)
BEFORE_TURNING = (
    "Before you turn the body on a vehicle: wheels chocked, parking brake on, engine off, part "
    "unplugged, linkage off. A vehicle whose linkage is off can roll."
)
AFTER_TURNING = (
    "After the bolts are tight read every cell again: tightening turns the body, and nothing that "
    "was read before counts as left."
)
OTHERS_FIRST = (
    "The maker's service information, local rules and licensed practice come before this program."
)


def _notes(state: "State") -> Iterator[dict[str, str]]:
    for note in notes_on(state.dangers):
        yield {"note": note}


def _overdue(state: "State") -> Iterator[dict[str, str]]:
    meter = state.meter_chosen
    if meter is not None and is_overdue(state):
        yield {"meter": meter.tag or meter.name, "due": meter.due_on}


def _hook_up(state: "State") -> Iterator[dict[str, str]]:
    if state.closed is None and isinstance(state.next.action, TakeReading):
        yield {}


def _turning(state: "State") -> Iterator[dict[str, str]]:
    known = state.as_left.known
    if state.closed is None and known is not None and known.decided is Verdict.REALIGN:
        yield {}


def _turned(state: "State") -> Iterator[dict[str, str]]:
    if state.closed is None and len(state.rounds) > 1 and not state.as_left.taken:
        yield {}


def _no_diagnosis(state: "State") -> Iterator[dict[str, str]]:
    if state.ground.no_diagnosis:
        yield {"why": state.ground.no_diagnosis}


def _no_meter(state: "State") -> Iterator[dict[str, str]]:
    if state.meter_chosen is None:
        yield {"meter": state.as_left.meter.name}


def _always(_: "State") -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS: "tuple[Sentence[State], ...]" = (
    Sentence("{note}", _notes),
    Sentence(BEFORE_HOOK_UP, _hook_up),
    Sentence(BEFORE_TURNING, _turning),
    Sentence(AFTER_TURNING, _turned),
    Sentence("{meter} was due for calibration on {due}, before this proof was opened.", _overdue),
    Sentence(
        "No meter was named, so the readings are taken to be of an {meter} (invented): name yours "
        "before the first reading.",
        _no_meter,
    ),
    Sentence("{why}", _no_diagnosis),
    Sentence(OTHERS_FIRST, _always),
)


def cautions_of(state: "State") -> tuple[str, ...]:
    """Return the cautions of a proof as it stands; what could hurt somebody is told apart."""
    return tuple(said(_CAUTIONS, state))


def is_overdue(state: "State") -> bool:
    """Return whether the meter's calibration had run out on the day the proof was opened.

    The day it is due is still good.
    """
    due = "" if state.meter_chosen is None else state.meter_chosen.due_on
    # Days in this form are in order as texts.
    return bool(due) and state.opened.at[: len(due)] > due
