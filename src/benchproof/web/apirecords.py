"""The API's operations on what was taken in: cores, units, parts, gear, people, the shelf."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Literal, get_args

from msgspec import Meta, Struct

from benchproof.conduct.families import choices, family_of, usable
from benchproof.conduct.shelved import shelved
from benchproof.record.rows import (
    ConditionRow,
    CoreRow,
    CustomerRow,
    GearRow,
    MoveRow,
    PartRow,
    PersonRow,
    UnitRow,
)
from benchproof.shop.condition import CHECKLIST, GRADES
from benchproof.web.openapi import Call, Operation

Tag = Annotated[str, Meta(min_length=1, max_length=40)]
Words = Annotated[str, Meta(max_length=4000)]
Initials = Annotated[str, Meta(max_length=40)]


class Search(Struct, forbid_unknown_fields=True):
    """What to list."""

    beginning: Annotated[str, Meta(max_length=80)] = ""
    limit: Annotated[int, Meta(ge=1, le=1000)] = 100


class FamilyChoice(Struct):
    """A family that a part can be of; `key` is what it is asked for by."""

    key: str
    name: str
    comes_along: bool


class NewCore(Struct, forbid_unknown_fields=True):
    """A core that is taken in."""

    tag: Tag
    family: Words = ""
    deposit: Literal["none", "owed", "paid", "returned"] = "none"
    missing: Words = ""
    damaged: Words = ""
    note: Words = ""


class NewUnit(Struct, forbid_unknown_fields=True):
    """A unit that is being rebuilt."""

    tag: Tag
    family: Words = ""
    customer: Tag | None = None
    serial: Words = ""
    complaint: Words = ""
    codes: Words = ""
    mileage_km: Annotated[int, Meta(ge=0, le=10_000_000)] | None = None


class NewPart(Struct, forbid_unknown_fields=True):
    """A part, of a family by its key."""

    tag: Tag
    family: Annotated[str, Meta(min_length=1, max_length=80)]
    maker_class: Literal["unknown", "original", "other"] = "unknown"
    core: Tag | None = None
    bought: bool = False
    note: Words = ""


class NewPerson(Struct, forbid_unknown_fields=True):
    """Somebody who works at the bench."""

    initials: Tag
    name: Words = ""


class NewCustomer(Struct, forbid_unknown_fields=True):
    """Somebody to whom a unit belongs."""

    tag: Tag
    name: Words = ""
    contact: Words = ""


class NewGear(Struct, forbid_unknown_fields=True):
    """A piece of bench gear."""

    tag: Tag
    kind: Literal["meter", "selector", "other"]
    calibrated_on: date | None = None
    due_on: date | None = None
    note: Words = ""


class Graded(Struct, forbid_unknown_fields=True):
    """How one item of the checklist looks."""

    item: Words
    grade: Words
    remark: Words = ""
    by: Initials | None = None


class Move(Struct, forbid_unknown_fields=True):
    """A move over the shelf."""

    to: Literal["stock", "reserved", "fitted", "returned", "scrapped"]
    unit: Tag | None = None
    by: Initials | None = None
    note: Words = ""


class Placed(Struct):
    """Where a part is, and who answers for it though it was not proved; empty if nobody must.

    `danger` is the signal word of what readings of its last proof show; empty if nothing.
    """

    danger: str
    move: MoveRow
    family: str
    override_by: str = ""
    override_reason: str = ""


class OnShelf(Struct, forbid_unknown_fields=True):
    """Which parts of the shelf to list."""

    state: Literal["stock", "reserved", "fitted", "returned", "scrapped"] | None = None
    unit: Annotated[str, Meta(max_length=80)] | None = None


def _families(call: Call) -> list[FamilyChoice]:
    return [FamilyChoice(one.key, one.name, one.comes_along) for one in choices(call.site.store)]


def _add_core(call: Call) -> CoreRow:
    new, store = call.body, call.site.store
    row = CoreRow(new.tag, store.now(), new.family, new.deposit, new.missing, new.damaged, new.note)
    store.cores.add(row)
    return row


def _add_unit(call: Call) -> UnitRow:
    new, store = call.body, call.site.store
    row = UnitRow(
        new.tag,
        store.now(),
        new.family,
        new.customer,
        new.serial,
        new.complaint,
        new.codes,
        new.mileage_km,
    )
    store.units.add(row)
    return row


def _add_part(call: Call) -> PartRow:
    new, store = call.body, call.site.store
    if new.core is not None and new.bought:
        raise refusal("A part is bought or taken from a core, not both.")
    kept = family_of(store, new.family)
    usable(kept.content, kept.family.name)
    row = PartRow(
        new.tag,
        kept.family.name,
        store.files.put(kept.content),
        store.now(),
        new.maker_class,
        new.core,
        new.bought,
        new.note,
    )
    store.parts.add(row)
    return row


def _add_gear(call: Call) -> GearRow:
    new = call.body
    if new.calibrated_on and new.due_on and new.due_on < new.calibrated_on:
        raise refusal("It is due before it was calibrated; look at the label again.")
    row = GearRow(new.tag, new.kind, None, new.calibrated_on, new.due_on, new.note)
    call.site.store.gear.add(row)
    return row


def _add_person(call: Call) -> PersonRow:
    row = PersonRow(call.body.initials, call.body.name)
    call.site.store.people.add(row)
    return row


def _add_customer(call: Call) -> CustomerRow:
    row = CustomerRow(call.body.tag, call.body.name, call.body.contact)
    call.site.store.customers.add(row)
    return row


def _grade(call: Call, core: str | None, part: str | None) -> ConditionRow:
    new = call.body
    if new.item not in {item.name for item in CHECKLIST} or new.grade not in GRADES:
        items = ", ".join(item.name for item in CHECKLIST)
        raise refusal(f"An item is one of {items}; a grade one of {', '.join(GRADES)}.")
    return call.site.store.conditions.note(
        core=core, part=part, item=new.item, grade=new.grade, remark=new.remark, by=new.by
    )


def _grade_core(call: Call) -> ConditionRow:
    return _grade(call, call.site.store.cores.get(call.path["tag"]).tag, None)


def _grade_part(call: Call) -> ConditionRow:
    return _grade(call, None, call.site.store.parts.get(call.path["tag"]).tag)


def _shelf(call: Call) -> list[Placed]:
    found = shelved(call.site.store, call.site.marks, state=call.query.state, unit=call.query.unit)
    return [
        Placed(one.danger, one.move, one.family, one.override_by, one.override_reason)
        for one in found
    ]


def _move(call: Call) -> MoveRow:
    new = call.body
    return call.site.store.shelf.move(call.path["tag"], new.to, new.unit, new.by, new.note)


def refusal(sentence: str) -> Exception:
    """Return what refuses a request that cannot be meant so."""
    from starlette.exceptions import HTTPException

    return HTTPException(422, sentence)


class Listing:
    """Lists a register of the archive by the beginning of a tag."""

    def __init__(self, kind: str) -> None:
        self._kind = kind

    def __call__(self, call: Call) -> object:
        """Return the rows."""
        register = call.site.store.register(self._kind)
        return register.list(call.query.beginning, call.query.limit)


class Getting:
    """Returns a row of a register of the archive."""

    def __init__(self, kind: str) -> None:
        self._kind = kind

    def __call__(self, call: Call) -> object:
        """Return the row."""
        return call.site.store.register(self._kind).get(call.path["tag"])


def _register(
    kind: str, rows: object, new: type[Struct], add: Callable[[Call], object], what: str
) -> tuple[Operation, ...]:
    (row,) = get_args(rows)
    path = f"/api/{kind}"
    return (
        Operation("GET", path, f"list_{kind}", f"List {what}.", rows, Listing(kind), Search),
        Operation("POST", path, f"add_{kind}", f"Record {what}.", row, add, body=new, status=201),
        Operation("GET", f"{path}/{{tag}}", f"get_{kind}", f"Show {what}.", row, Getting(kind)),
    )


OPERATIONS: tuple[Operation, ...] = (
    Operation(
        "GET", "/api/families", "list_families", "List families.", list[FamilyChoice], _families
    ),
    *_register("cores", list[CoreRow], NewCore, _add_core, "cores"),
    *_register("units", list[UnitRow], NewUnit, _add_unit, "units"),
    *_register("parts", list[PartRow], NewPart, _add_part, "parts"),
    *_register("gear", list[GearRow], NewGear, _add_gear, "bench gear"),
    *_register("people", list[PersonRow], NewPerson, _add_person, "people"),
    *_register("customers", list[CustomerRow], NewCustomer, _add_customer, "customers"),
    Operation(
        "POST",
        "/api/cores/{tag}/conditions",
        "grade_core",
        "Note how a core looks.",
        ConditionRow,
        _grade_core,
        body=Graded,
        status=201,
    ),
    Operation(
        "POST",
        "/api/parts/{tag}/conditions",
        "grade_part",
        "Note how a part looks.",
        ConditionRow,
        _grade_part,
        body=Graded,
        status=201,
    ),
    Operation("GET", "/api/shelf", "list_shelf", "List the shelf.", list[Placed], _shelf, OnShelf),
    Operation(
        "POST",
        "/api/parts/{tag}/moves",
        "move_part",
        "Move a part over the shelf.",
        MoveRow,
        _move,
        body=Move,
        status=201,
    ),
)
