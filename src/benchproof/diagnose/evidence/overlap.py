"""Changes that the spread of edges alone brings about: two contacts that change in the other order.

Where one contact opens shortly before the next one closes, many a part has them overlap, and a pair
then changes as it does nowhere in the tables: from one tap of a ladder straight to the next, or to
what both taps together show and back. Such an edge speaks for no fault, and where it lies follows
from two deviations at once; it is left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from math import sqrt

import numpy as np

from benchproof.diagnose.evidence.edge import ObservedEdge
from benchproof.diagnose.grid import REACH_SD, edge_sd_of
from benchproof.diagnose.layout import runs_of
from benchproof.diagnose.spreads import widest
from benchproof.diagnose.tables import Tables
from benchproof.family.model import Family
from benchproof.family.remembered import once_each
from benchproof.network.branches.base import Dwell, States, branches_of
from benchproof.network.resistance import Floats, Ints
from benchproof.network.states import pair_ohms

LEAST_FIT = 0.01
"""An edge that agrees less than this with either side of a change is no such change."""
BESIDE = 1e-6
"""So far beside an edge, in the family's unit of angle, is before or after it."""


def by_spread_alone(tables: Tables, edge: ObservedEdge) -> bool:
    """Return whether only contacts in another order than the family's make a pair change so."""
    known, possible = _changes(tables)
    mine = [one[one[:, 0] == edge.pair] for one in (known, possible)]
    return not _fits(edge, mine[0]) and _fits(edge, mine[1])


def _fits(edge: ObservedEdge, changes: Ints) -> bool:
    agree = edge.below[changes[:, 1]] * edge.above[changes[:, 2]]
    return bool((agree > LEAST_FIT).any())


@once_each
def _changes(tables: Tables) -> tuple[Ints, Ints]:
    """Return the changes of a part without fault: by the tables, and by another order of edges.

    Returns
    -------
    tuple of arrays of int, shape (changes, 3) each
        Charted pair, and the likeliest bin below and above.
    """
    known: list[tuple[int, int, int]] = []
    for k in range(tables.charted):
        for p in range(len(tables.family.positions)):
            category = tables.healthy[k, p]
            _, start, _ = runs_of(category[None, :])
            main, begins = tables.main[category].tolist(), start[1:].tolist()
            known += [(k, main[n - 1], main[n]) for n in begins]
    possible: list[tuple[int, int, int]] = []
    pairs = tables.pairs[: tables.charted]
    for family, at in _in_other_orders(tables):
        ohm = pair_ohms(family, pairs, States(np.zeros(len(at), dtype=np.intp), at))
        for k, (before, between, after) in enumerate(tables.bins.of(ohm).T.tolist()):
            possible += [(k, before, between), (k, between, after), (k, before, after)]
    return _distinct(known), _distinct(possible)


def _distinct(changes: list[tuple[int, int, int]]) -> Ints:
    found = sorted({change for change in changes if change[1] != change[2]})
    return np.array(found, dtype=np.intp).reshape(-1, 3)


@dataclass(frozen=True)
class _End:
    """An end of a dwell: of which contact, of which of its dwells, which one, and where."""

    branch: int
    dwell: int
    is_upper: bool
    at: float


def _in_other_orders(tables: Tables) -> Iterator[tuple[Family, Floats]]:
    """Yield a family with two neighboring ends exchanged, and angles before, between and after."""
    family = tables.family
    sd = edge_sd_of(tables.shape, tables.priors) * widest(tables)
    reach = REACH_SD * sqrt(2.0) * sd
    ends = [
        _End(number, n, is_upper, at)
        for number, branch in enumerate(branches_of(family))
        for n, dwell in enumerate(branch.dwells)
        for is_upper, at in ((False, dwell.from_deg), (True, dwell.to_deg))
    ]
    for one, other in combinations(sorted(ends, key=lambda end: end.at), 2):
        if one.branch != other.branch and other.at - one.at < reach:
            low, high = one.at - BESIDE, other.at + BESIDE
            moved = _with_end(_with_end(family, one, high), other, low)
            at = np.array([low - BESIDE, (low + high) / 2.0, high + BESIDE])
            yield moved, at


def _with_end(family: Family, end: _End, at: float) -> Family:
    branch = branches_of(family)[end.branch]
    old = branch.dwells[end.dwell]
    new = Dwell(old.from_deg, at) if end.is_upper else Dwell(at, old.to_deg)
    dwells = (*branch.dwells[: end.dwell], new, *branch.dwells[end.dwell + 1 :])
    branches = list(family.branches)
    branches[end.branch] = branch.at_angles(dwells)
    return replace(family, branches=tuple(branches))
