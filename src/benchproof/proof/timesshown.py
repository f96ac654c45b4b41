"""How often a cell was shown: read by ohms or over-range, the probes set anew each time.

A slipped probe reads open, so an open start permit is believed once it was read twice, the probes
set anew between. A mark shows nothing there: a buzzer is silent above some tens of ohms.
"""

from collections import defaultdict

from benchproof.family.model import CellName, same_pair
from benchproof.proof.events import ReadingSource, ReadingTaken
from benchproof.proof.history import History
from benchproof.reading.value import Mark

TWICE = 2
"""So often must a start permit cell be read that must be open."""


def shown_times(state: History) -> dict[CellName, int]:
    """Return how often each cell was read as left in its detent, the probes set anew each time.

    Only numbers and over-range count, and no reading that was withdrawn. The probes were set anew
    if the reading says so, or if they stood on another pair meanwhile. Of a sheet nobody knows;
    what it has twice was read twice.
    """
    counting = {
        one.seq: one
        for one in state.as_left.taken
        if not one.reading.lean and not isinstance(one.reading.value, Mark)
    }
    seating, on = 0, frozenset[str]()
    found: defaultdict[CellName, set[int]] = defaultdict(set)
    for seq, event in enumerate(state.events, 1):
        if isinstance(event, ReadingTaken):
            pair = same_pair(event.pair)
            seating += event.again or pair != on or event.source is ReadingSource.SHEET
            on = pair
            if seq in counting:
                found[counting[seq].cell].add(seating)
    return {cell: len(seatings) for cell, seatings in found.items()}
