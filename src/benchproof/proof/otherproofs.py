"""What a proof says to the other proofs of the same part: no part is proved by forgetting one."""

from benchproof.examine.dangers import beside_told
from benchproof.judge.cell import JudgedCell, Result
from benchproof.proof.events import OPEN, OtherProof
from benchproof.proof.state import State
from benchproof.reading.value import Mark, OverRange

MOST_CELLS = 12
"""No more cells than these are told, and no more kinds of work."""
MOST_LETTERS = 300


def said_to_others(state: State, proof: str, number: int, at: str, by: str) -> OtherProof:
    """Return what a proof says to the other proofs of its part.

    Parameters
    ----------
    state : State
        The proof.
    proof : str
        Its tag.
    number : int
        Which proof of the part it is.
    at, by : str
        When and by whom it is noted in the other.
    """
    closed = state.closed
    cells = _left(state)
    against = [_told(cell) for cell in cells if cell.outcome.result is Result.FAIL]
    unsafe = [_told(cell) for cell in cells if _conducts(state, cell)] + _beside(state)
    work = [f"{event.what} ({event.by})"[:MOST_LETTERS] for _, event in state.work]
    return OtherProof(
        at=at,
        by=by,
        proof=proof,
        number=number,
        outcome=OPEN if closed is None else closed.outcome.value,
        ended_at=state.opened.at if closed is None else closed.at,
        ended_by=state.opened.by if closed is None else closed.by,
        override_by="" if closed is None else closed.override_by,
        against=tuple(against[:MOST_CELLS]),
        starts_in_gear=tuple(unsafe[:MOST_CELLS]),
        work=tuple(work[:MOST_CELLS]),
        worked_at=state.work[-1][1].at if state.work else "",
    )


def unreadable(
    proof: str, number: int, outcome: str | None, opened_at: str, at: str, by: str
) -> OtherProof:
    """Return what stands for a proof whose record cannot be understood: it may hold anything."""
    why = ("its record cannot be read",)
    return OtherProof(at, by, proof, number, outcome or OPEN, opened_at, against=why)


def _beside(state: State) -> list[str]:
    """Return where a start permit conducts beside gear, by the last setting that looked for it."""
    looked = (one for one in reversed(state.settings) if one.noted)
    last = next(looked, None)
    if last is None:
        return []
    unit = "detent gaps" if state.ground.family.detents_deg is None else "deg"
    return [beside_told(one, unit) for one in last.examination.beside]


def _left(state: State) -> list[JudgedCell]:
    """Return every cell as it was read last: turning the body leaves unread what was read before.

    A setting of the body whose cell was not read says nothing of it.
    """
    found: dict[int, JudgedCell] = {}
    for setting in state.settings:
        found |= {n: cell for n, cell in enumerate(setting.judgement.cells) if cell.readings}
    return [*found.values()]


def _conducts(state: State, cell: JudgedCell) -> bool:
    """Return whether a cell that must be open was read to conduct, or may conduct."""
    if not state.ground.safety.guards(cell.position, cell.row.pair):
        return False
    opened = all(
        one.value is Mark.OPEN or isinstance(one.value, OverRange) for one in cell.readings
    )
    return cell.outcome.result is Result.FAIL and not opened


def _told(cell: JudgedCell) -> str:
    return f"{cell.name}: {cell.outcome.reason}"[:MOST_LETTERS]
