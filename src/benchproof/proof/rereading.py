"""What to read once the policy asks for nothing more, but something about readings is left open.

A withdrawn reading that still counts wants further readings against it; a start permit cell wants
two readings that show it open; a cell of which only marks were noted, which decide nothing there,
wants ohms.
"""

from collections.abc import Iterator
from itertools import chain

from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine.policy import MOST_TIMES, NextStep
from benchproof.family.model import same_pair
from benchproof.judge.cell import Result
from benchproof.plan.actions import Mode, TakeReading
from benchproof.proof.history import History
from benchproof.proof.timesshown import TWICE, shown_times
from benchproof.proof.withdrawal import KeptReading, alone, corroborates, further_of
from benchproof.reading.value import Mark


def to_read_again(state: History) -> NextStep | None:
    """Return the reading that settles what is open; None if nothing can be settled so."""
    if state.mode is not Mode.PROVE:
        return None
    steps = (_against_withdrawn(state), _permits(state), _marked(state))
    return next(chain.from_iterable(steps), None)


def _against_withdrawn(state: History) -> Iterator[NextStep]:
    left = state.as_left
    for one in left.kept:
        at = one.gone.taken.reading
        further = further_of(one.gone, left.taken)
        charted = alone(left.ground, at)
        agreeing = all(alone(left.ground, r.reading) is Result.PASS for r in further)
        if not one.possible or at.lean or charted is None or not agreeing:
            continue
        if not any(not r.reading.lean for r in further):
            yield _step(TakeReading(at.position, at.pair, again=True), one)
        elif not any(corroborates(one.gone, r) for r in further):
            yield _step(TakeReading(at.position, at.pair, _neighbor(state, one), again=True), one)


def _step(action: TakeReading, one: KeptReading) -> NextStep:
    return NextStep(action, f"{one.told}.")


def _neighbor(state: History, one: KeptReading) -> str:
    """Return toward which neighbor to hold the lever: one where the cell is charted alike."""
    at, family = one.gone.taken.reading, state.ground.family
    here = family.positions.index(at.position)
    beside = [n for n in (here + 1, here - 1) if 0 <= n < len(family.positions)]
    rows = [row for row in family.chart if same_pair(row.pair) == same_pair(at.pair)]
    alike = [n for n in beside if all(row.expect[n] == row.expect[here] for row in rows)]
    return family.positions[(alike or beside)[0]]


def _permits(state: History) -> Iterator[NextStep]:
    left = state.as_left
    if _decided_against(state):
        return
    shown = shown_times(state)
    for cell in left.judgement.cells:
        name = cell.place
        few = shown.get(name, 0) < TWICE and left.times.get(name, 0) < MOST_TIMES
        if cell.guarded and few and cell.outcome.result in (Result.PASS, Result.UNDECIDED):
            why = (
                f"{cell.name} must be shown open twice, by ohms or over-range, the probes set anew."
            )
            yield NextStep(TakeReading(cell.position, cell.row.pair, again=True), why)


def _marked(state: History) -> Iterator[NextStep]:
    """Yield cells that only marks were noted of, which decide nothing there."""
    left = state.as_left
    if _decided_against(state):
        return
    for cell in left.judgement.cells:
        name = cell.place
        marked = cell.readings and all(isinstance(one.value, Mark) for one in cell.readings)
        few = left.times.get(name, 0) < MOST_TIMES
        if marked and few and cell.outcome.result is Result.UNDECIDED:
            why = f"{cell.name} is undecided: {cell.outcome.reason}."
            yield NextStep(TakeReading(cell.position, cell.row.pair, again=True), why)


def _decided_against(state: History) -> bool:
    known = state.as_left.known
    return known is not None and known.decided not in (None, PartVerdict.ACCEPT)
