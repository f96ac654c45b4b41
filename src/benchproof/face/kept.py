"""What is kept in the archive: cores, parts, units, the shelf, people, gear, and its checks."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from benchproof.face.examined import DangerView, dangers_shown
from benchproof.face.view import Day, FamilyName, Mode, Time, View, says
from benchproof.shop.condition import SEIZED, Item, consequence, latest

if TYPE_CHECKING:
    from benchproof.conduct.searching import FoundKind
    from benchproof.conduct.shelflist import Shelved
    from benchproof.family.danger import Danger
    from benchproof.record.rows import (
        ConditionRow,
        CoreRow,
        GearRow,
        MoveRow,
        PartRow,
        ProofRow,
        UnitRow,
    )
    from benchproof.record.salvage import Salvaged
    from benchproof.record.verifying import Verified as Looked
    from benchproof.report.letterhead import Letterhead

Shown = Annotated[
    str | None, says("signal word of the gravest danger that readings show; `null` if none")
]
By = Annotated[str | None, says("initials")]


class ShopView(View, frozen=True):
    """What the shop puts on its papers."""

    name: Annotated[str, says("the shop's name; empty if not set")]
    address: Annotated[str, says("its address, a line each")]
    signer: Annotated[
        str, says("whose name stands under the signature; empty for whoever closed the proof")
    ]
    logo: Annotated[bool, says("whether it has a logo of its own")]
    paper: Annotated[Literal["a4", "letter"], says("size of paper")]
    label: Annotated[
        Literal["small", "usual", "large"], says("size of label (docs/certificate.md)")
    ]
    distance: Annotated[Literal["km", "miles"], says("unit of the odometer")]
    temperature: Annotated[Literal["C", "F"], says("unit of temperatures, degrees")]
    language: Annotated[Literal["en", "es"], says("language of the papers")]


def shop_shown(head: "Letterhead") -> ShopView:
    """Return the shop's settings as they are shown."""
    return ShopView(**(asdict(head) | {"logo": bool(head.logo)}))


class CoreView(View, frozen=True):
    """A used unit or part taken in."""

    tag: Annotated[str, says("its tag")]
    added: Time
    family: Annotated[str, says("of the unit")]
    deposit: Annotated[
        Literal["none", "owed", "paid", "returned"], says("what became of the core deposit")
    ]
    missing: Annotated[str, says("what was missing")]
    damaged: Annotated[str, says("what was damaged")]
    note: Annotated[str, says("anything worth knowing")]


class Cores(View, frozen=True):
    """The cores."""

    cores: Annotated[list[CoreView], says("by tag")]


class ConditionView(View, frozen=True):
    """How an item looked."""

    number: Annotated[int, says("counts the notes of the archive")]
    core: Annotated[str | None, says("of which core")]
    part: Annotated[str | None, says("or of which part")]
    item: Annotated[str, says("name on the checklist")]
    grade: Annotated[str, says("`sound`, `slight` or `bad`")]
    remark: Annotated[str, says("what was seen, in words")]
    photograph: Annotated[str | None, says("its hash")]
    by: By
    at: Time


Consequence = Annotated[
    Literal["measure", "clean first", "do not reuse"] | None, says("`null` if nothing was noted")
]


class Core(CoreView, frozen=True):
    """A core, how it looked, and what came of it."""

    conditions: Annotated[list[ConditionView], says("the oldest first")]
    consequence: Consequence
    parts: Annotated[list[str], says("tags of the parts that were taken from it")]


class GradeView(View, frozen=True):
    """A grade of an item."""

    grade: Annotated[str, says("`sound`, `slight` or `bad`")]
    seen: Annotated[str, says("what is seen")]
    consequence: Annotated[str, says("`measure`, `clean first` or `do not reuse`")]
    why: Annotated[str, says("a sentence")]


class ItemView(View, frozen=True):
    """An item to look at."""

    item: Annotated[str, says("its name")]
    grades: Annotated[list[GradeView], says("from good to bad")]


class Checklist(View, frozen=True):
    """What to look at."""

    caution: Annotated[str, says("what not to do, a sentence")]
    items: Annotated[list[ItemView], says("in the order in which to look")]


class MoveView(View, frozen=True):
    """A step of a part's way over the shelf."""

    part: Annotated[str, says("tag of the part")]
    step: Annotated[int, says("counts the moves of this part")]
    state: Annotated[
        Literal["stock", "reserved", "fitted", "returned", "scrapped"],
        says("where it is from then on"),
    ]
    unit: Annotated[
        str | None, says("tag of the unit it is reserved for, fitted in, or came back from")
    ]
    proof: Annotated[str | None, says("the proof that put it into stock")]
    at: Time
    by: By
    note: Annotated[str, says("why")]


class MarkedMove(MoveView, frozen=True):
    """The last move of a part."""

    danger: Shown


