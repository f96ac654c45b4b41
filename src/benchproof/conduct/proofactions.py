"""What a person does in a proof besides opening and closing it, each as one event on disk.

Each takes the work and the initials of who does it, and raises `ProofProblem` if the event cannot
follow, or cannot be understood; then nothing was recorded.
"""

from dataclasses import asdict, dataclass

from benchproof.conduct.readapart import read_apart
from benchproof.conduct.typed import SLIPPED, check_unit
from benchproof.conduct.work import Work, now
from benchproof.judge.cell import Result
from benchproof.plan.actions import TakeReading
from benchproof.proof.cellstory import story_of
from benchproof.proof.events import (
    BodyTurned,
    Event,
    Mistake,
    ReadingSource,
    ReadingTaken,
    ReadingWithdrawn,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State
from benchproof.proof.taking import spelled, taken_from_sheet
from benchproof.proof.turning import said_of_taken_back
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import UNTOLD, Conditions

MOST_CELLS = 6
"""So many cells of a sheet are named."""


def take_reading(
    work: Work,
    by: str,
    typed: tuple[str, str, str],
    *,
    lean: str = "",
    again: bool = False,
    under: Conditions = UNTOLD,
) -> None:
    """Record one reading of a cell that a person named.

    Parameters
    ----------
    typed : tuple of str
        Position, pair and value, as they were typed.
    lean : str
        The neighbour toward which the lever is held, as it was typed.
    again : bool
        Whether the probes were set anew.
    under : Conditions
        What the part was under.
    """

    def make(state: State) -> Event:
        at, pins, toward = spelled(state.ground, typed[0], typed[1], lean)
        check_unit(state, at, pins, typed[2], toward)
        return ReadingTaken(
            now(), by, at, pins, typed[2], lean=toward, again=again, **asdict(under)
        )

    work.append(make)


def take_asked(
    work: Work,
    by: str,
    asked: TakeReading,
    value: str,
    source: ReadingSource = ReadingSource.TYPED,
    under: Conditions = UNTOLD,
) -> None:
    """Record the reading that was asked for, whatever others read meanwhile."""
    if source is ReadingSource.TYPED:
        check_unit(work.state, asked.position, asked.pair, value, asked.lean)
    work.record(
        ReadingTaken(
            now(),
            by,
            asked.position,
            asked.pair,
            value,
            lean=asked.lean,
            again=asked.again,
            source=source,
            **asdict(under),
        )
    )


@dataclass(frozen=True)
class SheetTaken:
    """What became of a sheet: how many readings were recorded, and the cells that are not right.

    Attributes
    ----------
    count : int
        Readings recorded.
    failed, undecided, missing : tuple of str
        Names of cells of the chart, as the proof stands after it.
    """

    count: int
    failed: tuple[str, ...]
    undecided: tuple[str, ...]
    missing: tuple[str, ...]

    @property
    def told(self) -> str:
        """All of it in sentences: "42 readings are recorded. 1 cell fails: G-H in D."."""
        said = [f"{self.count} readings are recorded."]
        said += [
            f"{len(names)} {'cell' if len(names) == 1 else 'cells'} {word}: {_some(names)}."
            for names, word in (
                (self.failed, "fails" if len(self.failed) == 1 else "fail"),
                (self.undecided, "undecided"),
                (self.missing, "not read"),
            )
            if names
        ]
        return " ".join(said) if len(said) > 1 else f"{said[0]} Every cell passes."


def _some(names: tuple[str, ...]) -> str:
    more = f" and {len(names) - MOST_CELLS} more" if len(names) > MOST_CELLS else ""
    return ", ".join(names[:MOST_CELLS]) + more


def take_sheet(
    work: Work, by: str, content: bytes, name: str, under: Conditions = UNTOLD
) -> SheetTaken:
    """Record every reading of a sheet, or none; return what became of it.

    Parameters
    ----------
    content : bytes
        The sheet, CSV or XLSX.
    name : str
        Its name, for messages.
    under : Conditions
        What the part was under.

    Raises
    ------
    BadFile
        With every mistake in it.
    """
    family, meter = work.state.ground.family, work.state.as_left.meter
    readings = read_apart(read_readings, content, name, family, meter, under)
    events = [taken_from_sheet(one, now(), by) for one in readings]
    work.record_all(events)
    cells = work.state.as_left.judgement.cells
    failed, undecided, missing = (
        tuple(cell.name for cell in cells if cell.outcome.result is result)
        for result in (Result.FAIL, Result.UNDECIDED, Result.MISSING)
    )
    return SheetTaken(len(events), failed, undecided, missing)


def call_slip(work: Work, by: str) -> int:
    """Put the first reading of the cell that was read last down to a slipped probe.

    Only one that reads open against the chart and was read again since, which passes; the rules of
    what is withdrawn hold (`proof.withdrawal`). Returns its number.
    """
    taken = work.state.as_left.taken
    last = taken[-1].reading if taken else None
    slip = None if last is None else story_of(work.state, last.position, last.pair).slip
    if slip is None:
        raise ProofProblem(
            "Only a reading that is open against the chart, and whose cell then reads right, can "
            "be put down to a slip this way; read the cell again first."
        )
    return withdraw(work, by, slip.taken.seq, SLIPPED, Mistake.SLIP)


def withdraw(
    work: Work,
    by: str,
    seq: int | None = None,
    reason: str = "",
    kind: Mistake = Mistake.OTHER,
) -> int:
    """Withdraw a reading, edge, offset or sweep, the one named or the last; return its number.

    Parameters
    ----------
    seq : int or None
        Its number among the events; None for the last.
    reason : str
        Why, in the person's words.
    kind : Mistake
        What it is put down to.
    """
    if seq is None:
        seq = work.state.last_taken
        if not seq:
            raise ProofProblem("No reading counts yet, so there is none to withdraw.")
    # Settled once: if somebody reads meanwhile, theirs is not the one that was meant.
    work.record(ReadingWithdrawn(now(), by, seq, reason or "no reason given", kind))
    return seq


def withdrawn_as(state: State, seq: int) -> str:
    """Return what became of what was withdrawn: what it is, reason, in sentences."""
    aside = next((one for one in state.set_aside if one.what.seq == seq), None)
    if aside is not None:
        readings = (one for setting in state.settings for one in setting.kept)
        still = [one.gone.taken.told for one in readings if one.gone.taken.seq == seq]
        but = f", but for {'; '.join(still)}, which still counts" if still else ""
        return f"{aside.told}. It stays in the record and does not count{but}."
    gone = next(one for one in state.withdrawn if one.taken.seq == seq)
    kept = (one for setting in state.settings for one in setting.kept)
    why = next((one.why for one in kept if one.gone.taken.seq == seq), "")
    counts = f"still counts: {why}" if why else "does not count"
    return f"{gone.told}. It stays in the record and {counts}."


def note_work(work: Work, by: str, what: str) -> None:
    """Note what was done to the part, and by whom."""
    if not by.strip():
        raise ProofProblem(
            "Say who did it (--by INITIALS); a repair without a name clears nothing."
        )
    if not what.strip():
        raise ProofProblem("Say what was done to the part.")
    work.record(WorkDone(now(), by, what))


def turn(work: Work, by: str, note: str = "") -> None:
    """Note that the body was turned."""

    def make(state: State) -> Event:
        state.check(BodyTurned)
        found = state.as_left.diagnosis if state.as_left.taken else None
        offset = None if found is None else found.offset
        return BodyTurned(now(), by, note, None if offset is None else offset.best)

    work.append(make)


def take_back_turn(work: Work, by: str, reason: str = "", seq: int | None = None) -> str:
    """Take back a turn that was noted by mistake; return what that means for what was read.

    Parameters
    ----------
    reason : str
        Why, in the person's words.
    seq : int or None
        Number of the event that noted it; None for the last that stands.
    """
    if seq is None:
        stands = [one.seq for one in work.state.noted_turns if one.back is None]
        if not stands:
            raise ProofProblem("No turn of the body is noted, so there is none to take back.")
        seq = stands[-1]
    if not by.strip():
        raise ProofProblem(
            "Say who takes the turn back (--by INITIALS): what was read before counts again."
        )
    # Settled once, as what is withdrawn.
    work.record(TurnTakenBack(now(), by, seq, reason or "no reason given"))
    return said_of_taken_back(work.state.events)
