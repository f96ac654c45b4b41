"""A family: one kind of part, as its file describes it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from benchproof.family.branches import BranchLike
from benchproof.family.expectation import Expectation, FamilyLimits

MARK_LINE_MM = 0.5
"""Width of a mark's line where the family file gives none: a scribed line (common practice, no
source)."""

Pair = tuple[str, str]
"""The two pins the meter is put across, in the chart's order."""


CellName = tuple[str, frozenset[str]]
"""A cell of the chart: lever position and pins."""

AT_REST = "at rest"
"""The one position of a part without a lever: kept with its readings, and never shown."""


same_pair: Callable[[Pair], frozenset[str]] = frozenset
"""Return what two spellings of one pair have in common: A-B is B-A."""
pair_text: Callable[[Pair], str] = "-".join
"""Return a pair as it is written: "A-B"."""


def in_position(what: str, position: str) -> str:
    """Return something with the position it is in, as people say it; none without a lever.

    Examples
    --------
    >>> in_position("A-B", "P"), in_position("A-B", AT_REST)
    ('A-B in P', 'A-B')
    """
    return what if position == AT_REST else f"{what} in {position}"


def cell_text(pair: Pair, position: str) -> str:
    """Return a cell as people name it: "A-B in P", "A-B" of a part without a lever."""
    return in_position(pair_text(pair), position)


class Role(StrEnum):
    """What a pair does in the vehicle."""

    RANGE_BIT = "range bit"
    """One bit of the word that tells the controller the range; most significant charted first."""
    RANGE_LEVEL = "range level"
    """A resistance whose size tells the controller the range."""
    START_PERMIT = "start permit"
    """Closed where the starter may turn."""
    REVERSE_LAMP = "reverse lamp"
    """Closed where the reverse lamps are lit."""
    OTHER = "other"
    """Told to be none of these."""
    UNTOLD = ""
    """Nobody has said."""

    @cached_property
    def shown(self) -> str:
        """The role as a table shows it; empty if it is none or not told."""
        return "" if self is Role.OTHER else self.value


NO_ROLE = frozenset({Role.OTHER, Role.UNTOLD})
"""Roles that say nothing of what a pair does in the vehicle."""


@dataclass(frozen=True)
class Pin:
    """A connector terminal.

    `place` is its row and column, counted from 1, seen from the connector's mating side;
    None if the file does not say.
    """

    name: str
    place: tuple[int, int] | None = None


@dataclass(frozen=True)
class ChartRow:
    """One pair of the chart.

    Attributes
    ----------
    pair : tuple of str
        The two pins.
    expect : tuple of Expectation
        One a position, in lever order; empty where it is to be computed from the branches.
    role : Role
        What the pair does in the vehicle.
    place : str
        Where it stands in its file, as "line 12"; equal rows may stand in different places.
    """

    pair: Pair
    expect: tuple[Expectation, ...]
    role: Role = Role.UNTOLD
    place: str = field(default="", compare=False)


@dataclass(frozen=True)
class RangeCode:
    """The words the controller knows; one character a range bit, 1 for conducting.

    Attributes
    ----------
    words : mapping of str to str
        Position to word.
    transit : frozenset of str
        Words the controller takes as "between positions".
    """

    words: Mapping[str, str]
    transit: frozenset[str] = frozenset()


class Grade(StrEnum):
    """How bad a consequence is, worst first."""

    HAZARD = "hazard"
    """It can hurt someone."""
    DRIVABILITY = "drivability"
    """The vehicle does not drive as it should."""
    NUISANCE = "nuisance"
    """It is noticed, no more."""


class Where(StrEnum):
    """Where the lever must be for a consequence."""

    DETENT = "detent"
    BETWEEN = "between"
    ANYWHERE = "anywhere"


