"""Readings as they are taken: what was typed, in which visit, how often the probes were set anew.

Names are in the family's spelling, values understood. A *visit* ends when the lever moves or the
probes are set anew. What goes wrong with one (the probes on a wrong pair, the lever in a wrong
position) goes wrong with all its readings alike, so that repeating one within a visit proves less
than another visit.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from benchproof.examine.ground import Ground
from benchproof.family.branches import CASE
from benchproof.family.model import (
    AT_REST,
    CellName,
    Family,
    Pair,
    cell_text,
    pair_text,
    same_pair,
)
from benchproof.family.names import match_name, match_pair
from benchproof.family.sentence import quoted
from benchproof.proof.events import (
    BodyTurned,
    EdgeFound,
    Event,
    LeverAt,
    ReadingSource,
    ReadingTaken,
    SweepTaken,
)
from benchproof.proof.eventwords import LEAST_SPREAD
from benchproof.proof.problems import ProofProblem
from benchproof.reading.evidence import FoundEdge
from benchproof.reading.meter import Meter, why_unreadable
from benchproof.reading.value import (
    Conditions,
    Measured,
    Reading,
    Value,
    format_value,
    parse_value,
)


@dataclass(frozen=True)
class TakenReading:
    """A reading that was taken.

    Attributes
    ----------
    seq : int
        Number of its event; the readings of a sweep have one together.
    reading : Reading
        The reading.
    by : str
        Initials of who took it.
    swept : bool
        Whether it is of a sweep.
    """

    seq: int
    reading: Reading
    by: str = ""
    swept: bool = False

    @property
    def name(self) -> str:
        """What a person calls it: "Reading 7"."""
        return f"Sweep {self.seq}" if self.swept else f"Reading {self.seq}"

    @property
    def cell(self) -> CellName:
        """Its lever position and pins."""
        return self.reading.position, same_pair(self.reading.pair)

    @property
    def told(self) -> str:
        """Its cell and value: "G-H in D, 0.1 ohm"."""
        one = self.reading
        lean = f" leaned toward {one.lean}" if one.lean else ""
        under = f" {one.conditions.told}" if one.conditions.told else ""
        return f"{cell_text(one.pair, one.position)}{lean}{under}, {text_of(one.value)}"


_UNDER = ("part_c", "temperature"), ("pressure_kpa", "pressure"), ("supply_v", "supply")


def reading_of(event: ReadingTaken, family: Family, meter: Meter) -> Reading:
    """Return the reading that an event holds.

    Raises
    ------
    ProofProblem
        If its cell is none of the family's, or its value cannot be understood.
    """
    position = _position(family, event.position)
    check_pair(event.pair, family)
    lean = lean_of(family, position, event.lean)
    for name, what in _UNDER:
        if getattr(event, name) is None and getattr(event, f"{name}_u") is not None:
            raise ProofProblem(f"Told is how well the part's {what} is known; tell the {what} too.")
    return Reading(
        position,
        event.pair,
        value_of(event.value, meter),
        event.at,
        event.note,
        lean,
        conditions=Conditions(
            event.part_c,
            event.part_c_u,
            event.pressure_kpa,
            event.pressure_kpa_u,
            event.supply_v,
            event.supply_v_u,
        ),
    )


def edge_of(event: EdgeFound, family: Family, meter: Meter) -> FoundEdge:
    """Return the edge that an event holds.

    Raises
    ------
    ProofProblem
        If its place is none of the family's, its values cannot be understood, or nothing changed.
    """
    position = _position(family, event.position)
    check_pair(event.pair, family)
    below, above = value_of(event.below, meter), value_of(event.above, meter)
    if below == above:
        raise ProofProblem(
            f"{pair_text(event.pair)} reads the same below and above ({event.below}); an edge is "
            "where it changes."
        )
    # So small a spread of the zero is none.
    zero_u = event.zero_u if event.zero_u >= LEAST_SPREAD else 0.0
    return FoundEdge(position, event.pair, event.angle, event.u, below, above, event.series, zero_u)


def check_pair(pair: Pair, family: Family) -> None:
    """Check that a pair is two of a family's pins.

    Raises
    ------
    ProofProblem
        If it is not.
    """
    for pin in pair:
        if pin not in (*family.pin_names, CASE):
            raise ProofProblem(f"{quoted(pin)} is no pin of {family.name}; look at its chart.")
    if pair[0] == pair[1]:
        raise ProofProblem(f"{pair_text(pair)} names one pin twice; a pair is two pins.")


def value_of(text: str, meter: Meter) -> Value:
    """Return the value that a person or a meter gave.

    Raises
    ------
    ProofProblem
        If it cannot be understood, or the meter cannot have read it.
    """
    try:
        value = parse_value(text, "", meter.marks)
    except ValueError as error:
        raise ProofProblem(f"{quoted(text)} {error}.") from None
    if why := why_unreadable(value, meter):
        raise ProofProblem(f"{quoted(text)} {why}.")
    return value


def lean_of(family: Family, position: str, lean: str) -> str:
    """Return the neighbour toward which the lever is held, or empty.

    Raises
    ------
    ProofProblem
        If it is no neighbour of the position.
    """
    at = family.positions.index(_position(family, position))
    if lean and abs(family.positions.index(_position(family, lean)) - at) != 1:
        raise ProofProblem(f"{lean} is not next to {position}; lean toward a neighbour.")
    return lean


def _position(family: Family, name: str) -> str:
    if name not in family.positions and not family.lever:
        raise ProofProblem(f"{family.name} has no lever; leave out {quoted(name)}.")
    if name not in family.positions:
        known = ", ".join(family.positions)
        raise ProofProblem(f"{quoted(name)} is no position of {family.name}; known are {known}.")
    return name


def spelled(ground: Ground, position: str, pair: str, lean: str = "") -> tuple[str, Pair, str]:
    """Return position, pair and lean in the family's spelling, from what a person typed.

    Raises
    ------
    ProofProblem
        If one is none of the family's.
    """
    family = ground.family
    if not family.lever and {position, lean} - {"", AT_REST}:
        raise ProofProblem(f"{family.name} has no lever; name pins and value only.")
    position = position if family.lever else AT_REST
    try:
        known = position in family.positions
        at = position if known else match_name(position, family.positions, "position")
        pins = ground.spellings.get(pair) or match_pair(pair, family.pin_names)
        toward = match_name(lean, family.positions, "position") if lean else ""
    except ValueError as error:
        raise ProofProblem(_sentence(str(error))) from None
    return at, pins, lean_of(family, at, toward)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."


def text_of(value: Value) -> str:
    """Return a value as a reading keeps it and people read it; it reads back the same."""
    # With its unit a number is never taken for one of a meter's marks.
    return f"{format_value(value)} ohm" if isinstance(value, Measured) else format_value(value)


def taken_from_sheet(reading: Reading, at: str, by: str) -> ReadingTaken:
    """Return the event of a reading that a sheet held; its value reads back the same."""
    return ReadingTaken(
        at,
        by,
        reading.position,
        reading.pair,
        text_of(reading.value),
        lean=reading.lean,
        source=ReadingSource.SHEET,
        note=" ".join(text for text in (reading.time, reading.note) if text),
        **asdict(reading.conditions),
    )


def visit_of(
    event: ReadingTaken, before: Sequence[Event], void: frozenset[int] = frozenset()
) -> int:
    """Return the number of the visit that a reading is of: the event that began it.

    Parameters
    ----------
    event : ReadingTaken
        The reading.
    before : sequence of Event
        The proof's events before it.
    void : frozenset of int
        Numbers of the turns that were taken back, which moved nothing.

    Returns
    -------
    int
        Zero for a reading from a sheet, which does not tell: each is a visit of its own.
    """
    if event.source is ReadingSource.SHEET:
        return 0
    number, begun = len(before) + 1, event.again or bool(event.lean)
    for seq in range(len(before), 0, -1):
        earlier = before[seq - 1]
        turned = isinstance(earlier, BodyTurned) and seq not in void
        if begun or turned or isinstance(earlier, LeverAt | EdgeFound | SweepTaken):
            break
        if isinstance(earlier, ReadingTaken):
            if not _same_place(earlier, event):
                break
            number, begun = seq, earlier.again
    return number


def _same_place(one: ReadingTaken, other: ReadingTaken) -> bool:
    same = one.position == other.position and same_pair(one.pair) == same_pair(other.pair)
    return same and not one.lean and one.source is not ReadingSource.SHEET
