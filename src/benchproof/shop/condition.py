"""The checklist of the intake: what to look for, how bad it is, and what follows from it.

All of it is common practice, no source; the maker's own limits come first where there are any.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.record.rows import ConditionRow


class GradeConsequence(StrEnum):
    """What follows from a grade; the worst one of a part's items counts."""

    MEASURE = "measure"
    CLEAN = "clean first"
    DISCARD = "do not reuse"


class PartKind(StrEnum):
    """Kinds of part that a checklist tells apart."""

    RANGE_SWITCH = "range switch"
    CONNECTOR = "connector"
    OTHER = "other"


GRADES = ("sound", "slight", "bad")
"""From good to bad; every item has each of them."""


@dataclass(frozen=True, slots=True)
class ItemGrade:
    """One grade of one item.

    Attributes
    ----------
    seen : str
        What is seen.
    consequence : GradeConsequence
    why : str
        A sentence.
    """

    grade: str
    seen: str
    consequence: GradeConsequence
    why: str


@dataclass(frozen=True, slots=True)
class Item:
    """Something to look at.

    Attributes
    ----------
    name : str
    kinds : tuple of PartKind
        The kinds of part that have it.
    grades : tuple of ItemGrade
        One for each of `GRADES`, in this order.
    """

    name: str
    kinds: tuple[PartKind, ...]
    grades: tuple[ItemGrade, ItemGrade, ItemGrade]

    def graded(self, grade: str) -> ItemGrade:
        """Return what is said of a grade.

        Raises
        ------
        KeyError
            If there is no such grade.
        """
        return {graded.grade: graded for graded in self.grades}[grade]


def _item(
    name: str,
    kinds: tuple[PartKind, ...],
    sound: str,
    slight: tuple[str, GradeConsequence, str],
    bad: tuple[str, GradeConsequence, str],
) -> Item:
    return Item(
        name,
        kinds,
        (
            ItemGrade(
                "sound", sound, GradeConsequence.MEASURE, "Nothing speaks against measuring it."
            ),
            ItemGrade("slight", *slight),
            ItemGrade("bad", *bad),
        ),
    )


_M, _C, _D = GradeConsequence.MEASURE, GradeConsequence.CLEAN, GradeConsequence.DISCARD
_SWITCH = (PartKind.RANGE_SWITCH, PartKind.OTHER)
_PLUG = (PartKind.RANGE_SWITCH, PartKind.CONNECTOR, PartKind.OTHER)

CHECKLIST: tuple[Item, ...] = (
    _item(
        "housing cracks",
        _PLUG,
        "no crack under good light, ears and bolt slots included",
        ("a scratch or a chip that does not go through", _M,
         "A chip does not let water in; photograph it, so that it can be seen to grow."),
        ("a crack, however fine, or a broken ear", _D,
         "A crack lets water and fluid in, and it grows with heat."),
    ),
    _item(
        "seal working out",
        _SWITCH,
        "the seal lies flush all round",
        ("the seal stands a little proud in one place", _M,
         "It may hold, but the contacts behind it may be dirty: look for readings that wander."),
        ("the seal hangs out, is torn or missing", _D,
         "What came in past the seal stays inside, and nothing can be pressed back to last."),
    ),
    _item(
        "shaft corrosion",
        (PartKind.RANGE_SWITCH,),
        "the shaft and the bore are bright",
        ("rust that comes off with a brush", _C,
         "Rust moves the part off its mark when it is turned; clean the shaft, then measure."),
        ("the part is seized on the shaft, or the flats are eaten away", _D,
         "It cannot be set to its mark, and it would not come off whole."),
    ),
    _item(
        "pried edges",
        (PartKind.RANGE_SWITCH,),
        "the edges are straight and unmarked",
        ("a tool mark on an edge, nothing bent", _M,
         "Somebody levered at it; the inside may be out of line though it looks whole."),
        ("the edge is bent or the cover stands open", _D,
         "The contacts no longer lie where they lay; the chart cannot be trusted for long."),
    ),
    _item(
        "melted connector",
        _PLUG,
        "the plastic is sharp-edged and of one colour",
        ("darkened plastic round a pin", _M,
         "A pin ran hot; measure its contacts, and look for the cause in the vehicle."),
        ("melted or blistered plastic", _D,
         "The pin is no longer held, and it will run hot again."),
    ),
    _item(
        "bent pins",
        _PLUG,
        "every pin stands straight and at the same height",
        ("a pin leans and was never straightened", _C,
         "Straighten it once, gently, then measure."),
        ("a pin is broken, pushed back or was straightened before", _D,
         "A pin that is bent twice breaks in the vehicle."),
    ),
    _item(
        "fluid in connector",
        _PLUG,
        "dry",
        ("a film of fluid", _C,
         "Fluid reads as a leak; clean and dry it, then measure."),
        ("fluid stands in it or comes out of the wires", _C,
         "It came through the part or along the wires: clean and dry it, wait a day, look again."),
    ),
)  # fmt: skip
"""Condition and sentence side by side; common practice, no source."""

SEIZED = (
    "CAUTION: do not pry a seized sensor off its shaft; it breaks, and the shaft is marked. Leave "
    "it on, note it, and follow the maker's service information."
)
"""Said wherever somebody is about to take a part off, or grades its shaft."""


def items_of(kind: PartKind) -> tuple[Item, ...]:
    """Return what to look at for a kind of part."""
    return tuple(item for item in CHECKLIST if kind in item.kinds)


def item_named(name: str) -> Item:
    """Return the item of this name.

    Raises
    ------
    KeyError
        If there is none.

    Examples
    --------
    >>> item_named("bent pins").graded("bad").consequence.value
    'do not reuse'
    """
    for item in CHECKLIST:
        if item.name == name:
            return item
    raise KeyError(name)


def latest(notes: "Iterable[ConditionRow]") -> dict[str, str]:
    """Return the latest grade of each item, which counts."""
    return {note.item: note.grade for note in notes}


def consequence(notes: "dict[str, str]") -> GradeConsequence | None:
    """Return what follows from the latest grade of each item; None if nothing was looked at.

    Parameters
    ----------
    notes : mapping of str to str
        Grade by item; items and grades that the checklist does not have are passed over, since an
        older checklist may have had them.

    Examples
    --------
    >>> consequence({"bent pins": "slight", "housing cracks": "sound"}).value
    'clean first'
    """
    found = [
        graded.consequence
        for item in CHECKLIST
        for graded in item.grades
        if notes.get(item.name) == graded.grade
    ]
    order = list(GradeConsequence)
    return max(found, key=order.index, default=None)