@dataclass(frozen=True)
class Consequence:
    """What the vehicle does when the controller sees something: a condition and its sentence.

    Attributes
    ----------
    name : str
        Its name.
    grade : Grade
        How bad it is.
    sentence : str
        What follows; ``{where}`` and ``{read}`` stand for the places and for what is read there.
    engaged : tuple of str
        Positions, or ``park``, ``neutral``, ``reverse``, ``forward``, one of which is engaged;
        empty for any.
    read : tuple of str
        What the controller reads, one of them: such positions or groups, other than the one
        engaged, or one of ``READ_WORDS``; empty for whatever it reads.
    start, reverse : str
        ``on`` or ``off`` for the start permit and the reverse lamp; empty for either.
    where : Where
        Where the lever must be.
    cite : str
        The rule or standard it touches; empty for none.
    code : str
        The generic trouble-code family; empty for none.
    """

    name: str
    grade: Grade
    sentence: str
    engaged: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    start: str = ""
    reverse: str = ""
    where: Where = Where.DETENT
    cite: str = ""
    code: str = ""


EXPECT, READS = "expect", "reading"
"""What stands above the one column of a part without a lever: of its chart, of what was read."""
GROUPS = ("park", "neutral", "reverse", "forward")
"""Positions by what they do."""
READ_WORDS = ("another range", "no valid code", "level too low", "level too high", "transit")
"""What a controller can read that is no position by name."""


@dataclass(frozen=True)
class Family:
    """One kind of part: what every cell of its chart should read, and why.

    Attributes
    ----------
    name : str
        Name of the family.
    positions : tuple of str
        Lever positions in lever order; `AT_REST` alone for a part without a lever.
    pins : tuple of Pin
        Terminals of the connector.
    chart : tuple of ChartRow
        The expectation of every cell.
    limits : FamilyLimits
        Where closed ends and open begins.
    detents_deg : tuple of float or None
        Shaft angle of each position, degrees, rising; None if unknown.
    mark_radius_mm : float or None
        Radius of the circle on which the alignment marks lie, millimetres.
    mark_line_mm : float
        Width of a mark's line, millimetres.
    viewed_from : str
        The side from which turning directions are told; empty if the file names none.
    offset_grows : str
        Which way to turn the body so that the offset grows, as seen from there: ``clockwise`` or
        ``counter-clockwise``; empty if the file does not tell.
    inner : tuple of str
        Inner nodes of the network.
    seen_as : mapping of str to str
        Inner nodes that are a pin of a part behind a harness, and the pin at which the meter sees
        each; empty for a part by itself.
    members : mapping of str to frozenset of str
        The parts of an assembly, and the pins at which the meter sees each; empty for a part by
        itself.
    branches : tuple of BranchLike
        The network; empty if only the chart is known.
    code : RangeCode or None
        The controller's words, if the file gives them.
    park, neutral, reverse : tuple of str
        The positions that are park, neutral and reverse.
    positions_told : bool
        Whether somebody named these; if not, they were taken from the usual names.
    no_start_permit : bool
        Whether somebody said that no pair of the chart is a start permit.
    permit_reason : str
        Why a start permit charted to conduct in gear is right, and who says so; empty for none.
    consequences : tuple of Consequence
        What the shop adds to the consequences that are foretold of any family.
    machine : str
        What it is built into: ``road`` for a vehicle of the road, ``farm`` for a farm or
        construction machine.
    note : str
        Where the family comes from.
    """

    name: str
    positions: tuple[str, ...]
    pins: tuple[Pin, ...]
    chart: tuple[ChartRow, ...]
    limits: FamilyLimits = FamilyLimits()
    detents_deg: tuple[float, ...] | None = None
    mark_radius_mm: float | None = None
    mark_line_mm: float = MARK_LINE_MM
    viewed_from: str = ""
    offset_grows: str = ""
    inner: tuple[str, ...] = ()
    seen_as: Mapping[str, str] = field(default_factory=dict)
    members: Mapping[str, frozenset[str]] = field(default_factory=dict)
    branches: tuple[BranchLike, ...] = ()
    code: RangeCode | None = None
    park: tuple[str, ...] = ()
    neutral: tuple[str, ...] = ()
    reverse: tuple[str, ...] = ()
    positions_told: bool = False
    machine: str = "road"
    no_start_permit: bool = False
    permit_reason: str = ""
    consequences: tuple[Consequence, ...] = ()
    note: str = ""

    @property
    def lever(self) -> bool:
        """Whether the part has a lever; one without has no positions, offsets or leans either."""
        return self.positions != (AT_REST,)

    def headings(self, alone: str = EXPECT) -> tuple[str, ...]:
        """Return what stands above the columns of its chart: the positions, if there is a lever.

        Parameters
        ----------
        alone : str
            What stands above the one column of a part without a lever.
        """
        return self.positions if self.lever else (alone,)

    @cached_property
    def pin_names(self) -> tuple[str, ...]:
        """Names of the pins, in connector order."""
        return tuple(pin.name for pin in self.pins)

    @cached_property
    def charted_pairs(self) -> tuple[Pair, ...]:
        """The pairs of the chart in chart order, each once: the selector's steps."""
        return tuple({same_pair(row.pair): row.pair for row in self.chart}.values())

    @cached_property
    def terminals(self) -> tuple[str, ...]:
        """The pins but for those of parts behind a harness, at which a part may be read too."""
        return tuple(pin for pin in self.pin_names if pin not in self.seen_as)

    def member_at(self, node: str) -> str:
        """Return the part of an assembly that has a node behind the harness; empty for none."""
        name, dot, _ = node.partition(".")
        return name if dot and name in self.members else ""

    def rows(self, role: Role) -> tuple[ChartRow, ...]:
        """Return the rows with a role, in chart order."""
        return tuple(row for row in self.chart if row.role == role)

    def group(self, name: str) -> tuple[str, ...]:
        """Return the positions of one of `GROUPS`.

        Forward are all others, if park or neutral is known; else none is known to be.
        """
        named = {"park": self.park, "neutral": self.neutral, "reverse": self.reverse}
        special = {*self.park, *self.neutral, *self.reverse}
        told = bool(self.park or self.neutral)
        forward = tuple(p for p in self.positions if told and p not in special)
        return named.get(name, forward)

    def taken_as(self, position: str) -> str:
        """Return as what a position is taken, a phrase; one may have a name that misleads."""
        for kind in ("park", "neutral", "reverse"):
            if position in self.group(kind):
                return kind
        if position in usual_positions("forward", self.positions):
            return "a forward position"
        if self.park or self.neutral:
            return "a forward position, for nobody called it otherwise"
        return "a position of which nobody has said what it is"


