"""A family file in TOML: its shape, its JSON Schema, and its reader."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta, Struct

from benchproof.family.branches import CASE, Branch, Contact, Dwell, Resistor
from benchproof.family.expectation import ANY, Limits, parse_expectation
from benchproof.family.model import (
    ChartRow,
    Family,
    Pin,
    RangeCode,
    Role,
    usual_positions,
)
from benchproof.family.names import match_name, match_pair, named, parse_role
from benchproof.family.ohms import Quantity, parse_ohms
from benchproof.family.problems import quoted
from benchproof.family.tomlfile import Ohms, Text, TomlFile

Angle = Annotated[float, Meta(ge=-720, le=720)]
PairText = Annotated[str, Meta(min_length=3, description="two pins or nodes, as 'A-B'")]


class PinFile(Struct, forbid_unknown_fields=True):
    """A pin with its row and column in the connector, counted from 1, seen from the mating side."""

    name: Text
    place: Annotated[list[Annotated[int, Meta(ge=1)]], Meta(min_length=2, max_length=2)] | None = (
        None
    )


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
    dwells_deg: (
        list[Annotated[list[Angle], Meta(min_length=2, max_length=2, description="from, to")]]
        | None
    ) = None
    closed_in: list[Text] | None = None
    closed: Ohms = "0.05 ohm"
    open: Ohms = "open"


class ResistorFile(Struct, forbid_unknown_fields=True, tag_field="kind", tag="resistor"):
    """A fixed resistor."""

    between: PairText
    value: Ohms


BranchFile = ContactFile | ResistorFile


class RangeCodeFile(Struct, forbid_unknown_fields=True):
    """The controller's words: one 0 or 1 a range bit, in chart order."""

    words: dict[str, Annotated[str, Meta(pattern="^[01]+$")]]
    transit: list[Annotated[str, Meta(pattern="^[01]+$")]] = []


class FamilyFile(Struct, forbid_unknown_fields=True):
    """One kind of part: its pins, its lever positions and what every pair should read in each."""

    name: Text
    positions: Annotated[
        list[Text], Meta(min_length=1, max_length=30, description="in lever order")
    ]
    pins: Annotated[list[Text | PinFile], Meta(min_length=2, max_length=200)]
    chart: Annotated[list[ChartRowFile], Meta(min_length=1, max_length=2000)]
    note: str = ""
    detents_deg: Annotated[list[Angle], Meta(description="one a position, rising")] | None = None
    mark_radius_mm: Annotated[float, Meta(gt=0, le=1000)] | None = None
    viewed_from: str = ""
    park: list[Text] | None = None
    neutral: list[Text] | None = None
    reverse: list[Text] | None = None
    limits: LimitsFile = msgspec.field(default_factory=LimitsFile)
    inner: Annotated[list[Text], Meta(description="nodes inside the part")] = []
    branches: list[BranchFile] = []
    range_code: RangeCodeFile | None = None


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a family file."""
    schema = msgspec.json.schema(FamilyFile)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


_ROWS = {"chart": ChartRowFile, "branches": BranchFile, "pins": Text | PinFile}


def family_of_toml(data: bytes, file: str) -> Family:
    """Read a family file.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    family = _Reader(toml.shaped(FamilyFile, _ROWS), toml).family()
    toml.problems.raise_if_any()
    return family


_Got = TypeVar("_Got")


