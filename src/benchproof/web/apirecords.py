"""The API's operations on what was taken in: cores, units, parts, gear, people, the shelf."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal, get_args

from msgspec import Meta, Struct

from benchproof.conduct.families import choices, family_of, usable
from benchproof.conduct.people import check_somebody
from benchproof.conduct.searching import search
from benchproof.conduct.shelflist import shelved
from benchproof.conduct.shelving import move_part
from benchproof.conduct.shopsettings import CHOICES, WORDS, letterhead, set_shop
from benchproof.face.checked import FamilyChoiceView, families_shown
from benchproof.face.kept import (
    ConditionView,
    Core,
    CoreView,
    CustomerView,
    GearView,
    HitView,
    MoveView,
    PartInFull,
    PartView,
    PersonView,
    ShelvedView,
    ShopView,
    UnitInFull,
    UnitView,
    core_shown,
    gear_shown,
    hits_shown,
    marked,
    part_shown,
    row_shown,
    rows_shown,
    shelf_shown,
    shop_shown,
    unit_shown,
)
from benchproof.face.view import View
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.shop.condition import CHECKLIST, GRADES
from benchproof.web.openapi import Call, Operation

Tag = Annotated[str, Meta(min_length=1, max_length=40)]
Words = Annotated[str, Meta(max_length=4000)]
Initials = Annotated[str, Meta(max_length=40)]


class Search(Struct, forbid_unknown_fields=True):
    """What to list."""

    beginning: Annotated[str, Meta(max_length=80)] = ""
    limit: Annotated[int, Meta(ge=1, le=1000)] = 100


class Anything(Struct, forbid_unknown_fields=True):
    """Words to look for."""

    q: Annotated[str, Meta(max_length=80)] = ""


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
    another: bool = False


class ShopSet(Struct, forbid_unknown_fields=True):
    """Settings of the shop's papers; what is left out stays as it is."""

    name: Annotated[str, Meta(max_length=80)] | None = None
    address: Annotated[str, Meta(max_length=300)] | None = None
    signer: Annotated[str, Meta(max_length=80)] | None = None
    paper: Literal["a4", "letter"] | None = None
    label: Literal["small", "usual", "large"] | None = None
    distance: Literal["km", "miles"] | None = None
    temperature: Literal["C", "F"] | None = None
    language: Literal["en", "es"] | None = None
    by: Initials | None = None


class OnShelf(Struct, forbid_unknown_fields=True):
    """Which parts of the shelf to list."""

    state: Literal["stock", "reserved", "fitted", "returned", "scrapped"] | None = None
    unit: Annotated[str, Meta(max_length=80)] | None = None


def _families(call: Call) -> list[FamilyChoiceView]:
    return families_shown(choices(call.site.store))


def _search(call: Call) -> list[HitView]:
    return hits_shown(search(call.site.store, call.site.marks, call.query.q))


def _add_core(call: Call) -> CoreView:
    new, store = call.body, call.site.store
    row = CoreRow(new.tag, store.now(), new.family, new.deposit, new.missing, new.damaged, new.note)
    store.cores.add(row)
    return row_shown(CoreView, row)


def _add_unit(call: Call) -> UnitView:
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
    return row_shown(UnitView, row)


def _add_part(call: Call) -> PartView:
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
    # Of a part just recorded nothing was read yet.
    return row_shown(PartView, row, danger=None)


def _add_gear(call: Call) -> GearView:
    new = call.body
    if new.calibrated_on and new.due_on and new.due_on < new.calibrated_on:
        raise refusal("It is due before it was calibrated; look at the label again.")
    row = GearRow(new.tag, new.kind, None, new.calibrated_on, new.due_on, new.note)
    call.site.store.gear.add(row)
    return gear_shown(row, _today(call))


def _add_person(call: Call) -> PersonView:
    row = PersonRow(call.body.initials, call.body.name)
    call.site.store.people.add(row)
    return row_shown(PersonView, row)


def _add_customer(call: Call) -> CustomerView:
    row = CustomerRow(call.body.tag, call.body.name, call.body.contact)
    call.site.store.customers.add(row)
    return row_shown(CustomerView, row)


def _grade(call: Call, core: str | None, part: str | None) -> ConditionView:
    new = call.body
    if new.item not in {item.name for item in CHECKLIST} or new.grade not in GRADES:
        items = ", ".join(item.name for item in CHECKLIST)
        raise refusal(f"An item is one of {items}; a grade one of {', '.join(GRADES)}.")
    check_somebody(call.site.store, new.by)
    row = call.site.store.conditions.note(
        core=core, part=part, item=new.item, grade=new.grade, remark=new.remark, by=new.by
    )
    return row_shown(ConditionView, row)


def _grade_core(call: Call) -> ConditionView:
    return _grade(call, call.site.store.cores.get(call.path["tag"]).tag, None)


def _grade_part(call: Call) -> ConditionView:
    return _grade(call, None, call.site.store.parts.get(call.path["tag"]).tag)


def _shelf(call: Call) -> list[ShelvedView]:
    asked, site = call.query, call.site
    return shelf_shown(shelved(site.store, site.marks, state=asked.state, unit=asked.unit))


def _move(call: Call) -> MoveView:
    new = call.body
    check_somebody(call.site.store, new.by)
    row = move_part(
        call.site.store,
        call.path["tag"],
        new.to,
        new.unit,
        new.by,
        new.note,
        another=new.another,
    )
    return row_shown(MoveView, row)


