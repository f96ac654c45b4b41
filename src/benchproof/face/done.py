"""What commands that write something tell of it."""

from collections.abc import Iterable
from typing import Annotated

from benchproof.face.view import View, says
from benchproof.shop.condition import ItemGrade


class Written(View, frozen=True):
    """Files that were written."""

    files: Annotated[list[str], says("as they were named, in the order written")]


class TakenIn(View, frozen=True):
    """What was read into an archive."""

    rows: Annotated[dict[str, int], says("how many rows of each table")]


class Served(View, frozen=True):
    """What is served, until the program is ended."""

    address: Annotated[str, says("where: a URL, or the address of an instrument")]


class GradeNoted(View, frozen=True):
    """A grade that was noted of an item."""

    item: Annotated[str, says("name on the checklist")]
    grade: Annotated[str, says("`sound`, `slight` or `bad`")]
    consequence: Annotated[str, says("`measure`, `clean first` or `do not reuse`")]
    why: Annotated[str, says("a sentence")]


class GradesNoted(View, frozen=True):
    """The grades that were noted."""

    tag: Annotated[str, says("of the core or part")]
    noted: Annotated[list[GradeNoted], says("in the order told")]


def grades_noted(tag: str, graded: Iterable[tuple[str, ItemGrade]]) -> GradesNoted:
    """Return the grades that were noted of items, by name."""
    return GradesNoted(
        tag=tag,
        noted=[
            GradeNoted(item=item, grade=one.grade, consequence=f"{one.consequence}", why=one.why)
            for item, one in graded
        ],
    )
