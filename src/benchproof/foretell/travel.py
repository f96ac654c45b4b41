"""What the controller sees over the whole travel of the lever.

What a part shows changes only where a dwell begins or ends, so the shaft's angles fall into *zones*
in which nothing changes, and the edges between them. The network is solved once a zone; offsets
only move the zones along the lever's travel.

The travel runs from the first detent to the last. The range engaged is that of the nearest detent:
the hydraulic valve follows the shaft, and its boundaries are taken midway between detents (common
practice, no source; the maker's differ a little).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from benchproof.family.model import Family
from benchproof.foretell.controller import Controller, SeenByController
from benchproof.network.branches.base import States, branches_of
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.resistance import Floats, Ints
from benchproof.network.states import pair_ohms


@dataclass(frozen=True)
class Half:
    """The travel from a detent to the middle of the gap beside it.

    Attributes
    ----------
    position : int
        Number of the position whose detent is nearest.
    other : int
        Number of the position on the other side of the gap.
    lever : tuple of float
        From and to, lever angle, rising.
    shaft : tuple of float
        The same as the part sees it, offset aside.
    """

    position: int
    other: int
    lever: tuple[float, float]
    shaft: tuple[float, float]


@dataclass(frozen=True)
class Travel:
    """A part with whatever is wrong with it, over its whole travel.

    Attributes
    ----------
    edges : array, shape (edges,)
        Shaft angles at which something changes, rising; degrees or gaps.
    seen : tuple of SeenByController, 2 * edges + 1
        By turns a zone and the edge that ends it, for dwells include their ends.
    detents : array, shape (positions,)
        Shaft angle that the part has in each detent, offset aside.
    halves : tuple of Half
        The travel between detents, in lever order.
    """

    edges: Floats
    seen: tuple[SeenByController, ...]
    detents: Floats
    halves: tuple[Half, ...]

    def number(self, shaft: Floats) -> Ints:
        """Return the number in `seen` of shaft angles, any shape."""
        left = np.searchsorted(self.edges, shaft, side="left")
        found: Ints = left + np.searchsorted(self.edges, shaft, side="right")
        return found

    def at_detents(self, offsets: Floats) -> Ints:
        """Return the number in `seen` in each detent at each offset, (positions, offsets)."""
        return self.number(self.detents[:, None] + offsets)

    @cached_property
    def zones(self) -> tuple[Floats, Floats]:
        """From and to of each zone, shaft angle."""
        low, high = np.array([-np.inf]), np.array([np.inf])
        return np.concatenate([low, self.edges]), np.concatenate([self.edges, high])

    def passed(self, half: Half, offsets: Floats) -> tuple[Floats, Floats]:
        """Return where the lever passes through each zone, lever angles from and to.

        Shapes (zones, offsets); from is not below to where it does not.
        """
        low, high = self.zones
        start, stop = half.shaft
        if start == stop:
            # The part does not follow the lever here: it stays in the zone it is in.
            here = self.number(start + offsets)
            inside = (here + 1) // 2 == np.arange(len(low))[:, None]
            return np.where(inside, half.lever[0], np.inf), np.where(inside, half.lever[1], -np.inf)
        pace = (half.lever[1] - half.lever[0]) / (stop - start)
        first = np.maximum(low[:, None] - offsets, start)
        last = np.minimum(high[:, None] - offsets, stop)
        return half.lever[0] + (first - start) * pace, half.lever[0] + (last - start) * pace


def travel_of(controller: Controller, family: Family, faults: Sequence[Fault] = ()) -> Travel:
    """Return the travel of a part with the given faults.

    Parameters
    ----------
    controller : Controller
        What looks at it.
    family : Family
        A family with branches, detents and dwells (`network.geometry`).
    faults : sequence of Fault
        What is wrong with it; a contact that chatters counts as closed (`by_turns`).
    """
    levers = np.asarray(family.detents_deg)
    for fault in faults:
        family = faulty(family, fault)
    dwells = [dwell for branch in branches_of(family) for dwell in branch.dwells]
    ends = {end for dwell in dwells for end in (dwell.from_deg, dwell.to_deg)}
    edges = np.array(sorted(ends))
    shaft = np.asarray(family.detents_deg)
    pairs = [row.pair for row in controller.rows]
    states = States(np.zeros(2 * len(edges) + 1, dtype=np.intp), _inside(edges))
    ohms = pair_ohms(family, pairs, states) if pairs else np.zeros((len(states.position), 0))
    # Many states are alike, and the controller's part is the slower one.
    known: dict[tuple[float, ...], SeenByController] = {}
    seen = []
    for row in ohms.tolist():
        key = tuple(row)
        if key not in known:
            known[key] = controller.see(row)
        seen.append(known[key])
    return Travel(edges, tuple(seen), shaft, tuple(_halves(levers.tolist(), shaft.tolist())))


def by_turns(faults: Sequence[Fault]) -> list[tuple[Fault, ...]]:
    """Return the faults as they are by turns: a contact that chatters is closed and open.

    So is a pair that is bridged in some positions, one does not know which.

    Examples
    --------
    >>> from benchproof.network.branches.contact import ContactFault
    >>> by_turns([Fault(ContactFault.CHATTERS, ("A", "E"), 0)])
    [(), (Fault(kind=<ContactFault.OPEN: 'contact open'>, at=('A', 'E'), branch=0, size=0.0),)]
    """
    found: list[tuple[Fault, ...]] = [()]
    for fault in faults:
        if (opened := fault.by_turns) is not None:
            found = [*found, *((*turn, opened) for turn in found)]
        elif fault.kind is PartFault.BRIDGED:
            found = [*found, *((*turn, fault) for turn in found)]
        else:
            found = [(*turn, fault) for turn in found]
    return found


def _inside(edges: Floats) -> Floats:
    """Return an angle in every zone and the edges between them, by turns."""
    angles = np.zeros(2 * len(edges) + 1)
    angles[1::2] = edges
    if len(edges):
        angles[2:-1:2] = (edges[:-1] + edges[1:]) / 2.0
        angles[0], angles[-1] = edges[0] - 1.0, edges[-1] + 1.0
    return angles


def _halves(levers: Sequence[float], shaft: Sequence[float]) -> list[Half]:
    halves = []
    for i in range(len(levers) - 1):
        middle = (levers[i] + levers[i + 1]) / 2.0, (shaft[i] + shaft[i + 1]) / 2.0
        halves.append(Half(i, i + 1, (levers[i], middle[0]), (shaft[i], middle[1])))
        halves.append(Half(i + 1, i, (middle[0], levers[i + 1]), (middle[1], shaft[i + 1])))
    return halves