def _shop(call: Call) -> ShopView:
    return shop_shown(letterhead(call.site.store))


def _set_shop(call: Call) -> ShopView:
    new, store = call.body, call.site.store
    check_somebody(store, new.by)
    told = {name: getattr(new, name) for name in (*WORDS, *CHOICES)}
    changed = {name: value for name, value in told.items() if value is not None}
    return shop_shown(set_shop(store, changed, by=new.by))


def _today(call: Call) -> date:
    return call.site.store.now().astimezone().date()


def refusal(sentence: str) -> Exception:
    """Return what refuses a request that cannot be meant so."""
    from starlette.exceptions import HTTPException

    return HTTPException(422, sentence)


def _list(call: Call, kind: str) -> list[Any]:
    return call.site.store.register(kind).list(call.query.beginning, call.query.limit)


def _list_parts(call: Call) -> list[PartView]:
    rows = _list(call, "parts")
    return marked(PartView, rows, [call.site.marks.of_part(row.tag) for row in rows])


def _list_gear(call: Call) -> list[GearView]:
    return [gear_shown(row, _today(call)) for row in _list(call, "gear")]


def _core(call: Call) -> Core:
    tag, store = call.path["tag"], call.site.store
    row = store.cores.get(tag)
    return core_shown(row, store.conditions.list(core=row.tag), store.parts.list(core=row.tag))


def _unit(call: Call) -> UnitInFull:
    store, marks = call.site.store, call.site.marks
    row = store.units.get(call.path["tag"])
    moves = [move for move, _ in store.shelf.list(unit=row.tag)]
    return unit_shown(row, moves, {move.part: marks.of_part(move.part) for move in moves})


def _part(call: Call) -> PartInFull:
    store = call.site.store
    row = store.parts.get(call.path["tag"])
    return part_shown(
        row,
        call.site.marks.dangers_of_part(row.tag),
        store.conditions.list(part=row.tag),
        store.proofs.list(part=row.tag),
        store.shelf.moves(row.tag),
    )


def _gear(call: Call) -> GearView:
    return gear_shown(call.site.store.gear.get(call.path["tag"]), _today(call))


def _person(call: Call) -> PersonView:
    return row_shown(PersonView, call.site.store.people.get(call.path["tag"]))


def _customer(call: Call) -> CustomerView:
    return row_shown(CustomerView, call.site.store.customers.get(call.path["tag"]))


class Listing:
    """Lists a register of which every row is shown by itself."""

    def __init__(self, kind: str, shape: type[View]) -> None:
        self._kind, self._shape = kind, shape

    def __call__(self, call: Call) -> list[View]:
        """Return the rows."""
        return rows_shown(self._shape, _list(call, self._kind))


_Do = Callable[[Call], object]


def _register(
    kind: str,
    rows: object,
    whole: type[View],
    new: type[Struct],
    add: _Do,
    get: _Do,
    lists: _Do | None = None,
    what: str = "",
) -> tuple[Operation, ...]:
    """Return what can be done with a register: list its rows, record one, show one whole."""
    (row,), what = get_args(rows), what or kind
    lists, path = lists or Listing(kind, row), f"/api/{kind}"
    return (
        Operation("GET", path, f"list_{kind}", f"List {what}.", rows, lists, Search),
        Operation("POST", path, f"add_{kind}", f"Record {what}.", row, add, body=new, status=201),
        Operation("GET", f"{path}/{{tag}}", f"get_{kind}", f"Show {what}.", whole, get),
    )


OPERATIONS: tuple[Operation, ...] = (
    Operation(
        "GET", "/api/families", "list_families", "List families.", list[FamilyChoiceView], _families
    ),
    Operation(
        "GET",
        "/api/search",
        "search",
        "Find anything by its words.",
        list[HitView],
        _search,
        query=Anything,
    ),
    *_register("cores", list[CoreView], Core, NewCore, _add_core, _core),
    *_register("units", list[UnitView], UnitInFull, NewUnit, _add_unit, _unit),
    *_register("parts", list[PartView], PartInFull, NewPart, _add_part, _part, _list_parts),
    *_register(
        "gear", list[GearView], GearView, NewGear, _add_gear, _gear, _list_gear, "bench gear"
    ),
    *_register("people", list[PersonView], PersonView, NewPerson, _add_person, _person),
    *_register(
        "customers", list[CustomerView], CustomerView, NewCustomer, _add_customer, _customer
    ),
    Operation(
        "POST",
        "/api/cores/{tag}/conditions",
        "grade_core",
        "Note how a core looks.",
        ConditionView,
        _grade_core,
        body=Graded,
        status=201,
    ),
    Operation(
        "POST",
        "/api/parts/{tag}/conditions",
        "grade_part",
        "Note how a part looks.",
        ConditionView,
        _grade_part,
        body=Graded,
        status=201,
    ),
    Operation("GET", "/api/shop", "get_shop", "Show what stands on papers.", ShopView, _shop),
    Operation(
        "POST",
        "/api/shop",
        "set_shop",
        "Change what stands on papers; the logo is sent on the page.",
        ShopView,
        _set_shop,
        body=ShopSet,
    ),
    Operation(
        "GET", "/api/shelf", "list_shelf", "List the shelf.", list[ShelvedView], _shelf, OnShelf
    ),
    Operation(
        "POST",
        "/api/parts/{tag}/moves",
        "move_part",
        "Move a part over the shelf.",
        MoveView,
        _move,
        body=Move,
        status=201,
    ),
)
