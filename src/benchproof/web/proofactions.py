"""What can be done to a proof from a screen or by a program: each an event on disk, and a sentence.

Each raises what `web.problems` knows if it cannot be done; then nothing was recorded.
"""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, BinaryIO

from benchproof import __version__
from benchproof.conduct.metering import name_meter
from benchproof.conduct.opening import note_known
from benchproof.conduct.proofactions import (
    note_work,
    take_back_turn,
    take_reading,
    take_sheet,
    turn,
    withdraw,
    withdrawn_as,
)
from benchproof.conduct.typed import check_unit
from benchproof.conduct.work import now
from benchproof.family.model import cell_text, same_pair
from benchproof.plan.actions import TakeReading
from benchproof.proof.closing import closing
from benchproof.proof.events import (
    Mistake,
    Photographed,
    ProofOutcome,
    ReadingSource,
    ReadingTaken,
    Remarked,
)
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import spelled
from benchproof.reading.value import UNTOLD, Conditions

if TYPE_CHECKING:
    from benchproof.proof.state import State
    from benchproof.web.site import Site

NOT_TYPED = "Type what the meter shows first: closed, open, OL or ohms."
MEANWHILE = "Another screen read on meanwhile. "


@dataclass(frozen=True)
class Taking:
    """A reading as a screen asked for it.

    Attributes
    ----------
    position, pins, lean : str
        The cell that the screen asked for.
    again : bool
        Whether the probes were to be set anew.
    seq : int
        The last event that the screen knew of.
    value : str
        What was typed; empty to take the reading from the instrument.
    under : Conditions
        What the part was under.
    """

    position: str
    pins: str
    lean: str
    again: bool
    seq: int
    value: str
    under: Conditions = UNTOLD


def take(site: "Site", tag: str, by: str, shown: Taking) -> str:
    """Record the reading that a screen asked for, typed or from the instrument.

    What was typed belongs to the cell that the screen showed, whatever others read meanwhile. The
    instrument is asked only for what is still to be read.
    """
    standing = site.works.standing(tag)
    state = standing.state
    at, pins, lean = spelled(state.ground, shown.position, shown.pins, shown.lean)
    asked = TakeReading(at, pins, lean, shown.again)
    stale = shown.seq != state.seq
    if stale and _is_there(state, shown, asked):
        return f"{MEANWHILE}{_named(asked)} is read already; look at what is next now."
    value, source, note = shown.value, ReadingSource.TYPED, ""
    if not value:
        plug = site.plugged.plug(state) if site.plugged else None
        if site.plugged is None or plug is None:
            raise ProofProblem(NOT_TYPED)
        if stale:
            return f"{MEANWHILE}Nothing was taken; look at what is next now."
        if not state.why_not(ReadingTaken):
            if instrument := site.plugged.instrument(state):
                with site.works.opened(tag) as work:
                    name_meter(work, instrument, by)
            value, source, note = site.plugged.read(standing, asked), ReadingSource.METER, plug.note
    if source is ReadingSource.TYPED:
        check_unit(state, at, pins, value, lean)
    event = ReadingTaken(
        now(),
        by,
        at,
        pins,
        value,
        lean=lean,
        again=shown.again,
        source=source,
        note=note,
        **asdict(shown.under),
    )
    with site.works.opened(tag) as work:
        work.record(event)
    return f"{MEANWHILE}Yours is recorded for {_named(asked)}." if stale else ""


def _is_there(state: "State", shown: Taking, asked: TakeReading) -> bool:
    """Tell whether somebody read the same since, with the same value if one was typed."""
    for event in state.events[shown.seq :]:
        if isinstance(event, ReadingTaken) and event.position == asked.position:
            same = same_pair(event.pair) == same_pair(asked.pair) and event.lean == asked.lean
            if same and shown.value in ("", event.value):
                return True
    return False


def _named(asked: TakeReading) -> str:
    return cell_text(asked.pair, asked.position)


