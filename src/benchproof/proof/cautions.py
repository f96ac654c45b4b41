"""What to mind where the act is: a table of conditions and their sentences.

All are common practice, no source; the rules named in them were cited from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine.policy import NextStep
from benchproof.family.danger import Danger, notes_on
from benchproof.family.sentence import Sentence, said
from benchproof.judge.sheet import UNTOLD_TEMPERATURE, of_untold_temperature
from benchproof.plan.actions import TakeReading
from benchproof.proof.history import History, is_overdue

BEFORE_HOOK_UP = (
    "Before you hook up the meter: part unplugged from the vehicle and de-energised. An ohmmeter "
    "on a live circuit can hurt you and the meter."
)
BEFORE_TURNING = (
    "Before you turn the body on a vehicle: wheels chocked, parking brake on, engine off, part "
    "unplugged, linkage off. A vehicle whose linkage is off can roll."
)
BEFORE_FINDING = (
    "Before you move lever or body to find an edge: part unplugged and de-energised; on a vehicle "
    "wheels chocked, parking brake on, engine off. Out of park, or with its linkage off, it can "
    "roll."
)
AFTER_TURNING = (
    "After the bolts are tight read every cell again: tightening turns the body, and nothing that "
    "was read before counts as left."
)
OTHERS_FIRST = (
    "The maker's service information, local rules and licensed practice come before this program."
)


@dataclass(frozen=True)
class Now:
    """How a proof stands: its history, what could hurt somebody, and what is to be done next."""

    history: History
    dangers: tuple[Danger, ...]
    next: NextStep


def _notes(now: Now) -> Iterator[dict[str, str]]:
    for note in notes_on(now.dangers):
        yield {"note": note}


def _overdue(now: Now) -> Iterator[dict[str, str]]:
    meter = now.history.meter_chosen
    if meter is not None and is_overdue(now.history):
        yield {"meter": meter.tag or meter.name, "due": meter.due_on}


def _hook_up(now: Now) -> Iterator[dict[str, str]]:
    if now.history.closed is None and isinstance(now.next.action, TakeReading):
        yield {}


def _turning(now: Now) -> Iterator[dict[str, str]]:
    known = now.history.as_left.known
    if now.history.closed is None and known is not None and known.decided is PartVerdict.REALIGN:
        yield {}


def _turned(now: Now) -> Iterator[dict[str, str]]:
    if (
        now.history.closed is None
        and len(now.history.settings) > 1
        and not now.history.as_left.taken
    ):
        yield {}


def _no_diagnosis(now: Now) -> Iterator[dict[str, str]]:
    if now.history.ground.no_diagnosis:
        yield {"why": now.history.ground.no_diagnosis}


def _untold_temperature(now: Now) -> Iterator[dict[str, str]]:
    left = now.history.as_left
    return of_untold_temperature(left.evidence.readings, left.ground.family)


def _no_meter(now: Now) -> Iterator[dict[str, str]]:
    if now.history.meter_chosen is None:
        yield {"meter": now.history.as_left.meter.name}


def _always(_: Now) -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS: tuple[Sentence[Now], ...] = (
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
    Sentence(UNTOLD_TEMPERATURE, _untold_temperature),
    Sentence("{why}", _no_diagnosis),
    Sentence(OTHERS_FIRST, _always),
)


def cautions_of(now: Now) -> tuple[str, ...]:
    """Return the cautions of a proof as it stands; what could hurt somebody is told apart."""
    return tuple(said(_CAUTIONS, now))
