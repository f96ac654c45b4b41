"""Where the pins of a connector stand, from either side: the one rule of what is left and right."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Pin

SEEN = (
    "The part's own connector from its mating side: looking into it, nothing plugged in",
    "The part's own connector from its wire side: left and right exchanged",
)
SAME = (
    "The plug of the box looks the same from its wire side, where you solder",
    "The plug of the box looks the same from its mating side, which goes onto the part",
)
"""Which connector, seen from where; first as the family tells it, then mirrored."""


@dataclass(frozen=True)
class Seat:
    """A pin as it is seen: its row from the top and its column from the left, from 1."""

    name: str
    row: int
    column: int


def is_told(pins: Sequence[Pin]) -> bool:
    """Return whether the family tells the place of every pin."""
    return all(pin.place is not None for pin in pins)


def seats(pins: Sequence[Pin], *, mirrored: bool = False) -> tuple[Seat, ...]:
    """Return where each pin is seen; in one row as listed where a place is not told.

    Parameters
    ----------
    pins : sequence of Pin
        The connector's pins; their places are told from the mating side.
    mirrored : bool
        Whether it is seen from the wire side, where left and right are exchanged.

    Examples
    --------
    >>> pins = (Pin("A", (1, 1)), Pin("B", (1, 2)), Pin("C", (2, 2)))
    >>> [(seat.name, seat.row, seat.column) for seat in seats(pins, mirrored=True)]
    [('A', 1, 2), ('B', 1, 1), ('C', 2, 1)]
    """
    known = is_told(pins)
    told = [
        (pin.name, *(pin.place if known and pin.place is not None else (1, number)))
        for number, pin in enumerate(pins, 1)
    ]
    last = max((column for _, _, column in told), default=0)
    return tuple(
        Seat(name, row, last + 1 - column if mirrored else column) for name, row, column in told
    )
