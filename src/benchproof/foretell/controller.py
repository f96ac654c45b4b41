"""What the vehicle's controller sees of a part in one state: range, start permit, reverse lamp.

A circuit counts as closed up to the chart's limit for closed and as open from its limit for open.
Between the two it is *weak*: a lamp may glow, a relay or an input may or may not respond, so
whatever can follow from either is foretold.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from benchproof.family.audit.words import range_words
from benchproof.family.expectation import Kind
from benchproof.family.model import NO_ROLE, ChartRow, Family, Role


class Level(StrEnum):
    """What a circuit of the vehicle makes of a pair."""

    ON = "on"
    WEAK = "weak"
    OFF = "off"


class ReadKind(StrEnum):
    """The kinds of what a controller can read."""

    RANGE = "range"
    TRANSIT = "transit"
    NONE = "no valid code"
    LOW = "level too low"
    HIGH = "level too high"


@dataclass(frozen=True)
class Read:
    """One thing that the controller may read.

    Attributes
    ----------
    kind : ReadKind
        What it is.
    positions : tuple of str
        For a range: its positions; more than one where they share a word.
    """

    kind: ReadKind
    positions: tuple[str, ...] = ()

    def __str__(self) -> str:
        """As a person says it: "N", "no valid code"."""
        return "/".join(self.positions) or self.kind.value


@dataclass(frozen=True)
class SeenByController:
    """What the controller sees.

    Attributes
    ----------
    levels : tuple of (Level or None)
        Of each row with a role, in `Controller.rows` order; None if it is not known.
    ohms : tuple of (float or None)
        The same, ohms.
    word : str
        The range bits, 1, 0 or ? for weak or unknown; empty without range bits.
    reads : tuple of Read
        What it may read; several where a bit is weak; empty if it is not known.
    start, reverse : Level or None
        The circuits; None if not known or the family has none.
    """

    levels: tuple[Level | None, ...]
    ohms: tuple[float | None, ...]
    word: str
    reads: tuple[Read, ...]
    start: Level | None
    reverse: Level | None

    @property
    def told(self) -> tuple[tuple[Read, ...], Level | None, Level | None]:
        """What the vehicle acts on: what is read, the start permit, the reverse lamp."""
        return self.reads, self.start, self.reverse

    @property
    def read_text(self) -> str:
        """What it reads in words: "N", "P or no valid code"."""
        return " or ".join(f"{read}" for read in self.reads) or "not known"


@dataclass(frozen=True)
class Circuit:
    """Where a row counts as closed and as open, ohms."""

    on_at_most_ohm: float
    off_at_least_ohm: float

    def level(self, ohm: float) -> Level:
        """Return what the vehicle makes of a resistance."""
        if ohm <= self.on_at_most_ohm:
            return Level.ON
        return Level.WEAK if ohm < self.off_at_least_ohm else Level.OFF


def circuit_of(row: ChartRow, family: Family) -> Circuit:
    """Return a row's limits: the highest ohms charted as conducting, the lowest charted as open."""
    limits = family.limits
    bounds = [(e, e.bounds(limits)) for e in row.expect if e.kind is not Kind.ANY]
    on = max((b[1] for e, b in bounds if e.conducts), default=limits.closed_at_most_ohm)
    off = min((b[0] for e, b in bounds if not e.conducts), default=limits.open_at_least_ohm)
    return Circuit(on, max(on, off))


