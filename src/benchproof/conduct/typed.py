"""What is asked of a person before a typed value is taken, and the keys that screens share."""

from benchproof.family.model import Pair, pair_text
from benchproof.family.ohms import parse_ohms
from benchproof.judge.cell import thousandfold
from benchproof.proof.cellstory import cell_of
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State

UNDO_KEY = "u"
"""Withdraws the last reading, at the prompt and on the page; "-" belongs to numbers."""
SLIP_KEY = "s"
"""Puts the first reading of a cell down to a slipped probe, once it was read again."""
SLIPPED = "the probe slipped"
"""The reason recorded with it."""
_MEANT = {1e3: "k", 1e6: "M", 1e-3: " mohm"}


def check_unit(state: State, position: str, pair: Pair, text: str, lean: str = "") -> None:
    """Ask for the unit of a bare number that would fit its cell a thousand times larger or smaller.

    Nothing is changed and nothing recorded: the person types it again, with its unit. Only a cell
    that is charted with a resistance tells; where a pair must be open nothing is asked, so that
    what could hurt somebody is never explained away.

    Parameters
    ----------
    position, pair : str, tuple of str
        In the family's spelling.
    text : str
        As it was typed.
    lean : str
        The neighbor toward which the lever is held; nothing is charted there.

    Raises
    ------
    ProofProblem
        If the unit is to be told.
    """
    left = state.as_left
    cell = None if lean else cell_of(left, position, pair)
    word = text.strip()
    if cell is None or word in left.meter.marks:
        return
    try:
        typed = parse_ohms(word)
    except ValueError:
        # No number; or one that is refused where it is recorded.
        return
    meant = thousandfold(typed.ohm, *cell.expectation.bounds(left.ground.family.limits))
    if typed.has_unit or meant is None:
        return
    near = (unit for factor, unit in _MEANT.items() if 0.9 < meant / typed.ohm / factor < 1.1)
    unit = next(near, "")
    like = f"{word}{unit}, " if unit else ""
    name = f"{pair_text(pair)} in {position}"
    raise ProofProblem(
        f"{name} is charted {cell.expectation}: type {like}or '{word} ohm' if the meter shows just "
        "that. Nothing is recorded yet."
    )
