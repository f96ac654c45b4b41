"""What a certificate says: plain values, from which its PDF, HTML and text are drawn.

A certificate is drawn from a proof that is closed. It shows what was read and what was decided, and
by which rule; it never decides anything itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from benchproof.family.danger import Danger
from benchproof.family.model import AT_REST, READS, in_position
from benchproof.judge.cell import Result
from benchproof.report.strip import Strip

SIGN = {Result.PASS: "+", Result.FAIL: "!", Result.UNDECIDED: "?", Result.MISSING: "–"}
"""What tells a result on paper, where there may be no colour."""
ACCEPTED = "accepted"


@dataclass(frozen=True)
class ShownCell:
    """What was read of one cell.

    Attributes
    ----------
    result : Result
        What became of it.
    text : str
        The reading with two standard uncertainties, or the mark; empty if it was not read.
    reason : str
        Why, a phrase.
    """

    result: Result
    text: str = ""
    reason: str = ""


@dataclass(frozen=True)
class CellShown:
    """One cell of the chart: what is allowed, and what was read as found and as left."""

    allowed: str
    found: ShownCell
    left: ShownCell


@dataclass(frozen=True)
class RowShown:
    """One pair: its pins, what it does in the vehicle, and its cells in lever order."""

    pair: str
    role: str
    cells: tuple[CellShown, ...]


@dataclass(frozen=True)
class ChartShown:
    """The whole chart.

    Attributes
    ----------
    positions : tuple of str
        Lever positions; `AT_REST` alone for a part without a lever.
    rows : tuple of RowShown
        The pairs, in chart order.
    turned : bool
        Whether the body was turned; if not, as found is as left.
    """

    positions: tuple[str, ...]
    rows: tuple[RowShown, ...]
    turned: bool = False

    @property
    def lever(self) -> bool:
        """Whether the part has a lever."""
        return self.positions != (AT_REST,)

    @property
    def headings(self) -> tuple[str, ...]:
        """What stands above the columns: the positions, of a part with a lever."""
        return tuple(READS if name == AT_REST else name for name in self.positions)

    def cells(self) -> Iterator[tuple[str, CellShown]]:
        """Yield every cell with its name, as "A-E in P"."""
        for row in self.rows:
            for position, cell in zip(self.positions, row.cells, strict=True):
                yield in_position(row.pair, position), cell


@dataclass(frozen=True)
class MeterShown:
    """What the readings were taken with.

    Attributes
    ----------
    name, tag : str
        Its name, and its tag among the shop's gear; the tag may be empty.
    calibrated_on, due_on : str
        Days as ``2026-03-02``; empty if not known.
    leads : str
        How the leads were taken off.
    temperature : str
        Temperature at the meter.
    bench : str
        How it got from pair to pair; empty if not told.
    identity : str
        What the instrument calls itself; empty if a person read it, or it was not asked.
    """

    name: str
    tag: str = ""
    calibrated_on: str = ""
    due_on: str = ""
    leads: str = ""
    temperature: str = ""
    bench: str = ""
    identity: str = ""

    def overdue(self, day: str) -> bool:
        """Return whether it was overdue on a day; not where no due day is known.

        Examples
        --------
        >>> MeterShown("invented", due_on="2026-03-01").overdue("2026-03-02")
        True
        """
        return bool(self.due_on) and date.fromisoformat(self.due_on) < date.fromisoformat(day)


@dataclass(frozen=True)
class Hazards:
    """Circuits of the part that can hurt someone, for the cautions to the installer.

    Attributes
    ----------
    not_open : tuple of str
        Start permit cells that must be open in gear and are not proved so.
    start_permit, reverse_lamp : tuple of str
        Pairs with these roles.
    """

    not_open: tuple[str, ...] = ()
    start_permit: tuple[str, ...] = ()
    reverse_lamp: tuple[str, ...] = ()


@dataclass(frozen=True)
class Alignment:
    """Where the part stands, in words.

    Attributes
    ----------
    offset : str
        Its offset as left; empty if it is not known.
    window : str
        The offsets at which every cell holds; empty if it is not known.
    """

    offset: str = ""
    window: str = ""


@dataclass(frozen=True)
class Certificate:
    """Everything that is printed.

    Attributes
    ----------
    proof : str
        Tag of the proof: its record id.
    seq, hash : int and str
        Number of the event that closed the proof, and its hash, 64 hexadecimal digits.
    part, unit : str
        Tags; the unit's is empty where there is none.
    family : str
        Name of the part's family.
    family_note : str
        Where the family comes from.
    fitted : tuple of (str, str)
        What was new or reused: what it is, and which.
    outcome : str
        As what the proof was closed.
    reasons : tuple of str
        What stood against accepting the part.
    override_by, override_reason : str
        Who answers for accepting it nevertheless, and why; empty without an override.
    chart : ChartShown
        As found and as left.
    worst_risk : float
        The largest risk, among numbers that pass, that the true value is outside its limits.
    worst_cell : str
        Its cell; empty if no number passes.
    meter : MeterShown
        What the readings were taken with.
    opened_at, opened_by, closed_at, closed_by : str
        When (ISO 8601 with offset) and by whom.
    history : tuple of str
        The part's other proofs and their outcomes, what was done to it, the condition of part and
        core, and every withdrawn reading, a line each.
    flagged : tuple of str
        What nobody can answer for and stands against a part that an older version accepted.
    alignment : Alignment
        Where the part stands.
    part_at : str
        At which temperature the part was read, where its ohms depend on it; else empty.
    believed : str
        What is likely wrong with a part without a lever; empty if nothing is.
    strip : Strip or None
        The travel figure.
    dangers : tuple of Danger
        What could hurt somebody, worst first; the paper shows them before all else.
    hazards : Hazards
        What can hurt someone.
    remarks : tuple of str
        What was noted by people, inspection by eye included.
    version : str
        Version of the program that drew this.
    head : str
        Code of the archive's ledger when this was first printed; empty where it was not noted.
    bench : str
        Name of the key that signed it.
    """

    proof: str
    seq: int
    hash: str
    part: str
    family: str
    outcome: str
    chart: ChartShown
    meter: MeterShown
    opened_at: str
    opened_by: str
    closed_at: str
    closed_by: str
    version: str
    unit: str = ""
    family_note: str = ""
    fitted: tuple[tuple[str, str], ...] = ()
    reasons: tuple[str, ...] = ()
    override_by: str = ""
    override_reason: str = ""
    worst_risk: float = 0.0
    worst_cell: str = ""
    history: tuple[str, ...] = ()
    flagged: tuple[str, ...] = ()
    alignment: Alignment = Alignment()
    part_at: str = ""
    believed: str = ""
    strip: Strip | None = None
    dangers: tuple[Danger, ...] = ()
    hazards: Hazards = Hazards()
    remarks: tuple[str, ...] = ()
    head: str = ""
    bench: str = ""

    @property
    def accepted(self) -> bool:
        """Whether the part was accepted on its readings, nobody overriding anything."""
        return self.outcome == ACCEPTED and not self.overridden and not self.flagged

    @property
    def overridden(self) -> bool:
        """Whether somebody answers for the part by name."""
        return bool(self.override_by)

    @property
    def closed_on(self) -> str:
        """The day on which the proof was closed, as ``2026-03-02``."""
        return self.closed_at[:10]

    @property
    def overdue(self) -> bool:
        """Whether the meter's calibration was overdue when the proof was opened."""
        return self.meter.overdue(self.opened_at[:10])
