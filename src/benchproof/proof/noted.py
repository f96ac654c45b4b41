"""Edges, offsets and sweeps as they were noted in a proof, and those that were withdrawn.

They stand beside the readings. A sweep is its readings at the detents and its edges; withdrawing it
withdraws both, and a reading of it that speaks against the part counts on as any other does
(`withdrawal`). An edge or an offset that is withdrawn ceases to count at once.
"""

from dataclasses import dataclass

from benchproof.family.model import pair_text
from benchproof.proof.events import ReadingWithdrawn, Turned
from benchproof.proof.sweeps import SweptEvidence
from benchproof.proof.taking import text_of
from benchproof.proof.withdrawal import why_withdrawn
from benchproof.reading.evidence import FoundEdge, MeasuredOffset


@dataclass(frozen=True)
class NotedEdge:
    """An edge that was found by hand, the number of its event, who, and which way it was turned."""

    seq: int
    edge: FoundEdge
    by: str = ""
    turned: Turned = Turned.NOT_TOLD
    unit: str = "deg"

    @property
    def name(self) -> str:
        """What a person calls it."""
        return f"Edge {self.seq}"

    @property
    def short(self) -> str:
        """Where it is: "+3.2 deg"."""
        return f"{self.edge.at:+.3g} {self.unit}"

    @property
    def told(self) -> str:
        """Pair, place and what is read on both sides."""
        way = f", turned {self.turned}" if self.turned else ""
        return f"edge of {edge_told(self.edge, self.unit)}{way}"


@dataclass(frozen=True)
class NotedOffset:
    """An offset that was measured otherwise than by readings, the number of its event, who."""

    seq: int
    offset: MeasuredOffset
    by: str = ""
    unit: str = "deg"

    @property
    def name(self) -> str:
        """What a person calls it."""
        return f"Offset {self.seq}"

    @property
    def short(self) -> str:
        """How much it is: "+1.4 deg"."""
        return f"{self.offset.offset:+.3g} {self.unit}"

    @property
    def told(self) -> str:
        """What it was measured by, and how much it is: "the marks: +1.4 deg, u 0.2"."""
        one = self.offset
        return f"{one.how}: {one.offset:+.3g} {self.unit}, u {one.u:.2g}"


@dataclass(frozen=True)
class NotedSweep:
    """A sweep: the number of its event, its file by name and hash, who, and what it comes to."""

    seq: int
    file: str
    file_name: str
    found: SweptEvidence
    by: str = ""
    meter: str = ""

    @property
    def name(self) -> str:
        """What a person calls it."""
        return f"Sweep {self.seq}"

    @property
    def short(self) -> str:
        """How many edges it shows: "20 edges"."""
        count = len(self.found.edges)
        return "1 edge" if count == 1 else f"{count} edges"

    @property
    def told(self) -> str:
        """How much it is, its file, and what it comes to."""
        found = self.found
        cells = "1 cell" if found.cells == 1 else f"{found.cells} cells"
        meter = f", read with {self.meter}" if self.meter else ""
        return (
            f"sweep of {found.samples} points, {self.file_name}, file {self.file[:12]}{meter}: "
            f"{self.short} found, {cells} read; {found.why}"
        )


Noted = NotedEdge | NotedOffset | NotedSweep


@dataclass(frozen=True)
class SetAside:
    """An edge, offset or sweep that was withdrawn.

    Attributes
    ----------
    what : NotedEdge, NotedOffset or NotedSweep
        It.
    turn : int
        How often the body had been turned when it was noted.
    seq : int
        Number of the event that withdrew it.
    event : ReadingWithdrawn
        That event.
    """

    what: Noted
    turn: int
    seq: int
    event: ReadingWithdrawn

    @property
    def told(self) -> str:
        """What it is, kind, reason and who: what stands on the paper."""
        return f"{self.what.name} ({self.what.told}) {why_withdrawn(self.event)}"


def edge_told(edge: FoundEdge, unit: str) -> str:
    """Return an edge in words: pair, place, what is read below and above it."""
    return (
        f"{pair_text(edge.pair)} at {edge.at:+.3g} {unit} from {edge.position}, u {edge.u:.2g}: "
        f"{text_of(edge.below)} below, {text_of(edge.above)} above"
    )