class ShelvedView(MarkedMove, frozen=True):
    """A part on the shelf."""

    family: FamilyName
    override_by: Annotated[str | None, says("who answers for it though it was not proved")]
    override_reason: Annotated[str | None, says("and why")]


class ShelfView(View, frozen=True):
    """The last move of each part."""

    parts: Annotated[list[ShelvedView], says("what could hurt somebody first")]


class PartFields(View, frozen=True):
    """What is recorded of a part."""

    tag: Annotated[str, says("its tag")]
    family: FamilyName
    family_file: Annotated[str, says("hash of the family file")]
    added: Time
    maker_class: Annotated[
        Literal["original", "other", "unknown"],
        says("made by the maker of the unit, or by another"),
    ]
    core: Annotated[str | None, says("tag of the core")]
    bought: Annotated[bool, says("whether it was bought, rather than taken from a core")]
    note: Annotated[str, says("anything worth knowing")]


class PartView(PartFields, frozen=True):
    """A part of a list."""

    danger: Shown


class Parts(View, frozen=True):
    """The parts."""

    parts: Annotated[list[PartView], says("by tag")]


class HitView(View, frozen=True):
    """Something that a search found."""

    danger: Shown
    kind: Annotated[str, says("such as `parts`")]
    tag: Annotated[str, says("what it is called")]
    told: Annotated[str, says("what it is, in a line")]
    stands: Annotated[str, says("how it stands, such as what its proof ended as")]


class ProofRowView(View, frozen=True):
    """A proof of a part."""

    tag: Annotated[str, says("its tag")]
    part: Annotated[str, says("tag of the part")]
    number: Annotated[int, says("counts the proofs of the part")]
    mode: Mode
    opened_at: Time
    last_seq: Annotated[int, says("how many events")]
    head: Annotated[str, says("hash of the last event")]
    closed_as: Annotated[str | None, says("`null` while it is open")]


class PartInFull(PartFields, frozen=True):
    """A part with all that is known of it."""

    dangers: Annotated[list[DangerView], says("worst first")]
    conditions: Annotated[list[ConditionView], says("the oldest first")]
    consequence: Consequence
    proofs: Annotated[list[ProofRowView], says("the latest first")]
    moves: Annotated[list[MoveView], says("the oldest first")]


class UnitView(View, frozen=True):
    """A transmission being rebuilt."""

    tag: Annotated[str, says("its tag")]
    added: Time
    family: Annotated[str, says("of unit, as the shop calls it")]
    customer: Annotated[str | None, says("tag")]
    serial: Annotated[str, says("serial number")]
    complaint: Annotated[str, says("what the customer says")]
    codes: Annotated[str, says("trouble codes that were reported")]
    mileage_km: Annotated[int | None, says("when it came in, kilometers")]


class Units(View, frozen=True):
    """The units."""

    units: Annotated[list[UnitView], says("by tag")]


class UnitInFull(UnitView, frozen=True):
    """A unit and its parts."""

    parts: Annotated[list[MarkedMove], says("last moves of the parts on it or back from it")]


class PersonView(View, frozen=True):
    """Somebody who works at the bench."""

    initials: Annotated[str, says("which everything recorded bears")]
    name: Annotated[str, says("the whole name")]


class People(View, frozen=True):
    """The people."""

    people: Annotated[list[PersonView], says("by initials")]


class CustomerView(View, frozen=True):
    """Somebody to whom a unit belongs."""

    tag: Annotated[str, says("its tag")]
    name: Annotated[str, says("name")]
    contact: Annotated[str, says("one way to reach them")]


class Customers(View, frozen=True):
    """The customers."""

    customers: Annotated[list[CustomerView], says("by tag")]


class GearView(View, frozen=True):
    """A piece of gear."""

    tag: Annotated[str, says("its tag")]
    kind: Annotated[Literal["meter", "selector", "other"], says("what it is")]
    calibrated_on: Annotated[Day | None, says("when it was calibrated, ISO 8601")]
    due_on: Annotated[
        Day | None, says("when it must be calibrated again, ISO 8601; that day is still good")
    ]
    file: Annotated[str | None, says("hash of its file")]
    note: Annotated[str, says("anything worth knowing")]
    overdue: Annotated[bool, says("whether it must not be relied on")]


class GearList(View, frozen=True):
    """The gear."""

    gear: Annotated[list[GearView], says("by tag")]


class AlteredView(View, frozen=True):
    """What is not as recorded."""

    where: Annotated[str, says("a proof's tag, or which file")]
    sentence: Annotated[str, says("what is not as recorded")]


