"""Moving a part over the shelf, with a question before a unit gets a second range switch."""

from typing import TYPE_CHECKING

from benchproof.conduct.families import family_of
from benchproof.family.model import Role
from benchproof.family.problems import BadFile
from benchproof.record.problems import Conflict, NoSuch

if TYPE_CHECKING:
    from benchproof.record.rows import MoveRow
    from benchproof.record.store import Store

_OF_A_LEVER = {Role.RANGE_BIT, Role.RANGE_LEVEL, Role.START_PERMIT, Role.REVERSE_LAMP}
_IN_A_UNIT = ("reserved", "fitted")


def move_part(
    store: "Store",
    part: str,
    to: str,
    unit: str | None = None,
    by: str | None = None,
    note: str = "",
    *,
    another: bool = False,
) -> "MoveRow":
    """Move a part over the shelf; see `Shelf.move`.

    Parameters
    ----------
    another : bool
        Whether the unit is to have it although it has a range switch.

    Raises
    ------
    NoSuch
        If the part, unit or person is not in the archive.
    Conflict
        If the move may not follow, or a transmission, which has one range switch, would get a
        second one.
    """
    if to in _IN_A_UNIT and not another:
        moves = store.shelf.moves(part)
        into = unit or (moves[-1].unit if moves else None)
        has = None if into is None else _range_switch_of(store, into, part)
        if has is not None and _is_range_switch(store, part):
            raise Conflict(
                f"{into}: has the range switch {has.part} ({has.state}) already, and a "
                f"transmission has one; move {has.part} first, or say that {part} is another."
            )
    return store.shelf.move(part, to, unit, by, note)


def _range_switch_of(store: "Store", unit: str, but: str) -> "MoveRow | None":
    """Return the last move of a range switch that a unit has, or is to have."""
    there = (move for move, _ in store.shelf.list(unit=unit) if move.state in _IN_A_UNIT)
    others = (move for move in there if move.part != but)
    return next((move for move in others if _is_range_switch(store, move.part)), None)


def _is_range_switch(store: "Store", part: str) -> bool:
    """Return whether the lever moves a part, by what its pairs do; in doubt it does."""
    row = store.parts.get(part)
    try:
        family = family_of(store, row.family_file, row.family).family
    except (BadFile, NoSuch):
        return True
    roles = {pair.role for pair in family.chart}
    untold = len(family.positions) > 1 and Role.UNTOLD in roles
    return untold or bool(roles & _OF_A_LEVER)
