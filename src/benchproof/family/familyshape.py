"""The shape of a family file in TOML, and its JSON Schema."""

from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.family.model import MARK_LINE_MM
from benchproof.family.names import MOST_PAIRS, MOST_PINS, MOST_POSITIONS
from benchproof.family.tomlfile import Ohms, Text

Angle = Annotated[float, Meta(ge=-720, le=720)]
PairText = Annotated[str, Meta(min_length=3, description="two pins or nodes, as 'A-B'")]

DwellFile = Annotated[
    list[Angle], Meta(min_length=2, max_length=2, description="[from, to], in degrees")
]
# Without the middle part a line end after the last digit would be let in.
Word = Annotated[str, Meta(pattern=r"^[01]+(?!\n)$", description="digits 0 and 1")]


class PinFile(Struct, forbid_unknown_fields=True):
    """A pin with its row and column in the connector, counted from 1, seen from the mating side."""

    name: Text
    place: (
        Annotated[list[Annotated[int, Meta(ge=1, le=1000)]], Meta(min_length=2, max_length=2)]
        | None
    ) = None


class LimitsFile(Struct, forbid_unknown_fields=True):
    """Where closed ends and open begins."""

    closed_at_most: Ohms = "2 ohm"
    open_at_least: Ohms = "10 kohm"
    tolerance_percent: Annotated[float, Meta(gt=0, lt=100)] = 10.0


class ChartRowFile(Struct, forbid_unknown_fields=True):
    """One pair of the chart; without `expect` the row is computed from the branches."""

    pair: PairText
    expect: list[str] | None = None
    role: str = ""


class ContactFile(Struct, forbid_unknown_fields=True, tag_field="kind", tag="contact"):
    """A contact that the lever moves: closed over dwells of shaft angle, or in named positions."""

    between: PairText
    dwells_deg: Annotated[list[DwellFile], Meta(min_length=1, max_length=100)] | None = None
    closed_in: Annotated[list[Text], Meta(min_length=1)] | None = None
    closed: Ohms = "0.05 ohm"
    open: Ohms = "open"


class ResistorFile(Struct, forbid_unknown_fields=True, tag_field="kind", tag="resistor"):
    """A fixed resistor."""

    between: PairText
    value: Ohms


BranchFile = ContactFile | ResistorFile


class RangeCodeFile(Struct, forbid_unknown_fields=True):
    """The controller's words: one 0 or 1 a range bit, in chart order."""

    words: dict[str, Word]
    transit: list[Word] = []


class SaidFile(Struct, forbid_unknown_fields=True):
    """What somebody said of a family after its file was written, taken over what stands above."""

    park: list[Text] | None = None
    neutral: list[Text] | None = None
    reverse: list[Text] | None = None
    roles: dict[str, str] = {}
    start_permit: Literal["none"] | None = None
    permit_reason: Annotated[str, Meta(max_length=400)] = ""


OnOff = Literal["on", "off"]


class ConsequenceFile(Struct, forbid_unknown_fields=True):
    """What the vehicle does when the controller sees something: a condition and its sentence."""

    name: Text
    grade: Literal["hazard", "drivability", "nuisance"]
    sentence: Annotated[str, Meta(min_length=1, max_length=400)]
    engaged: Annotated[list[Text], Meta(max_length=MOST_POSITIONS)] = []
    read: Annotated[list[Text], Meta(max_length=MOST_POSITIONS)] = []
    start: OnOff | None = None
    reverse: OnOff | None = None
    where: Literal["detent", "between", "anywhere"] = "detent"


class FamilyFile(Struct, forbid_unknown_fields=True):
    """One kind of part: its pins, its lever positions and what every pair should read in each."""

    name: Text
    positions: Annotated[
        list[Text], Meta(min_length=1, max_length=MOST_POSITIONS, description="in lever order")
    ]
    pins: Annotated[list[Text | PinFile], Meta(min_length=2, max_length=MOST_PINS)]
    chart: Annotated[list[ChartRowFile], Meta(min_length=1, max_length=MOST_PAIRS)]
    note: str = ""
    detents_deg: Annotated[list[Angle], Meta(description="one a position, rising")] | None = None
    mark_radius_mm: Annotated[float, Meta(gt=0, le=1000)] | None = None
    mark_line_mm: Annotated[float, Meta(gt=0, le=20)] = MARK_LINE_MM
    viewed_from: str = ""
    offset_grows: Literal["clockwise", "counter-clockwise"] | None = None
    park: list[Text] | None = None
    neutral: list[Text] | None = None
    reverse: list[Text] | None = None
    limits: LimitsFile = msgspec.field(default_factory=LimitsFile)
    inner: Annotated[list[Text], Meta(max_length=500, description="nodes inside the part")] = []
    branches: Annotated[list[BranchFile], Meta(max_length=2000)] = []
    range_code: RangeCodeFile | None = None
    consequences: Annotated[list[ConsequenceFile], Meta(max_length=200)] = []
    said: SaidFile = msgspec.field(default_factory=SaidFile)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a family file."""
    schema = msgspec.json.schema(FamilyFile)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
