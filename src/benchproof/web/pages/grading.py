"""Grading by eye what was taken in, with photographs; what cores and parts share."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.responses import Response

from benchproof.conduct.people import check_somebody
from benchproof.record.rows import ConditionRow
from benchproof.shop.condition import CHECKLIST, GRADES, SEIZED, GradeConsequence, Item, consequence
from benchproof.web.forms import PageRequest, screen

if TYPE_CHECKING:
    from benchproof.record.store import Store


@dataclass(frozen=True)
class Grading:
    """What was seen of a core or a part, and what can be noted of it.

    Attributes
    ----------
    items : tuple of Item
        The checklist.
    grades : tuple of str
    notes : list of ConditionRow
        The oldest first.
    latest : dict of str to str
        The latest grade of each item.
    follows : GradeConsequence or None
        What follows from all of them.
    caution : str
    people : list of str
        Initials that a note may bear.
    """

    items: tuple[Item, ...]
    grades: tuple[str, ...]
    notes: list[ConditionRow]
    latest: dict[str, str]
    follows: GradeConsequence | None
    caution: str
    people: list[str]


def grading(store: "Store", *, core: str | None = None, part: str | None = None) -> Grading:
    """Return what was seen of a core or a part."""
    notes = store.conditions.list(core=core, part=part)
    latest = {note.item: note.grade for note in notes}
    people = [row.initials for row in store.people.list(limit=200)]
    return Grading(CHECKLIST, GRADES, notes, latest, consequence(latest), SEIZED, people)


def note(asked: PageRequest, *, core: str | None = None, part: str | None = None) -> dict[str, str]:
    """Note what was typed; return what is wrong with it, by field.

    Raises
    ------
    RecordProblem
        If the archive refuses it, or the photograph is none.
    """
    item, grade = asked.text("item"), asked.text("grade")
    wrong = {}
    if item not in {known.name for known in CHECKLIST}:
        wrong["item"] = "Pick what you looked at."
    if grade not in GRADES:
        wrong["grade"] = "Pick how it looks."
    if wrong:
        return wrong
    store, by = asked.site.store, asked.text("by") or None
    check_somebody(store, by)
    pictures = asked.uploads.get("photograph", ())
    kept = [store.photographs.put(one.file, one.name[:200]) for one in pictures[:1]]
    store.conditions.note(
        core=core,
        part=part,
        item=item,
        grade=grade,
        remark=asked.text("remark"),
        photograph=kept[0] if kept else None,
        by=by,
    )
    return {}


def _photograph(asked: PageRequest) -> Response:
    content = asked.site.store.photographs.get(asked.path("key"))
    return Response(content, media_type="image/jpeg")


ROUTES = (screen("/photographs/{key}", get=_photograph),)