def read_other(
    site: "Site",
    tag: str,
    by: str,
    typed: tuple[str, str, str],
    lean: str,
    *,
    again: bool = False,
    under: Conditions = UNTOLD,
) -> str:
    """Record a reading of a cell that a person named: position, pair and value as typed."""
    if not typed[2]:
        raise ProofProblem(NOT_TYPED)
    with site.works.opened(tag) as work:
        take_reading(work, by, typed, lean=lean, again=again, under=under)
        event = work.state.events[-1]
    assert isinstance(event, ReadingTaken), "it was just recorded"
    return f"Recorded for {cell_text(event.pair, event.position)}."


def read_sheet(
    site: "Site", tag: str, by: str, content: bytes, name: str, under: Conditions = UNTOLD
) -> str:
    """Record every reading of a sheet, or none."""
    with site.works.opened(tag) as work:
        return take_sheet(work, by, content, name or "sheet", under).told


def withdraw_shown(
    site: "Site", tag: str, by: str, seq: int, reason: str, kind: Mistake = Mistake.OTHER
) -> str:
    """Withdraw the reading that a screen showed as the last one."""
    if not seq:
        raise ProofProblem("No reading counts yet, so there is none to withdraw.")
    with site.works.opened(tag) as work:
        withdraw(work, by, seq, reason or "undone at the screen", kind)
        return withdrawn_as(work.state, seq)


def work_done(site: "Site", tag: str, by: str, what: str) -> str:
    """Note what was done to the part."""
    if not by:
        raise ProofProblem("Say who you are in the settings first: a repair needs a name.")
    with site.works.opened(tag) as work:
        note_work(work, by, what)
    return "Noted."


def remark(site: "Site", tag: str, by: str, text: str, at: tuple[str, str] = ("", "")) -> str:
    """Note a remark; one on a cell, told by position and pins, begins with its name."""
    if not text:
        raise ProofProblem("Type the remark first.")
    with site.works.opened(tag) as work:
        if all(at):
            position, pair, _ = spelled(work.state.ground, *at)
            text = f"{cell_text(pair, position)}: {text}"
        work.record(Remarked(now(), by, text))
    return "Noted."


def note_turn(site: "Site", tag: str, by: str, note: str) -> str:
    """Note that the body was turned."""
    with site.works.opened(tag) as work:
        turn(work, by, note)
    return (
        "Noted: what was read before is as found. Read every cell again. If it was not turned, "
        "take the turn back under Body turned."
    )


def take_back(site: "Site", tag: str, by: str, seq: int, reason: str) -> str:
    """Take back the turn of the body that a screen showed as the last."""
    if not by:
        raise ProofProblem("Say who you are in the settings first: what was read counts again.")
    if not seq:
        raise ProofProblem("No turn of the body is noted, so there is none to take back.")
    with site.works.opened(tag) as work:
        return take_back_turn(work, by, reason, seq)


def keep_photograph(
    site: "Site", tag: str, by: str, content: bytes | BinaryIO, name: str, what: str
) -> str:
    """Keep a photograph, without where it was taken."""
    if not content:
        raise ProofProblem("Take or choose a photograph first.")
    site.works.standing(tag).state.check(Photographed)
    key = site.store.photographs.put(content, name[:200] or "photograph")
    with site.works.opened(tag) as work:
        work.record(Photographed(now(), by, key, what))
    return "The photograph is kept, without where it was taken."


def close(
    site: "Site",
    tag: str,
    by: str,
    outcome: ProofOutcome | None,
    override_by: str = "",
    override_reason: str = "",
) -> str:
    """Close a proof: as what is named, or as what is decided."""
    with site.works.opened(tag) as work:
        # What the intake noted since the proof was opened counts too.
        note_known(work)
        work.append(
            lambda state: closing(
                state,
                now(),
                by,
                __version__,
                outcome,
                override_by=override_by,
                override_reason=override_reason,
            )
        )
        closed = work.state.closed
    assert closed is not None, "it was just closed"
    return f"Closed as {closed.outcome.value}."