@dataclass(frozen=True)
class Controller:
    """The vehicle's side of a family with a completed chart."""

    family: Family

    @cached_property
    def rows(self) -> tuple[ChartRow, ...]:
        """The rows that the vehicle uses, in chart order."""
        return tuple(row for row in self.family.chart if row.role not in NO_ROLE)

    @cached_property
    def circuits(self) -> tuple[Circuit, ...]:
        """The limits of each of `rows`."""
        return tuple(circuit_of(row, self.family) for row in self.rows)

    @cached_property
    def _columns(self) -> dict[Role, tuple[int, ...]]:
        return {
            role: tuple(i for i, row in enumerate(self.rows) if row.role is role) for role in Role
        }

    def columns(self, role: Role) -> tuple[int, ...]:
        """Return the numbers of the rows with a role."""
        return self._columns[role]

    @cached_property
    def words(self) -> dict[str, tuple[str, ...]]:
        """The positions of each word the controller knows; x in a word stands for either bit."""
        code = self.family.code
        charted = range_words(self.family)
        by_position = (
            code.words if code else dict(zip(self.family.positions, charted, strict=False))
        )
        words: dict[str, tuple[str, ...]] = {}
        for position in self.family.positions:
            if position in by_position:
                word = by_position[position]
                words[word] = (*words.get(word, ()), position)
        return words

    def see(self, ohms: Sequence[float | None]) -> SeenByController:
        """Return what the controller sees.

        Parameters
        ----------
        ohms : sequence of (float or None)
            Of each of `rows`; None if it is not known.
        """
        levels = [
            None if ohm is None else circuit.level(ohm)
            for circuit, ohm in zip(self.circuits, ohms, strict=True)
        ]
        return self.seen(levels, ohms)

    def seen(
        self, levels: Sequence[Level | None], ohms: Sequence[float | None]
    ) -> SeenByController:
        """As `see`, for rows whose levels are told; ohms matter for range levels only."""
        bits = [levels[i] for i in self.columns(Role.RANGE_BIT)]
        word = "".join(_BIT[level] for level in bits)
        reads: tuple[Read, ...] | None = None
        if bits:
            reads = () if None in bits else self.decode(word)
        for i in self.columns(Role.RANGE_LEVEL):
            ohm = ohms[i]
            found = () if ohm is None else (self.decode_level(self.rows[i], ohm),)
            reads = found if reads is None else _both(reads, found)
        return SeenByController(
            tuple(levels),
            tuple(ohms),
            word,
            reads or (),
            _any(levels[i] for i in self.columns(Role.START_PERMIT)),
            _any(levels[i] for i in self.columns(Role.REVERSE_LAMP)),
        )

    def decode(self, word: str) -> tuple[Read, ...]:
        """Return what a word may be read as; ? in it stands for either bit."""
        found = [Read(ReadKind.RANGE, at) for known, at in self.words.items() if _fits(word, known)]
        matched = sum(
            2 ** sum(a == "?" and b == "x" for a, b in zip(word, known, strict=True))
            for known in self.words
            if _fits(word, known)
        )
        transits = self.family.code.transit - set(self.words) if self.family.code else ()
        transit = [known for known in transits if _fits(word, known)]
        if transit:
            found.append(Read(ReadKind.TRANSIT))
        if matched + len(transit) < 2 ** word.count("?"):
            found.append(Read(ReadKind.NONE))
        return tuple(found)

    def decode_level(self, row: ChartRow, ohm: float) -> Read:
        """Return what a range level is read as: the position whose charted bounds hold it."""
        bounds = [e.bounds(self.family.limits) for e in row.expect]
        named = zip(self.family.positions, bounds, strict=True)
        at = tuple(position for position, (low, high) in named if low <= ohm <= high)
        if at:
            return Read(ReadKind.RANGE, at)
        if ohm < min(low for low, _ in bounds):
            return Read(ReadKind.LOW)
        return Read(ReadKind.HIGH if ohm > max(high for _, high in bounds) else ReadKind.NONE)


_BIT = {Level.ON: "1", Level.OFF: "0", Level.WEAK: "?", None: "?"}


def _fits(word: str, known: str) -> bool:
    return len(word) == len(known) and all(
        a == b or a == "?" or b == "x" for a, b in zip(word, known, strict=True)
    )


def _any(levels: Iterable[Level | None]) -> Level | None:
    """Return what circuits side by side come to: one that is closed closes all."""
    found = [*levels]
    for level in (Level.ON, Level.WEAK):
        if level in found:
            return level
    return None if None in found or not found else Level.OFF


def _both(first: Sequence[Read], second: Sequence[Read]) -> tuple[Read, ...]:
    """Return what two ways of telling the range come to: a range only where they agree."""
    found: dict[Read, None] = {}
    for a in first:
        for b in second:
            shared = tuple(p for p in a.positions if p in b.positions)
            wrong = [read for read in (a, b) if read.kind is not ReadKind.RANGE]
            here = wrong[0] if wrong else Read(ReadKind.RANGE if shared else ReadKind.NONE, shared)
            found[here] = None
    return tuple(found)
