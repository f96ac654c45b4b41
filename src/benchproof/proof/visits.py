"""Which readings of a proof are of one visit: the lever not moved and the probes not set anew.

What goes wrong with a visit (the probes on a wrong pair, the lever in a wrong position) goes wrong
with all its readings alike, so that repeating one within a visit proves less than another visit.
"""

from collections.abc import Sequence

from benchproof.family.model import same_pair
from benchproof.proof.events import BodyTurned, Event, LeverAt, ReadingTaken, Source


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
