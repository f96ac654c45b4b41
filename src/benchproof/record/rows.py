"""What the archive holds, one frozen dataclass a table; fields bear the names of the columns."""

from dataclasses import dataclass, fields
from datetime import date, datetime
from functools import cache
from typing import Any, TypeVar, get_args, get_type_hints

from benchproof.record.problems import Altered

_T = TypeVar("_T")


def row_of(row_type: type[_T], found: Any) -> _T:  # noqa: ANN401  (a row of any columns)
    """Return a row of the database as its dataclass; its columns come in the order of the fields.

    Raises
    ------
    Altered
        If a value is of another type: SQLite lets another program write anything anywhere.
    """
    allowed = _types(row_type)  # type: ignore[arg-type]  # a class is hashable
    values = tuple(found)[: len(allowed)]
    for value, (name, types) in zip(values, allowed, strict=True):
        if type(value) not in types:
            raise Altered(f"{str(values[0])[:40]!r}: its {name.replace('_', ' ')} was altered")
    return row_type(*values)


@cache
def _types(row_type: type[Any]) -> tuple[tuple[str, tuple[type, ...]], ...]:
    hints = get_type_hints(row_type)
    named = (field.name for field in fields(row_type))
    return tuple((name, get_args(hints[name]) or (hints[name],)) for name in named)


@dataclass(frozen=True, slots=True)
class PersonRow:
    """Somebody who works at the bench."""

    initials: str
    name: str


@dataclass(frozen=True, slots=True)
class CustomerRow:
    """Whom a unit belongs to; no more than is needed to give it back."""

    tag: str
    name: str
    contact: str = ""


@dataclass(frozen=True, slots=True)
class GearRow:
    """A meter, a selector box or other bench gear.

    Attributes
    ----------
    kind : str
        "meter", "selector" or "other".
    file : str or None
        Hash of its meter file or bench profile, in `files`.
    due_on : date or None
        When it must be calibrated again.
    """

    tag: str
    kind: str
    file: str | None = None
    calibrated_on: date | None = None
    due_on: date | None = None
    note: str = ""

    def overdue(self, on: date) -> bool:
        """Tell whether its calibration has run out; the due date itself is still good."""
        return self.due_on is not None and on > self.due_on


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A transmission being rebuilt.

    Attributes
    ----------
    family : str
        Family of unit, as the shop calls it.
    customer : str or None
        Tag of the customer.
    codes : str
        Trouble codes that were reported, as written.
    mileage_km : int or None
        At the time it came in.
    """

    tag: str
    added: datetime
    family: str = ""
    customer: str | None = None
    serial: str = ""
    complaint: str = ""
    codes: str = ""
    mileage_km: int | None = None


@dataclass(frozen=True, slots=True)
class CoreRow:
    """A used unit or part taken in.

    Attributes
    ----------
    family : str
        Family of unit, as the shop calls it.
    deposit : str
        "none", "owed", "paid" or "returned".
    missing, damaged : str
        What was missing or damaged when it came in.
    """

    tag: str
    added: datetime
    family: str = ""
    deposit: str = "none"
    missing: str = ""
    damaged: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class PartRow:
    """One physical component.

    Attributes
    ----------
    family : str
        Name of its family.
    family_file : str
        Hash of the family file, in `files`.
    maker_class : str
        "original", "other" or "unknown".
    core : str or None
        Tag of the core it was taken from.
    bought : bool
        Bought, rather than taken from a core.
    """

    tag: str
    family: str
    family_file: str
    added: datetime
    maker_class: str = "unknown"
    core: str | None = None
    bought: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class ProofRow:
    """A proof as lists show it; what happened in it stands in its events."""

    tag: str
    part: str
    number: int
    mode: str
    opened_at: datetime
    closed_as: str | None
    last_seq: int
    head: str


@dataclass(frozen=True, slots=True)
class ConditionRow:
    """A grade noted at intake for one item of the checklist, of a core or of a part.

    Attributes
    ----------
    number : int
        Counts the notes of the archive.
    core, part : str or None
        One of the two.
    item, grade : str
        As the checklist names them (`shop.condition`).
    photograph : str or None
        Hash, in `photographs`.
    """

    number: int
    core: str | None
    part: str | None
    item: str
    grade: str
    remark: str
    photograph: str | None
    by: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class ShopRow:
    """What the shop puts on its papers, as it was set once; the last row counts.

    Attributes
    ----------
    number : int
        Counts the rows.
    name, address : str
        Of the shop; the address may have several lines.
    signer : str
        Whose name stands under the signature; empty for whoever closed the proof.
    logo : str or None
        Hash of the shop's own logo, in `files`.
    paper, label : str
        Sizes by their names.
    distance, temperature : str
        Units: "km" or "miles", "C" or "F".
    language : str
        Code of the papers' language.
    """

    number: int
    name: str
    address: str
    signer: str
    logo: str | None
    paper: str
    label: str
    distance: str
    temperature: str
    language: str
    by: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class MoveRow:
    """A step of a part's way over the shelf.

    Attributes
    ----------
    step : int
        Counts the moves of this part.
    state : str
        "stock", "reserved", "fitted", "returned" or "scrapped".
    unit : str or None
        Which unit it is reserved for, fitted in, or came back from.
    proof : str or None
        The accepted proof that put it into stock.
    """

    part: str
    step: int
    state: str
    unit: str | None
    proof: str | None
    at: datetime
    by: str | None
    note: str


@dataclass(frozen=True, slots=True)
class PhotographRow:
    """A photograph without its picture."""

    hash: str
    name: str
    width: int
    height: int
    added: datetime