class _Reader:
    """Turns a file of the right shape into a family, noting what does not fit together."""

    def __init__(self, shaped: FamilyFile, toml: TomlFile) -> None:
        self.file = shaped
        self.line_of = toml.line_of
        self.problems = toml.problems
        self.pins = tuple(self._pin(pin) for pin in shaped.pins)
        self.pin_names = [pin.name for pin in self.pins]
        self.positions = tuple(shaped.positions)

    def family(self) -> Family:
        """Return the family; meaningless if any problem was noted."""
        file = self.file
        self._unique("positions", file.positions)
        self._unique("pins", [*self.pin_names, *file.inner, CASE])
        return Family(
            name=file.name,
            positions=self.positions,
            pins=self.pins,
            chart=tuple(self._row(number, row) for number, row in enumerate(file.chart)),
            limits=self._limits(),
            detents_deg=self._detents(),
            mark_radius_mm=file.mark_radius_mm,
            viewed_from=file.viewed_from,
            inner=tuple(file.inner),
            branches=tuple(self._branch(number, row) for number, row in enumerate(file.branches)),
            code=self._code(),
            park=self._named("park", file.park),
            neutral=self._named("neutral", file.neutral),
            reverse=self._named("reverse", file.reverse),
            note=file.note,
        )

    def _try(self, place: str, otherwise: _Got, read: Callable[..., _Got], *typed: object) -> _Got:
        """Return what a reader makes of what was typed, or note its sentence."""
        try:
            return read(*typed)
        except ValueError as error:
            self.problems.add(place, f"{error}".rstrip(".") + ".")
            return otherwise

    def _position(self, place: str, typed: str) -> str:
        return self._try(place, "", match_name, typed, self.positions, "position")

    def _unique(self, key: str, names: Sequence[str]) -> None:
        for name in {name for name in names if names.count(name) > 1}:
            self.problems.add(self.line_of(key), f"names {quoted(name)} more than once.")

    def _pin(self, pin: str | PinFile) -> Pin:
        if isinstance(pin, str):
            return Pin(pin)
        return Pin(pin.name, (pin.place[0], pin.place[1]) if pin.place else None)

    def _row(self, number: int, row: ChartRowFile) -> ChartRow:
        place = self.line_of("chart", number)
        pair = self._try(place, ("", ""), match_pair, row.pair, self.pin_names)
        role = self._try(place, Role.OTHER, parse_role, row.role)
        if row.expect is None:
            if not self.file.branches:
                self.problems.add(place, "lacks 'expect', and there are no branches to compute it.")
            return ChartRow(pair, (), role, place)
        if len(row.expect) != len(self.positions):
            self.problems.add(
                place,
                f"has {len(row.expect)} expectations for {len(self.positions)} positions; "
                "give every position one.",
            )
        expect = tuple(self._try(place, ANY, named, parse_expectation, text) for text in row.expect)
        return ChartRow(pair, expect, role, place)

    def _ohm(self, place: str, text: str) -> float:
        if text.strip().casefold() in ("open", "inf", "infinite"):
            return float("inf")
        ohm = self._try(place, Quantity(1.0, 1.0), named, parse_ohms, text).ohm
        if ohm <= 0.0:
            self.problems.add(place, f"{quoted(text)} is not above zero; give a small resistance.")
        return ohm

    def _limits(self) -> Limits:
        limits = self.file.limits
        place = self.line_of("limits")
        return Limits(
            self._ohm(place, limits.closed_at_most),
            self._ohm(place, limits.open_at_least),
            limits.tolerance_percent,
        )

    def _detents(self) -> tuple[float, ...] | None:
        detents = self.file.detents_deg
        if detents is None:
            return None
        place = self.line_of("detents_deg")
        if len(detents) != len(self.positions):
            self.problems.add(
                place, f"gives {len(detents)} angles for {len(self.positions)} positions."
            )
        if not all(low < high for low, high in pairwise(detents)):
            self.problems.add(
                place, "does not rise from position to position; list positions in lever order."
            )
        return tuple(detents)

    def _named(self, kind: str, names: Sequence[str] | None) -> tuple[str, ...]:
        if names is None:
            return usual_positions(kind, self.positions)
        place = self.line_of(kind)
        return tuple(self._position(place, name) for name in names)

    def _branch(self, number: int, row: BranchFile) -> Branch:
        place = self.line_of("branches", number)
        nodes = [*self.pin_names, *self.file.inner]
        ends = self._try(place, ("", ""), match_pair, row.between, nodes)
        if isinstance(row, ResistorFile):
            ohm = self._ohm(place, row.value)
            if ohm == float("inf"):
                self.problems.add(place, "is a resistor that is open; leave it out.")
            return Resistor(ends, ohm)
        if (row.dwells_deg is None) == (row.closed_in is None):
            self.problems.add(place, "needs 'dwells_deg' or 'closed_in', and not both.")
        if row.dwells_deg is not None and self.file.detents_deg is None:
            self.problems.add(place, "gives dwells in degrees, but the file has no 'detents_deg'.")
        closed_ohm, open_ohm = self._ohm(place, row.closed), self._ohm(place, row.open)
        if not closed_ohm < open_ohm:
            self.problems.add(place, "is a contact that is no better closed than open.")
        return Contact(
            ends,
            tuple(self._dwell(place, dwell) for dwell in row.dwells_deg or []),
            tuple(self._position(place, name) for name in row.closed_in or []),
            closed_ohm,
            open_ohm,
        )

    def _dwell(self, place: str, dwell: Sequence[float]) -> Dwell:
        if not dwell[0] < dwell[1]:
            self.problems.add(place, f"has a dwell {dwell} that does not rise.")
        return Dwell(dwell[0], dwell[1])

    def _code(self) -> RangeCode | None:
        code = self.file.range_code
        if code is None:
            return None
        place = self.line_of("range_code")
        bits = sum(1 for row in self.file.chart if self._is_bit(row))
        if not bits:
            self.problems.add(place, "stands without any chart row whose role is 'range bit'.")
        for word in [*code.words.values(), *code.transit]:
            if bits and len(word) != bits:
                self.problems.add(place, f"word {word} needs one digit for each of {bits} bits.")
        words = {self._position(place, name): word for name, word in code.words.items()}
        for position in self.positions:
            if position not in words:
                self.problems.add(place, f"gives position {position} no word.")
        return RangeCode(words, frozenset(code.transit))

    @staticmethod
    def _is_bit(row: ChartRowFile) -> bool:
        try:
            return parse_role(row.role) is Role.RANGE_BIT
        except ValueError:
            return False
