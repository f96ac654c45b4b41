"""What happened at one cell: its readings in order, what became of each, which one decides.

All that were taken since the body was last turned stand here, those that were withdrawn too.
"""

from dataclasses import dataclass, replace

from benchproof.family.model import CellName, Pair, cell_text, same_pair
from benchproof.judge.cell import CellOutcome, JudgedCell, Result, judge_value
from benchproof.proof.events import Mistake, ReadingTaken
from benchproof.proof.history import History
from benchproof.proof.setting import Setting
from benchproof.proof.taking import TakenReading
from benchproof.proof.withdrawal import KeptReading, Withdrawn, can_be


@dataclass(frozen=True)
class CellReading:
    """One reading of a cell.

    Attributes
    ----------
    taken : TakenReading
        The reading.
    outcome : CellOutcome or None
        What it is by itself; None if the lever leaned, or the chart says nothing of its pair.
    gone : Withdrawn or None
        How it was withdrawn.
    kept : KeptReading or None
        Why it counts nevertheless.
    decides : bool
        Whether it decides what becomes of the cell.
    may_be_slip : bool
        Whether it can be put down to a slipped probe: it reads open against the chart, and was
        read anew since, which passes.
    again : bool
        Whether the probes were set anew for it.
    """

    taken: TakenReading
    outcome: CellOutcome | None
    gone: Withdrawn | None = None
    kept: KeptReading | None = None
    decides: bool = False
    may_be_slip: bool = False
    again: bool = False

    @property
    def counts(self) -> bool:
        """Whether it is taken into account."""
        return self.gone is None or self.kept is not None


@dataclass(frozen=True)
class CellStory:
    """What happened at one cell.

    Attributes
    ----------
    position : str
        Lever position.
    pair : tuple of str
        The two pins.
    cell : JudgedCell or None
        The cell of the chart; None if the chart says nothing of the pair.
    readings : tuple of CellReading
        In the order taken.
    beside : tuple of str
        The neighbors toward which the lever can be held.
    """

    position: str
    pair: Pair
    cell: JudgedCell | None
    readings: tuple[CellReading, ...]
    beside: tuple[str, ...]

    @property
    def name(self) -> str:
        """As "G-H in D"."""
        return cell_text(self.pair, self.position)

    @property
    def slip(self) -> CellReading | None:
        """The first reading that can be put down to a slipped probe; None if none can."""
        return next((one for one in self.readings if one.may_be_slip), None)


def cell_of(setting: Setting, position: str, pair: Pair) -> JudgedCell | None:
    """Return the cell of the chart at a place; None if it has none there."""
    place: CellName = (position, same_pair(pair))
    return next((cell for cell in setting.judgement.cells if cell.place == place), None)


def story_of(state: History, position: str, pair: Pair) -> CellStory:
    """Return what happened at one cell since the body was last turned.

    Parameters
    ----------
    state : History
        The proof.
    position, pair : str, tuple of str
        In the family's spelling.
    """
    left = state.as_left
    place: CellName = (position, same_pair(pair))
    cell = cell_of(left, position, pair)
    gone = {(one.taken.seq, one.taken.cell, one.taken.reading.lean): one for one in left.withdrawn}
    kept = {
        (one.gone.taken.seq, one.gone.taken.cell, one.gone.taken.reading.lean): one
        for one in left.kept
    }
    readings = []
    both = (*left.taken, *(one.taken for one in left.withdrawn))
    for taken in sorted((one for one in both if one.cell == place), key=lambda one: one.seq):
        key = taken.seq, taken.cell, taken.reading.lean
        event = state.events[taken.seq - 1]
        readings.append(
            CellReading(
                taken,
                _by_itself(left, cell, taken),
                gone.get(key),
                kept.get(key),
                again=isinstance(event, ReadingTaken) and event.again,
            )
        )
    order = state.ground.family.positions
    at = order.index(position)
    beside = tuple(order[n] for n in (at - 1, at + 1) if 0 <= n < len(order))
    return CellStory(position, pair, cell, _told(left, cell, readings), beside)


def _by_itself(left: Setting, cell: JudgedCell | None, taken: TakenReading) -> CellOutcome | None:
    if cell is None or taken.reading.lean:
        return None
    return judge_value(
        cell.expectation,
        taken.reading.value,
        left.ground.family.limits,
        left.meter,
        left.ambient_c,
        guarded=cell.guarded,
    )


def _told(
    left: Setting, cell: JudgedCell | None, readings: list[CellReading]
) -> tuple[CellReading, ...]:
    """Return the readings with which decides, and which may be a slip."""
    counted = [n for n, one in enumerate(readings) if one.counts and not one.taken.reading.lean]
    deciding = -1
    if cell is not None and cell.decided_by is not None:
        same = (n for n in counted if readings[n].taken.reading.value == cell.decided_by.value)
        deciding = next(same, -1)
    found = []
    for n, one in enumerate(readings):
        later = (readings[m].outcome for m in counted if m > n)
        passes = any(o is not None and o.result is Result.PASS for o in later)
        against = one.outcome is not None and one.outcome.result is not Result.PASS
        # Once a kind was told it stands; without one it may still be told.
        told = one.gone is not None and one.gone.event.kind is not Mistake.OTHER
        slip = against and passes and not told and one.counts
        slip = slip and can_be(Mistake.SLIP, one.taken.reading.value, left.ground.family)
        found.append(replace(one, decides=n == deciding, may_be_slip=slip))
    return tuple(found)
