"""A family file in TOML: its shape, its JSON Schema, and its reader."""

import re
import tomllib
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Annotated, Any, Protocol, TypeVar, cast

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
from benchproof.family.problems import BadFile, Problem, Problems, did_you_mean, quoted
from benchproof.family.sheet import decode_text

Text = Annotated[str, Meta(min_length=1, max_length=200)]
Ohms = Annotated[
    str, Meta(min_length=1, description="a resistance, as '390 ohm', '3.3 kohm' or 'open'")
]
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


def family_of_toml(data: bytes, file: str) -> Family:
    """Read a family file.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    text = decode_text(data, file)
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        found = re.fullmatch(r"(.*) \(at line (\d+), column \d+\)", str(error))
        place, what = (f"line {found[2]}", found[1]) if found else ("", str(error))
        raise BadFile(file, [Problem(place, f"is no TOML: {what}.")]) from None
    problems = Problems(file)
    line_of = _line_finder(text)
    shaped = _convert(raw, line_of, problems)
    problems.raise_if_any()
    family = _Reader(shaped, line_of, problems).family()
    problems.raise_if_any()
    return family


class _LineOf(Protocol):
    def __call__(self, key: str, item: int | None = None) -> str: ...


def _line_finder(text: str) -> _LineOf:
    """Return a function from a key, and the number of the array item, to its line.

    tomllib tells no lines, so the lines are looked up: exact where a table or key starts its
    line, as in any file written by hand; else the line of the enclosing key.
    """
    lines: dict[tuple[str, int | None], int] = {}
    tables: dict[str, int] = {}
    inside = ""
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*\[{1,2}\s*([\w.-]+)\s*\]", line):
            name = header[1].split(".")[0]
            inside = name
            tables[name] = tables.get(name, -1) + 1
            lines[name, tables[name]] = number
            lines.setdefault((name, None), number)
        elif (key := re.match(r"\s*([\w-]+)\s*=", line)) and not inside:
            lines.setdefault((key[1], None), number)

    def line_of(key: str, item: int | None = None) -> str:
        number = lines.get((key, item)) or lines.get((key, None))
        which = "" if item is None or (key, item) in lines else f" item {item + 1}"
        return f"line {number}{which}" if number else key

    return line_of


_ROW_SHAPES = {"chart": ChartRowFile, "branches": BranchFile, "pins": Text | PinFile}


def _convert(raw: dict[str, Any], line_of: _LineOf, problems: Problems) -> FamilyFile:
    """Check the shape key by key and row by row, so that each can tell its own mistake."""
    fields = {field.encode_name: field for field in msgspec.structs.fields(FamilyFile)}
    for key in raw.keys() - fields.keys():
        problems.add(line_of(key), f"{quoted(key)} is no key here; {did_you_mean(key, fields)}")
    for key, field in fields.items():
        if key not in raw:
            if field.required:
                problems.add("", f"has no '{key}'; a family file needs one.")
        elif key in _ROW_SHAPES and isinstance(raw[key], list) and raw[key]:
            for number, row in enumerate(raw[key]):
                _shaped(row, _ROW_SHAPES[key], line_of(key, number), key, problems)
        else:
            _shaped(raw[key], field.type, line_of(key), key, problems)
    problems.raise_if_any()
    # The rows are right; what is left is their number.
    shaped = _shaped(raw, FamilyFile, "", "family", problems)
    problems.raise_if_any()
    return cast("FamilyFile", shaped)


def _shaped(value: object, shape: Any, place: str, key: str, problems: Problems) -> Any:  # noqa: ANN401
    try:
        return msgspec.convert(value, shape)
    except msgspec.ValidationError as error:
        what = str(error)
        what = re.sub(r" - at `\$\.?(.*)`$", r" (in \1)", what).replace(" (in )", "")
        for theirs, ours in _PLAINER:
            what = re.sub(theirs, ours, what)
        problems.add(place, f"'{key}' is not right: {what}.")
        return None


_PLAINER = (
    (r"Object contains unknown field `(.*?)`", r"there is no key '\1'"),
    (r"Object missing required field `(.*?)`", r"it lacks the key '\1'"),
    (r"Expected `(.*?)`, got `(.*?)`", r"expected \1 and found \2"),
    (r"Invalid value '(.*?)'", r"'\1' is unknown"),
    (r"\bobject\b", "table"),
    (r"\barray\b", "list"),
    (r"\bstr\b", "text"),
    (r"\[\.\.\.\]", "an item"),
)

_Got = TypeVar("_Got")


class _Reader:
    """Turns a file of the right shape into a family, noting what does not fit together."""

    def __init__(self, shaped: FamilyFile, line_of: _LineOf, problems: Problems) -> None:
        self.file = shaped
        self.line_of = line_of
        self.problems = problems
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
