"""What is found of a part's edges and offset, beside readings: one frozen dataclass an event."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from msgspec import Meta

from benchproof.family.model import Pair
from benchproof.proof.eventwords import (
    Angle,
    Hash,
    HashIfAny,
    Initials,
    Name,
    Spread,
    SpreadIfAny,
    When,
    Words,
)


class Turned(StrEnum):
    """Which way the angle went when an edge was found."""

    UP = "up"
    DOWN = "down"
    NOT_TOLD = ""


@dataclass(frozen=True)
class EdgeFound:
    """A pair changed while the lever was moved, or the body turned with the lever in a detent.

    Attributes
    ----------
    position : str
        The lever position from whose detent the angle is told.
    pair : tuple of str
        The two pins, by the family's names.
    angle : float
        How far the moving part had gone on from where it stands at rest in that detent, the body
        as it was found; in the family's unit of angle, positive toward the last-listed position.
    u : float
        Standard uncertainty of that by itself, same unit.
    below, above : str
        What is read at the smaller and at the greater angle, as the person or the meter gave it.
    series : int
        Edges of one series were found on one scale, whose zero they share.
    zero_u : float
        Standard uncertainty of that zero, same unit.
    turned : Turned
        Which way the angle went.
    note : str
        What was noted with it.
    """

    at: When
    by: Initials
    position: Name
    pair: Pair
    angle: Angle
    u: Spread
    below: Name
    above: Name
    series: Annotated[int, Meta(ge=0, le=1_000_000)] = 0
    zero_u: SpreadIfAny = 0.0
    turned: Turned = Turned.NOT_TOLD
    note: Words = ""


@dataclass(frozen=True)
class OffsetMeasured:
    """The offset was measured otherwise than by readings, such as by the marks.

    Attributes
    ----------
    offset, u : float
        The offset and its standard uncertainty, in the family's unit of angle, positive toward
        the last-listed position.
    how : str
        What it was measured by: "the marks".
    """

    at: When
    by: Initials
    offset: Angle
    u: Spread
    how: Annotated[str, Meta(min_length=1, max_length=200)]


@dataclass(frozen=True)
class SweepTaken:
    """The lever was swept, and pairs were read all the while.

    Attributes
    ----------
    file : str
        The trace, by hash.
    name : str
        The file's name.
    meter_file, meter : str
        What it was read with: a specification by hash and its name; empty for the proof's meter.
    note : str
        What was noted with it.
    """

    at: When
    by: Initials
    file: Hash
    name: Name
    meter_file: HashIfAny = ""
    meter: Annotated[str, Meta(max_length=120)] = ""
    note: Words = ""
