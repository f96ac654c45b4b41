"""Whatever bears on what a part is: readings, edges that were found, offsets measured otherwise."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Self

from benchproof.family.model import Pair
from benchproof.reading.value import Reading, Value


@dataclass(frozen=True)
class FoundEdge:
    """Where a pair changed while the lever was swept, or the body turned, the lever in a detent.

    Attributes
    ----------
    position : str
        The lever position from whose detent the angle is told: the nearest one in a sweep, the one
        the lever rested in while the body was turned.
    pair : tuple of str
        The two pins, by the family's names.
    at : float
        How far the moving part had gone on from where it stands at rest in that detent, the body as
        it was found; in the family's unit of angle, positive toward the last-listed position.
    u : float
        Standard uncertainty of that by itself, same unit, above zero.
    below, above : Value
        What is read at the smaller and at the greater angle.
    series : int
        Edges of one series were found on one scale, whose zero is no better known than `zero_u`.
    zero_u : float
        Standard uncertainty of the zero that a whole series shares, same unit.
    """

    position: str
    pair: Pair
    at: float
    u: float
    below: Value
    above: Value
    series: int = 0
    zero_u: float = 0.0


@dataclass(frozen=True)
class WatchedStretch:
    """Where a pair was watched without a break: any lasting change there is told as an edge.

    Attributes
    ----------
    position : str
        The lever position from whose detent the angles are told: the nearest one.
    pair : tuple of str
        The two pins, by the family's names.
    low, high : float
        From where to where, told as the `at` of a `FoundEdge`.
    """

    position: str
    pair: Pair
    low: float
    high: float


@dataclass(frozen=True)
class ConductingStretch:
    """Where a pair was seen to conduct between two detents, by however few samples of a sweep.

    It says nothing of any hypothesis that the edges do not say; it is what somebody could be hurt
    by, and so it is told by itself.

    Attributes
    ----------
    position : str
        The nearest lever position, from whose detent the angles are told.
    pair : tuple of str
        The two pins, by the family's names.
    low, high : float
        From where to where, told as the `at` of a `FoundEdge`.
    """

    position: str
    pair: Pair
    low: float
    high: float


@dataclass(frozen=True)
class MeasuredOffset:
    """The offset as something else than readings tells it, such as the marks.

    Attributes
    ----------
    offset : float
        In the family's unit of angle, positive toward the last-listed position.
    u : float
        Its standard uncertainty, same unit, above zero.
    how : str
        What it was measured by, as a person says it: "the marks".
    """

    offset: float
    u: float
    how: str


@dataclass(frozen=True)
class SeenCondition:
    """Something seen by eye when the part was inspected, and its grade, in the words of both."""

    item: str
    grade: str


Piece = Reading | FoundEdge | WatchedStretch | MeasuredOffset | SeenCondition | ConductingStretch
"""Any one piece of evidence."""


@dataclass(frozen=True)
class Evidence:
    """All that was found of one part as it stood; the order of its kinds does not matter."""

    readings: tuple[Reading, ...] = ()
    edges: tuple[FoundEdge, ...] = ()
    offsets: tuple[MeasuredOffset, ...] = ()
    seen: tuple[SeenCondition, ...] = ()
    watched: tuple[WatchedStretch, ...] = ()
    conducting: tuple[ConductingStretch, ...] = ()

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Self:
        """Return the evidence of readings alone."""
        return cls(tuple(readings))

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Every piece, the readings first and in their order."""
        return (
            *self.readings, *self.edges, *self.offsets, *self.seen, *self.watched, *self.conducting,
        )  # fmt: skip

    def with_more(self, piece: Piece) -> Self:
        """Return the evidence with one more piece; what was told before changes nothing.

        Two readings may be alike and yet two; any other piece that is equal is the same again.
        """
        match piece:
            case Reading():
                return replace(self, readings=(*self.readings, piece))
            case FoundEdge():
                return replace(self, edges=tuple(dict.fromkeys((*self.edges, piece))))
            case WatchedStretch():
                return replace(self, watched=tuple(dict.fromkeys((*self.watched, piece))))
            case MeasuredOffset():
                return replace(self, offsets=tuple(dict.fromkeys((*self.offsets, piece))))
            case SeenCondition():
                return replace(self, seen=tuple(dict.fromkeys((*self.seen, piece))))
            case ConductingStretch():
                return replace(self, conducting=tuple(dict.fromkeys((*self.conducting, piece))))

    def together(self, other: "Evidence") -> Self:
        """Return this evidence and some more of the same part as it stood."""
        found = self
        for piece in other.pieces:
            found = found.with_more(piece)
        return found