_USUAL_NAMES = {
    "park": frozenset({"p", "park"}),
    "neutral": frozenset({"n", "neutral"}),
    "reverse": frozenset({"r", "rev", "reverse"}),
    "forward": frozenset(
        {"d", "drive", "f", "fwd", "forward", "l", "low", "s", "sport", "m", "manual", "od"}
    )
    | {str(number) for number in range(1, 10)}
    | {f"{letter}{number}" for letter in "dfl" for number in range(1, 10)},
}
"""What lever positions are usually called (common practice, no source)."""


def usual_positions(kind: str, positions: tuple[str, ...]) -> tuple[str, ...]:
    """Return which positions are park, neutral, reverse or forward by their usual names.

    Parameters
    ----------
    kind : str
        One of `GROUPS`.
    positions : tuple of str
        Lever positions.

    Examples
    --------
    >>> usual_positions("park", ("P", "R", "N", "D"))
    ('P',)
    """
    return tuple(name for name in positions if name.casefold() in _USUAL_NAMES[kind])


def without_lever(family: Family, done: str) -> str:
    """Return the sentence that refuses what only a part with a lever can have done to it.

    Examples
    --------
    >>> without_lever(Family("Coils", (AT_REST,), (), ()), "center")
    'Coils has no lever, so there is nothing to center.'
    """
    return f"{family.name} has no lever, so there is nothing to {done}."


def unusual_positions(positions: tuple[str, ...]) -> tuple[str, ...]:
    """Return the positions whose names say nothing of what they are."""
    usual = {name for kind in _USUAL_NAMES for name in usual_positions(kind, positions)}
    return tuple(name for name in positions if name not in usual)
