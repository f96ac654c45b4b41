"""From where a part rests to where it is to be set: how far, which way, and the range that is good.

The good range is narrower than the window: an offset is good where enough of all parts stay right,
for the edges of each lie somewhat elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from benchproof.align.band import share
from benchproof.align.window import Window

GOOD_SHARE = 0.95
"""At a good offset every cell holds in at least this share of parts."""
OTHER_WAY = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise", "": ""}
_HALVINGS = 40
Span = tuple[float, float]


@dataclass(frozen=True)
class ToTurn:
    """How a body is to be turned.

    Attributes
    ----------
    unit : str
        ``deg``, or ``gap`` for fractions of a detent gap.
    now : float
        The likeliest offset.
    within : tuple of (float, float)
        Where it is with 95 %; more than one where its side is not known.
    set_at : float
        The offset to set: the middle of the window.
    good : (float, float) or None
        The offsets at which every cell holds in `GOOD_SHARE` of the parts; None if there are none.
    share_now : float
        Share of parts that stay right at the likeliest offset.
    is_known : bool
        Whether it is known to which side the part is out of line.
    way : str
        Which way to turn, ``clockwise`` or ``counter-clockwise``; empty if that is not known.
    viewed_from : str
        As seen from which side; empty if the family names none.
    toward : str
        The position to whose side the offset is to change.
    mm_per_unit : float or None
        Millimetres along the circle of the marks for one of the unit; None if that is not known.
    grows : str
        Which way to turn so that the offset grows; empty if the family does not tell.
    """

    unit: str
    now: float
    within: tuple[Span, ...]
    set_at: float
    good: Span | None
    share_now: float
    is_known: bool
    way: str
    viewed_from: str
    toward: str
    mm_per_unit: float | None
    grows: str

    @property
    def by(self) -> float:
        """How far to turn, above zero."""
        return abs(self.set_at - self.now)

    @property
    def by_mm(self) -> float | None:
        """The same at the marks, millimetres; None if their circle is not known."""
        return None if self.mm_per_unit is None else self.by * self.mm_per_unit

    @property
    def is_enough(self) -> bool:
        """Whether turning so far, that way, brings it into the good range with 95 %."""
        if not self.is_known or self.good is None:
            return False
        ends = (self.set_at + end - self.now for pair in self.within for end in pair)
        return all(self.good[0] <= end <= self.good[1] for end in ends)

    @property
    def is_good(self) -> bool:
        """Whether it rests in the good range already."""
        return self.good is not None and self.good[0] <= self.now <= self.good[1]


def good_range(window: Window, least: float = GOOD_SHARE) -> Span | None:
    """Return the offsets about a window's middle at which enough parts have every cell right.

    Parameters
    ----------
    window : Window
        The family's window.
    least : float
        The share of parts, above 0 and below 1.

    Returns
    -------
    tuple of float or None
        None if the window has no middle, or too few parts are right even there.
    """
    middle = window.centre
    if middle is None or share(window, middle) < least:
        return None
    # Beyond an end of the window at most half of the parts are right.
    return (
        _until(window, middle, window.low - window.edge_sd, least),
        _until(window, middle, window.high + window.edge_sd, least),
    )


def _until(window: Window, good: float, bad: float, least: float) -> float:
    """Return where, from a good offset to a bad one, the share falls below the least."""
    if share(window, bad) >= least:
        return bad
    for _ in range(_HALVINGS):
        between = (good + bad) / 2.0
        if share(window, between) >= least:
            good = between
        else:
            bad = between
    return good


def to_turn(
    window: Window, best: float, within: Sequence[Span], *, is_known: bool
) -> ToTurn | None:
    """Return how to turn a body whose offset is believed; None if its window has no middle.

    Parameters
    ----------
    window : Window
        The family's window.
    best : float
        The likeliest offset, in the window's unit.
    within : sequence of (float, float)
        Where it is with 95 %.
    is_known : bool
        Whether its side is known.
    """
    if window.centre is None or not isfinite(best):
        return None
    family, grows = window.family, window.family.offset_grows
    change = window.centre - best
    way = grows if change > 0.0 else OTHER_WAY[grows]
    last = family.positions[-1] if change > 0.0 else family.positions[0]
    return ToTurn(
        window.unit,
        best,
        tuple(within),
        window.centre,
        good_range(window),
        share(window, best),
        is_known,
        way if is_known else "",
        family.viewed_from,
        last if is_known else "",
        window.mm(1.0),
        grows,
    )
