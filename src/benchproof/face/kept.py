"""What is kept in the archive: cores, parts, units, the shelf, people, gear, and its checks."""

from typing import Annotated, Literal

from benchproof.face.examined import DangerView
from benchproof.face.view import View, says

Time = Annotated[str, says("time in UTC, ISO 8601")]
Shown = Annotated[
    str | None, says("signal word of the gravest danger that readings show; `null` if none")
]
By = Annotated[str | None, says("initials")]


class CoreView(View):
    """A used unit or part taken in."""

    tag: str
    added: Time
    family: Annotated[str, says("of the unit")]
    deposit: Literal["none", "owed", "paid", "returned"]
    missing: str
    damaged: str
    note: str


class Cores(View):
    """The cores."""

    cores: Annotated[list[CoreView], says("by tag")]


class ConditionView(View):
    """How an item looked."""

    number: Annotated[int, says("counts the notes of the archive")]
    core: Annotated[str | None, says("of which core")]
    part: Annotated[str | None, says("or of which part")]
    item: str
    grade: str
    remark: str
    photograph: Annotated[str | None, says("its hash")]
    by: By
    at: Time


Consequence = Annotated[
    Literal["measure", "clean first", "do not reuse"] | None, says("`null` if nothing was noted")
]


class Core(CoreView):
    """A core, how it looked, and what came of it."""

    conditions: Annotated[list[ConditionView], says("the oldest first")]
    consequence: Consequence
    parts: Annotated[list[str], says("tags of the parts that were taken from it")]


class GradeView(View):
    """A grade of an item."""

    grade: str
    seen: str
    consequence: str
    why: str


class ItemView(View):
    """An item to look at."""

    item: str
    grades: list[GradeView]


class Checklist(View):
    """What to look at."""

    caution: Annotated[str, says("what not to do, a sentence")]
    items: list[ItemView]


class MoveView(View):
    """A step of a part's way over the shelf."""

    part: str
    step: Annotated[int, says("counts the moves of this part")]
    state: Literal["stock", "reserved", "fitted", "returned", "scrapped"]
    unit: str | None
    proof: Annotated[str | None, says("the proof that put it into stock")]
    at: Time
    by: By
    note: str


class MarkedMove(MoveView):
    """The last move of a part."""

    danger: Shown


class ShelvedView(MarkedMove):
    """A part on the shelf."""

    family: str
    override_by: Annotated[str | None, says("who answers for it though it was not proved")]
    override_reason: Annotated[str | None, says("and why")]


class Shelf(View):
    """The last move of each part."""

    parts: list[ShelvedView]


class PartFields(View):
    """What is recorded of a part."""

    tag: str
    family: str
    family_file: Annotated[str, says("hash of the family file")]
    added: Time
    maker_class: Literal["original", "other", "unknown"]
    core: Annotated[str | None, says("tag of the core")]
    bought: bool
    note: str


class PartView(PartFields):
    """A part of a list."""

    danger: Shown


class Parts(View):
    """The parts."""

    parts: Annotated[list[PartView], says("by tag")]


class ProofRowView(View):
    """A proof of a part."""

    tag: str
    part: str
    number: int
    mode: Literal["find", "prove"]
    opened_at: Time
    last_seq: Annotated[int, says("how many events")]
    head: Annotated[str, says("hash of the last event")]
    closed_as: Annotated[str | None, says("`null` while it is open")]


class Part(PartFields):
    """A part with all that is known of it."""

    dangers: Annotated[list[DangerView], says("worst first")]
    conditions: list[ConditionView]
    consequence: Consequence
    proofs: Annotated[list[ProofRowView], says("the latest first")]
    moves: Annotated[list[MoveView], says("the oldest first")]


class UnitView(View):
    """A transmission being rebuilt."""

    tag: str
    added: Time
    family: str
    customer: Annotated[str | None, says("tag")]
    serial: str
    complaint: str
    codes: str
    mileage_km: int | None


class Units(View):
    """The units."""

    units: Annotated[list[UnitView], says("by tag")]


class Unit(UnitView):
    """A unit and its parts."""

    parts: Annotated[list[MarkedMove], says("last moves of the parts on it or back from it")]


class PersonView(View):
    """Somebody who works at the bench."""

    initials: str
    name: str


class People(View):
    """The people."""

    people: list[PersonView]


class CustomerView(View):
    """Somebody to whom a unit belongs."""

    tag: str
    name: str
    contact: str


class Customers(View):
    """The customers."""

    customers: list[CustomerView]


class GearView(View):
    """A piece of gear."""

    tag: str
    kind: Literal["meter", "selector", "other"]
    calibrated_on: str | None
    due_on: str | None
    file: Annotated[str | None, says("hash of its file")]
    note: str
    overdue: Annotated[bool, says("whether it must not be relied on")]


class GearList(View):
    """The gear."""

    gear: Annotated[list[GearView], says("by tag")]


class AlteredView(View):
    """What is not as recorded."""

    where: Annotated[str, says("a proof's tag, or which file")]
    sentence: str


class Verified(View):
    """What a check of the archive found."""

    proofs: int
    events: int
    contents: Annotated[int, says("files and photographs")]
    altered: Annotated[list[AlteredView], says("empty if all is as recorded")]


class Exported(View):
    """What was exported."""

    rows: Annotated[dict[str, int], says("how many rows each table has")]
