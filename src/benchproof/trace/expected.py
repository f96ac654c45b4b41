"""What a sweep of a part would show: the edges of each pair, for the part as it is or with a fault.

Between two edges of its contacts a part does not change, so it is solved once between every two.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchproof.family.model import Family
from benchproof.network.branches.base import States, branches_of
from benchproof.network.resistance import Floats
from benchproof.network.states import pair_ohms
from benchproof.trace.bands import OhmBands


@dataclass(frozen=True)
class ExpectedEdges:
    """The edges of one pair, without offset.

    Attributes
    ----------
    first : int
        The band below the first edge.
    edges : tuple of (float, int)
        Shaft angle of each edge, degrees, rising, and the band above it.
    """

    first: int
    edges: tuple[tuple[float, int], ...]

    def bands(self) -> tuple[int, ...]:
        """Return the bands from small to large angles, one more than edges."""
        return (self.first, *(band for _, band in self.edges))


BEYOND_DEG = 360.0
"""No edge lies farther beyond the end detents."""


def expected_of(family: Family, bands: Sequence[OhmBands]) -> tuple[ExpectedEdges, ...]:
    """Return the edges of pairs, wherever they are.

    Parameters
    ----------
    family : Family
        A family with detents, branches and dwells.
    bands : sequence of OhmBands
        The bands of each pair.
    """
    detents = family.detents_deg
    assert detents is not None, "a geometry has detents"
    low_deg, high_deg = detents[0] - BEYOND_DEG, detents[-1] + BEYOND_DEG
    cuts = {
        edge
        for branch in branches_of(family)
        for dwell in branch.dwells
        for edge in (dwell.from_deg, dwell.to_deg)
        if low_deg < edge < high_deg
    }
    ends = np.array([low_deg, *sorted(cuts), high_deg])
    middle = 0.5 * (ends[1:] + ends[:-1])
    ohms = ohms_between(family, bands, middle)
    found = []
    for one, column in zip(bands, ohms.T, strict=True):
        there = one.of(column).tolist()
        changes = zip(ends[1:-1].tolist(), pairwise(there), strict=True)
        edges = tuple((edge, after) for edge, (before, after) in changes if before != after)
        found.append(ExpectedEdges(there[0], edges))
    return tuple(found)


def ohms_between(family: Family, bands: Sequence[OhmBands], angle_deg: Floats) -> Floats:
    """Return the ohms of pairs at shaft angles, shape (angles, pairs)."""
    states = States(np.zeros(len(angle_deg), dtype=np.intp), angle_deg)
    return pair_ohms(family, [one.pair for one in bands], states)


def narrowest_deg(expected: ExpectedEdges) -> float:
    """Return the width of the narrowest stretch between two edges, degrees; infinite if none."""
    return min((b - a for (a, _), (b, _) in pairwise(expected.edges)), default=float("inf"))
