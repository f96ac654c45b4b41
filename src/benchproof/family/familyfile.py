"""A family file in TOML read as a family; `familyshape.py` has its shape."""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from typing import TypeVar

from benchproof.family.branches import BranchLike
from benchproof.family.expectation import ANY, FamilyLimits, parse_expectation
from benchproof.family.familyshape import (
    BranchFile,
    ChartRowFile,
    ConsequenceFile,
    FamilyFile,
    PinFile,
    shape_of,
)
from benchproof.family.model import (
    AT_REST,
    GROUPS,
    MARK_LINE_MM,
    NO_ROLE,
    READ_WORDS,
    ChartRow,
    Consequence,
    Family,
    Grade,
    Pin,
    RangeCode,
    Role,
    Where,
    same_pair,
    usual_positions,
)
from benchproof.family.names import (
    check_pin_name,
    check_position,
    match_name,
    match_pair,
    named,
    parse_role,
)
from benchproof.family.ohms import Quantity, parse_ohms
from benchproof.family.roles import Answers, answered
from benchproof.family.sentence import quoted
from benchproof.family.tomlfile import TomlFile


def family_of_toml(toml: TomlFile, kinds: tuple[type[BranchFile], ...]) -> Family:
    """Read a family file.

    Parameters
    ----------
    toml : TomlFile
        The file.
    kinds : tuple of type of BranchFile
        The kinds of branch that it may have.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    family = FamilyReader(toml.shaped(shape_of(kinds)), toml).family()
    toml.problems.raise_if_any()
    return family


_Got = TypeVar("_Got")

_OF_A_LEVER = dict.fromkeys(
    (
        "detents_deg",
        "mark_radius_mm",
        "mark_line_mm",
        "viewed_from",
        "offset_grows",
        "park",
        "neutral",
        "reverse",
        "range_code",
        "consequences",
    )
) | {"mark_line_mm": MARK_LINE_MM}
"""What only a part with a lever has, each with what stands for not given."""
_SAID_OF_A_LEVER = ("park", "neutral", "reverse", "start_permit", "permit_reason")


class FamilyReader:
    """Turns a file of the right shape into a family, noting what does not fit together.

    Parameters
    ----------
    shaped : FamilyFile
        What the file holds.
    toml : TomlFile
        The file, for lines and problems.
    within : tuple of str
        The table of the file in which it stands, if it is not the whole file.
    """

    def __init__(self, shaped: FamilyFile, toml: TomlFile, within: tuple[str, ...] = ()) -> None:
        self.file = shaped
        self.line_of = partial(toml.line_of, *within)
        self.problems = toml.problems
        self.pins = tuple(self._pin(pin) for pin in shaped.pins)
        self.pin_names = [pin.name for pin in self.pins]
        self.lever = shaped.positions is not None
        self.positions = tuple(shaped.positions or (AT_REST,))

    def family(self) -> Family:
        """Return the family; meaningless if any problem was noted."""
        file = self.file
        if not file.name.isprintable():
            self.problems.add(
                self.line_of("name"), "has characters that do not print; type the name again."
            )
        if file.positions is None:
            self._no_lever()
        else:
            self._names("positions", file.positions, check_position)
        self._names("pins", self.pin_names, check_pin_name)
        self._names("inner", file.inner, check_pin_name)
        for number, name in enumerate(file.inner):
            if name in self.pin_names:
                self.problems.add(
                    self.line_of("inner", number),
                    f"{quoted(name)} is a pin; name the inner node otherwise.",
                )
        if file.offset_grows and not file.viewed_from.strip():
            self.problems.add(
                self.line_of("offset_grows"),
                "tells a turning direction, but not from which side it is seen; give "
                "'viewed_from' too.",
            )
        family = Family(
            name=file.name,
            positions=self.positions,
            pins=self.pins,
            chart=tuple(self._row(number, row) for number, row in enumerate(file.chart)),
            limits=self._limits(),
            detents_deg=self._detents(),
            mark_radius_mm=file.mark_radius_mm,
            mark_line_mm=file.mark_line_mm,
            viewed_from=file.viewed_from,
            offset_grows=file.offset_grows or "",
            machine=file.machine,
            inner=tuple(file.inner),
            branches=tuple(self._branch(number, row) for number, row in enumerate(file.branches)),
            code=self._code(),
            park=self._named("park", file.park),
            neutral=self._named("neutral", file.neutral),
            reverse=self._named("reverse", file.reverse),
            positions_told=file.park is not None or file.neutral is not None,
            consequences=tuple(
                self._consequence(number, row) for number, row in enumerate(file.consequences)
            ),
            note=file.note,
        )
        return answered(family, self.said())

    def _no_lever(self) -> None:
        """Note what has no meaning for a part without a lever."""
        file = self.file
        told: list[tuple[str, ...]] = [
            (key,)
            for key in _OF_A_LEVER
            if getattr(file, key) not in (None, "", [], _OF_A_LEVER[key])
        ]
        told += [("said", key) for key in _SAID_OF_A_LEVER if getattr(file.said, key)]
        for path in told:
            self.problems.add(
                self.line_of(*path),
                f"gives '{path[-1]}', but the file has no 'positions', so the part has no lever; "
                "leave it out, or give the positions.",
            )

    def _role(self, place: str, typed: str) -> Role:
        """Return the role that was typed, or note what is wrong with it."""
        role = self.read(place, Role.UNTOLD, parse_role, typed)
        if not self.lever and role not in NO_ROLE:
            self.problems.add(
                place,
                f"has the role {quoted(role.value)}, but the file has no 'positions', so the part "
                "has no lever; leave the role out, or give the positions.",
            )
        return role

    def said(self) -> Answers:
        """Return what somebody said of the family later."""
        said = self.file.said

        def named(kind: str, names: Sequence[str] | None) -> tuple[str, ...] | None:
            if names is None:
                return None
            places = [self.line_of("said", kind, i) for i in range(len(names))]
            return tuple(self.position(p, name) for p, name in zip(places, names, strict=True))

        roles: dict[frozenset[str], Role] = {}
        for typed, text in said.roles.items():
            place = self.line_of("said", "roles", typed)
            pair = self.read(place, ("", ""), match_pair, typed, self.pin_names)
            roles[same_pair(pair)] = self._role(place, text)
        if said.permit_reason and not said.permit_reason.isprintable():
            self.problems.add(
                self.line_of("said", "permit_reason"),
                "has characters that do not print; type it again.",
            )
        return Answers(
            named("park", said.park),
            named("neutral", said.neutral),
            named("reverse", said.reverse),
            roles,
            said.start_permit == "none",
            said.permit_reason,
        )

    def read(self, place: str, otherwise: _Got, read: Callable[..., _Got], *typed: object) -> _Got:
        """Return what a reader makes of what was typed, or note its sentence."""
        try:
            return read(*typed)
        except ValueError as error:
            self.problems.add(place, f"{error}")
            return otherwise

    def position(self, place: str, typed: str) -> str:
        """Return the position that was typed, or note what is wrong with it."""
        return self.read(place, "", match_name, typed, self.positions, "position")

    def _names(self, key: str, names: Sequence[str], check: Callable[[str], str]) -> None:
        seen: set[str] = set()
        for number, name in enumerate(names):
            place = self.line_of(key, number)
            self.read(place, "", named, check, name)
            if name in seen:
                self.problems.add(place, f"names {quoted(name)} again; name it once.")
            seen.add(name)

    def _pin(self, pin: str | PinFile) -> Pin:
        if isinstance(pin, str):
            return Pin(pin)
        return Pin(pin.name, (pin.place[0], pin.place[1]) if pin.place else None)

    def _row(self, number: int, row: ChartRowFile) -> ChartRow:
        place = self.line_of("chart", number)
        pair = self.read(
            self.line_of("chart", number, "pair"), ("", ""), match_pair, row.pair, self.pin_names
        )
        role = self._role(self.line_of("chart", number, "role"), row.role)
        if row.expect is None:
            if not self.file.branches:
                self.problems.add(
                    place,
                    "has no 'expect', and there are no branches to compute it from; "
                    f"give {'every position' if self.lever else 'it'} an expectation.",
                )
            return ChartRow(pair, (), role, place)
        if len(row.expect) != len(self.positions):
            self.problems.add(
                self.line_of("chart", number, "expect"),
                f"has {len(row.expect)} expectations for {len(self.positions)} positions; "
                "give every position one."
                if self.lever
                else f"has {len(row.expect)} expectations, but the file has no 'positions'; give "
                "one, or give the positions.",
            )
        expect = tuple(
            self.read(
                self.line_of("chart", number, "expect", i), ANY, named, parse_expectation, text
            )
            for i, text in enumerate(row.expect)
        )
        return ChartRow(pair, expect, role, place)

    def ohm(self, place: str, text: str) -> float:
        """Return the resistance that was typed, or note what is wrong with it."""
        if text.strip().casefold() in ("open", "inf", "infinite"):
            return float("inf")
        ohm = self.read(place, Quantity(1.0, 1.0), named, parse_ohms, text).ohm
        if ohm <= 0.0:
            self.problems.add(place, f"{quoted(text)} is not above zero; give a small resistance.")
        return ohm

    def _limits(self) -> FamilyLimits:
        limits = self.file.limits
        return FamilyLimits(
            self.ohm(self.line_of("limits", "closed_at_most"), limits.closed_at_most),
            self.ohm(self.line_of("limits", "open_at_least"), limits.open_at_least),
            limits.tolerance_percent,
        )

    def _detents(self) -> tuple[float, ...] | None:
        detents = self.file.detents_deg
        if detents is None or not self.lever:
            return None
        place = self.line_of("detents_deg")
        if len(detents) != len(self.positions):
            self.problems.add(
                place,
                f"gives {len(detents)} angles for {len(self.positions)} positions; "
                "give every position one.",
            )
        if not all(low < high for low, high in pairwise(detents)):
            self.problems.add(
                place, "does not rise from position to position; list positions in lever order."
            )
        return tuple(detents)

    def _named(self, kind: str, names: Sequence[str] | None) -> tuple[str, ...]:
        if names is None or not self.lever:
            return usual_positions(kind, self.positions) if self.lever else ()
        return tuple(self.position(self.line_of(kind, i), name) for i, name in enumerate(names))

    def _consequence(self, number: int, row: ConsequenceFile) -> Consequence:
        if not (row.read or row.start or row.reverse):
            self.problems.add(
                self.line_of("consequences", number),
                "is a consequence of nothing; give it 'read', 'start' or 'reverse'.",
            )
        for key, text in (("name", row.name), ("sentence", row.sentence)):
            if not text.strip() or not text.isprintable():
                self.problems.add(
                    self.line_of("consequences", number, key),
                    "is empty or has characters that do not print; type it again.",
                )

        def known(key: str, typed: Sequence[str], others: Sequence[str]) -> tuple[str, ...]:
            names = (*self.positions, *others)
            return tuple(
                self.read(
                    self.line_of("consequences", number, key, i),
                    "",
                    match_name,
                    name,
                    names,
                    "position or group",
                )
                for i, name in enumerate(typed)
            )

        return Consequence(
            name=row.name,
            grade=Grade(row.grade),
            sentence=row.sentence,
            engaged=known("engaged", row.engaged, GROUPS),
            read=known("read", row.read, (*GROUPS, *READ_WORDS)),
            start=row.start or "",
            reverse=row.reverse or "",
            where=Where(row.where),
        )

    def _branch(self, number: int, file: BranchFile) -> BranchLike:
        row = _BranchRow(self, number)
        nodes = [*self.pin_names, *self.file.inner]
        ends = self.read(
            row.line_of("between"), ("", ""), match_pair, file.between, nodes, "pin or inner node"
        )
        return file.branch(ends, row)

    def _code(self) -> RangeCode | None:
        code = self.file.range_code
        if code is None or not self.lever:
            return None
        if self._bits() == 0:
            self.problems.add(
                self.line_of("range_code"),
                "stands without a chart row whose role is 'range bit'; give the rows their roles.",
            )
        words: dict[str, str] = {}
        for typed, word in code.words.items():
            place = self.line_of("range_code", "words", typed)
            position = self.position(place, typed)
            if position and position in words:
                self.problems.add(place, f"gives {position} a second word; keep one.")
            words[position] = word
            self._check_length(place, word)
        for number, word in enumerate(code.transit):
            self._check_length(self.line_of("range_code", "transit", number), word)
        for position in self.positions:
            if position not in words:
                self.problems.add(
                    self.line_of("range_code", "words"), f"gives {position} no word; give it one."
                )
        return RangeCode(words, frozenset(code.transit))

    def _check_length(self, place: str, word: str) -> None:
        bits = self._bits()
        if bits and len(word) != bits:
            self.problems.add(
                place,
                f"gives the word {quoted(word)} for {bits} rows with the role 'range bit'; "
                "a word has one digit a row.",
            )

    def _bits(self) -> int | None:
        """Return how many chart rows are range bits; None if a row's role is not understood."""
        try:
            return sum(1 for row in self.file.chart if parse_role(row.role) is Role.RANGE_BIT)
        except ValueError:
            return None


class _BranchRow:
    """A branch of the file being read; see `BranchRow`."""

    def __init__(self, reader: FamilyReader, number: int) -> None:
        self._reader, self._number = reader, number
        self.has_lever = reader.lever
        self.has_detents = reader.file.detents_deg is not None

    def line_of(self, *path: str | int) -> str:
        """Return the line of a value of the branch."""
        return self._reader.line_of("branches", self._number, *path)

    def problem(self, sentence: str, *path: str | int) -> None:
        self._reader.problems.add(self.line_of(*path), sentence)

    def ohm(self, text: str, *path: str | int) -> float:
        return self._reader.ohm(self.line_of(*path), text)

    def position(self, text: str, *path: str | int) -> str:
        return self._reader.position(self.line_of(*path), text)
