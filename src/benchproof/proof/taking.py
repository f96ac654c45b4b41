"""Readings as they are taken: what was typed, in which visit, how often the probes were set anew.

Names are in the family's spelling, values understood. A *visit* ends when the lever moves or the
probes are set anew. What goes wrong with one (the probes on a wrong pair, the lever in a wrong
position) goes wrong with all its readings alike, so that repeating one within a visit proves less
than another visit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.examine.ground import Ground
from benchproof.family.branches import CASE
from benchproof.family.model import CellName, Family, Pair, pair_text, same_pair
from benchproof.family.names import match_name, match_pair
from benchproof.family.sentence import quoted
from benchproof.proof.events import BodyTurned, Event, LeverAt, ReadingTaken, Source
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meter import Meter
from benchproof.reading.value import (
    Measured,
    OverRange,
    Reading,
    Value,
    format_value,
    parse_value,
)


@dataclass(frozen=True)
class Taken:
    """A reading, its number among the proof's events, and the initials of who took it."""

    seq: int
    reading: Reading
    by: str = ""

    @property
    def cell(self) -> CellName:
        """Its lever position and pins."""
        return self.reading.position, same_pair(self.reading.pair)

    @property
    def told(self) -> str:
        """Its cell and value: "G-H in D, 0.1 ohm"."""
        one = self.reading
        lean = f" leaned toward {one.lean}" if one.lean else ""
        return f"{pair_text(one.pair)} in {one.position}{lean}, {_value(one.value)}"


def reading_of(event: ReadingTaken, family: Family, meter: Meter) -> Reading:
    """Return the reading that an event holds.

    Raises
    ------
    ProofProblem
        If its cell is none of the family's, or its value cannot be understood.
    """
    position = _position(family, event.position)
    for pin in event.pair:
        if pin not in (*family.pin_names, CASE):
            raise ProofProblem(f"{quoted(pin)} is no pin of {family.name}; look at its chart.")
    if event.pair[0] == event.pair[1]:
        raise ProofProblem(f"{pair_text(event.pair)} names one pin twice; a pair is two pins.")
    lean = lean_of(family, position, event.lean)
    try:
        value = parse_value(event.value, "", meter.marks)
    except ValueError as error:
        raise ProofProblem(f"{quoted(event.value)} {error}.") from None
    told = value.ohm if isinstance(value, Measured) else 0.0
    top = value.top_ohm or 0.0 if isinstance(value, OverRange) else told
    if top > meter.top_ohm:
        raise ProofProblem(
            f"{quoted(event.value)} is more than {meter.name} can read; type OL for over-range, or "
            "choose the meter that read it."
        )
    return Reading(position, event.pair, value, event.at, event.note, lean)


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
    """Return a value as the text that a reading keeps, which reads back the same."""
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
        source=Source.SHEET,
        note=" ".join(text for text in (reading.time, reading.note) if text),
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
    if event.source is Source.SHEET:
        return 0
    number, begun = len(before) + 1, event.again or bool(event.lean)
    for seq in range(len(before), 0, -1):
        earlier = before[seq - 1]
        turned = isinstance(earlier, BodyTurned) and seq not in void
        if begun or turned or isinstance(earlier, LeverAt):
            break
        if isinstance(earlier, ReadingTaken):
            if not _same_place(earlier, event):
                break
            number, begun = seq, earlier.again
    return number


def _same_place(one: ReadingTaken, other: ReadingTaken) -> bool:
    same = one.position == other.position and same_pair(one.pair) == same_pair(other.pair)
    return same and not one.lean and one.source is not Source.SHEET


def _value(value: Value) -> str:
    text = format_value(value)
    return f"{text} ohm" if isinstance(value, Measured) else text
