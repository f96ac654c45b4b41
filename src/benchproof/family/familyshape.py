"""The shape of a family file in TOML, and its JSON Schema."""

from functools import cache, reduce
from operator import or_
from typing import Annotated, Any, Literal, Protocol, cast

import msgspec
from msgspec import Meta, Struct

from benchproof.family.branches import BranchLike
from benchproof.family.model import MARK_LINE_MM, Pair
from benchproof.family.names import MOST_PAIRS, MOST_PINS, MOST_POSITIONS
from benchproof.family.tomlfile import Ohms, Text

MOST_MEMBERS = 20
"""So many parts does an assembly have at most."""
_MOST_BRANCHES = Meta(max_length=2000)
Angle = Annotated[float, Meta(ge=-720, le=720)]
PairText = Annotated[str, Meta(min_length=3, description="two pins or nodes, as 'A-B'")]

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


class BranchRow(Protocol):
    """A branch of a file being read: notes its problems, reads what is typed in it."""

    has_lever: bool
    """Whether the part has a lever."""
    has_detents: bool
    """Whether the family tells its detents."""

    def problem(self, sentence: str, *path: str | int) -> None:
        """Note what is wrong with the branch, or with the value at a path in it."""

    def ohm(self, text: str, *path: str | int) -> float:
        """Return a resistance above zero, infinite if open; note what is wrong with it."""

    def position(self, text: str, *path: str | int) -> str:
        """Return the name of a position; note what is wrong with it."""


class BranchFile(Struct, forbid_unknown_fields=True, tag_field="kind"):
    """One thing between two nodes: every kind of branch has such a shape with a tag of its own."""

    between: PairText

    def branch(self, ends: Pair, row: BranchRow) -> BranchLike:
        """Return the branch between two nodes, noting what does not fit together."""
        raise NotImplementedError


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
    """One kind of part: pins, lever positions if it has any, what every pair should read."""

    name: Text
    pins: Annotated[list[Text | PinFile], Meta(min_length=2, max_length=MOST_PINS)]
    chart: Annotated[list[ChartRowFile], Meta(min_length=1, max_length=MOST_PAIRS)]
    positions: (
        Annotated[
            list[Text],
            Meta(
                min_length=1,
                max_length=MOST_POSITIONS,
                description="in lever order; left out for a part without a lever",
            ),
        ]
        | None
    ) = None
    note: str = ""
    detents_deg: Annotated[list[Angle], Meta(description="one a position, rising")] | None = None
    mark_radius_mm: Annotated[float, Meta(gt=0, le=1000)] | None = None
    mark_line_mm: Annotated[float, Meta(gt=0, le=20)] = MARK_LINE_MM
    viewed_from: str = ""
    offset_grows: Literal["clockwise", "counter-clockwise"] | None = None
    machine: Literal["road", "farm"] = "road"
    park: list[Text] | None = None
    neutral: list[Text] | None = None
    reverse: list[Text] | None = None
    limits: LimitsFile = msgspec.field(default_factory=LimitsFile)
    inner: Annotated[list[Text], Meta(max_length=500, description="nodes inside the part")] = []
    branches: Annotated[list[BranchFile], _MOST_BRANCHES] = []
    range_code: RangeCodeFile | None = None
    consequences: Annotated[list[ConsequenceFile], Meta(max_length=200)] = []
    said: SaidFile = msgspec.field(default_factory=SaidFile)


class AssemblyFile(Struct, forbid_unknown_fields=True):
    """Parts that a harness joins: the pins are those of the connector at which the meter is.

    A branch's ends are pins, inner nodes, and the pins of members as 'switch.A'.
    """

    name: Text
    pins: Annotated[list[Text | PinFile], Meta(min_length=2, max_length=MOST_PINS)]
    members: Annotated[dict[Text, FamilyFile], Meta(min_length=1, max_length=MOST_MEMBERS)]
    note: str = ""
    limits: LimitsFile | None = None
    inner: Annotated[list[Text], Meta(max_length=500, description="splices")] = []
    branches: Annotated[list[BranchFile], _MOST_BRANCHES] = []
    chart: Annotated[list[ChartRowFile], Meta(max_length=MOST_PAIRS)] = []
    said: SaidFile = msgspec.field(default_factory=SaidFile)


@cache
def shape_of(kinds: tuple[type[BranchFile], ...]) -> type[FamilyFile]:
    """Return the shape of a family file whose branches are of some kinds."""
    any_of: Any = reduce(or_, kinds)
    told: Any = Annotated[list[any_of], _MOST_BRANCHES]
    fields: list[Any] = [("branches", told, msgspec.field(default_factory=list))]
    namespace = {"__doc__": FamilyFile.__doc__}
    shape = msgspec.defstruct("FamilyFile", fields, bases=(FamilyFile,), namespace=namespace)
    return cast("type[FamilyFile]", shape)


@cache
def assembly_shape_of(kinds: tuple[type[BranchFile], ...]) -> type[AssemblyFile]:
    """Return the shape of an assembly file whose branches are of some kinds."""
    any_of: Any = reduce(or_, kinds)
    branches: Any = Annotated[list[any_of], _MOST_BRANCHES]
    part: Any = shape_of(kinds)
    members: Any = Annotated[dict[Text, part], Meta(min_length=1, max_length=MOST_MEMBERS)]
    fields: list[Any] = [
        ("members", members),
        ("branches", branches, msgspec.field(default_factory=list)),
    ]
    namespace = {"__doc__": AssemblyFile.__doc__}
    shape = msgspec.defstruct("AssemblyFile", fields, bases=(AssemblyFile,), namespace=namespace)
    return cast("type[AssemblyFile]", shape)


def json_schema(kinds: tuple[type[BranchFile], ...]) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a file whose branches are of some kinds.

    It is that of a part by itself or of an assembly.
    """
    shapes = shape_of(kinds), assembly_shape_of(kinds)
    either, defined = msgspec.json.schema_components(shapes, ref_template="#/$defs/{name}")
    draft = "https://json-schema.org/draft/2020-12/schema"
    return {"$schema": draft, "anyOf": [*either], "$defs": defined}