class VerifiedView(View, frozen=True):
    """What a check of the archive found."""

    proofs: Annotated[int, says("how many were looked at")]
    events: Annotated[int, says("how many were looked at")]
    contents: Annotated[int, says("files and photographs")]
    entries: Annotated[int, says("of the ledger")]
    sound: Annotated[int, says("how many proofs are as recorded")]
    altered: Annotated[list[AlteredView], says("empty if all is as recorded")]
    notes: Annotated[list[str], says("what has to be known to judge this, a sentence each")]
    benches: Annotated[list[str], says("names of the keys that signed")]
    head: Annotated[str, says("code of the ledger's end, to be compared another time")]


class SalvagedView(View, frozen=True):
    """What was taken out of a damaged archive."""

    kept: Annotated[dict[str, int], says("how many rows each table of the new archive has")]
    put_back: Annotated[int, says("how many rows were put back as the ledger tells them")]
    lost: Annotated[list[AlteredView], says("empty if nothing was lost")]


class Exported(View, frozen=True):
    """What was exported."""

    rows: Annotated[dict[str, int], says("how many rows each table has")]


_Row = TypeVar("_Row", bound=View)


def row_shown(shape: type[_Row], row: Any, **more: Any) -> _Row:  # noqa: ANN401  (any row)
    """Return a row of the archive, whose columns bear the names of the fields, and `more` of it."""
    fields = {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in asdict(row).items()
    }
    return shape(**fields, **more)


def rows_shown(shape: type[_Row], rows: Iterable[Any]) -> list[_Row]:
    """Return rows of the archive."""
    return [row_shown(shape, row) for row in rows]


def marked(shape: type[_Row], rows: Iterable[Any], words: Iterable[str]) -> list[_Row]:
    """Return rows of the archive, each with the signal word of what it is about."""
    return [row_shown(shape, row, danger=w or None) for row, w in zip(rows, words, strict=True)]


def core_shown(row: "CoreRow", notes: "Sequence[ConditionRow]", parts: "Iterable[PartRow]") -> Core:
    """Return a core, how it looked, and the parts that were taken from it."""
    return row_shown(Core, row, **_looked(notes), parts=[part.tag for part in parts])


def part_shown(
    row: "PartRow",
    dangers: "Iterable[Danger]",
    notes: "Sequence[ConditionRow]",
    proofs: "Iterable[ProofRow]",
    moves: "Iterable[MoveRow]",
) -> PartInFull:
    """Return a part, what could hurt somebody first."""
    return row_shown(
        PartInFull,
        row,
        dangers=dangers_shown(dangers),
        **_looked(notes),
        proofs=rows_shown(ProofRowView, proofs),
        moves=rows_shown(MoveView, moves),
    )


def unit_shown(row: "UnitRow", moves: "Sequence[MoveRow]", words: Mapping[str, str]) -> UnitInFull:
    """Return a unit and its parts, each with its signal word."""
    return row_shown(
        UnitInFull, row, parts=marked(MarkedMove, moves, [words[m.part] for m in moves])
    )


def shelf_shown(places: "Iterable[Shelved]") -> list[ShelvedView]:
    """Return where the parts are, and who answers for them."""
    return [
        row_shown(
            ShelvedView,
            one.move,
            danger=one.danger or None,
            family=one.family,
            override_by=one.override_by or None,
            override_reason=one.override_reason or None,
        )
        for one in places
    ]


def hits_shown(found: "Iterable[FoundKind]") -> list[HitView]:
    """Return what a search found."""
    return [
        HitView(danger=one.danger or None, kind=kind.name, tag=one.tag, told=one.told,
                stands=one.stands)
        for kind in found
        for one in kind.hits
    ]  # fmt: skip


def gear_shown(row: "GearRow", today: date) -> GearView:
    """Return a piece of gear, and whether its calibration has run out."""
    return row_shown(GearView, row, overdue=row.overdue(today))


def checklist_shown(items: Iterable[Item]) -> Checklist:
    """Return what to look at, and what follows from what is seen."""
    return Checklist(
        caution=SEIZED,
        items=[
            ItemView(item=item.name, grades=[row_shown(GradeView, one) for one in item.grades])
            for item in items
        ],
    )


def verified_shown(found: "Looked") -> VerifiedView:
    """Return what a check of the archive found."""
    return VerifiedView(
        proofs=found.proofs,
        events=found.events,
        contents=found.contents,
        entries=found.entries,
        sound=found.sound,
        notes=list(found.notes),
        benches=list(found.benches),
        head=found.head,
        altered=[AlteredView(where=one.where, sentence=one.sentence) for one in found.found],
    )


def salvaged_shown(told: "Salvaged") -> SalvagedView:
    """Return what was taken out of a damaged archive."""
    return SalvagedView(
        kept=told.kept,
        put_back=told.put_back,
        lost=[AlteredView(where=one.where, sentence=one.sentence) for one in told.lost],
    )


def _looked(notes: "Sequence[ConditionRow]") -> dict[str, Any]:
    found = consequence(latest(notes))
    return {
        "conditions": rows_shown(ConditionView, notes),
        "consequence": None if found is None else found.value,
    }
