"""The shelf as it is shown: where each part is, and who answers for it where it was not proved."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.conduct.marks import Marks
from benchproof.conduct.papers import closing
from benchproof.proof.problems import ProofProblem
from benchproof.record.problems import RecordProblem

if TYPE_CHECKING:
    from benchproof.record.rows import MoveRow
    from benchproof.record.store import Store


@dataclass(frozen=True)
class Shelved:
    """A part on the shelf.

    Attributes
    ----------
    move : MoveRow
        Its last move.
    family : str
        Name of its family.
    danger : str
        Signal word of what readings of its last proof show; empty if nothing.
    override_by, override_reason : str
        Who answers for it though it was not proved, and why; empty without an override.
    """

    move: "MoveRow"
    family: str
    danger: str = ""
    override_by: str = ""
    override_reason: str = ""


def shelved(
    store: "Store", marks: Marks | None = None, *, state: str | None = None, unit: str | None = None
) -> list[Shelved]:
    """Return where the parts are, with who answers for each; what could hurt somebody first.

    Parameters
    ----------
    store : Store
        The archive.
    marks : Marks, optional
        The signal words of its parts, as far as they are known already.
    state, unit : str, optional
        Only parts in this state, or reserved for or fitted in this unit.

    Notes
    -----
    Of a part whose proof is not what was recorded nobody answers, and it says so.
    """
    places = store.shelf.list(state=state, unit=unit)
    words = marks or Marks(store)
    found = [
        Shelved(move, family, words.of_part(move.part), *_override(store, move.part))
        for move, family in places
    ]
    return sorted(found, key=lambda one: not one.danger)


def _override(store: "Store", part: str) -> tuple[str, str]:
    """Return who answers for a part, by the proof with which it came to stock last, and why."""
    proofs = [move.proof for move in store.shelf.moves(part) if move.proof]
    if not proofs:
        return "", ""
    try:
        _, closed = closing(store, proofs[-1])
    except (RecordProblem, ProofProblem) as problem:
        return "nobody", f"{problem}"
    return ("", "") if closed is None else (closed.override_by, closed.override_reason)
