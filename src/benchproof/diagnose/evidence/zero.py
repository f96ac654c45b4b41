"""The zero that a whole series of edges shares, where it is no better known than that.

A zero is normal about none. It is summed out over a few values, evenly apart and no further than
the edges can tell them apart; each is a posterior of its own, so whatever hangs on the
zero stays together. A zero better known than half a step moves no reading and no fault: it is noise
of each edge, and what all edges share of it is added to the offset when that is told.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil, hypot, sqrt

import numpy as np

from benchproof.diagnose.evidence.edge import Cell, ObservedEdge, each_once
from benchproof.diagnose.grid import STEPS_PER_EDGE_SD, Grid
from benchproof.network.resistance import Floats


@dataclass(frozen=True)
class Zero:
    """Where the zero of a series is taken to lie, in the family's unit of angle.

    Attributes
    ----------
    series : int
        The series.
    at : float
        Where it lies.
    within : float
        How far about that it may be, standard deviation.
    """

    series: int
    at: float
    within: float


Zeros = tuple[Zero, ...]
"""Of every series whose zero is in doubt."""

LEAST_STEPS = 0.5
"""A zero known to less than so many steps of the grid is noise: a fifth of an edge's spread."""
APART_SD = 1.4
"""So far apart are the values, in standard deviations by which a series tells its zero."""
APART_U = 0.75
"""And no further than this, in standard uncertainties of the zero."""
REACH_U = 3.5
"""Values reach so many standard uncertainties out, though no further than the grid does."""
MOST_VALUES = 81
"""So many at most, all series together; if more were needed each stands for all about it."""


def _series(edges: Sequence[ObservedEdge]) -> dict[int, float]:
    """Return the uncertainty of the zero of each series, the greatest that is told."""
    found: dict[int, float] = {}
    for edge in edges:
        found[edge.series] = max(found.get(edge.series, 0.0), edge.zero_u)
    return dict(sorted(found.items()))


def _wide(grid: Grid, edges: Sequence[ObservedEdge]) -> dict[int, float]:
    return {n: u for n, u in _series(edges).items() if u >= LEAST_STEPS * grid.step}


def narrow_zero(grid: Grid, edges: Sequence[ObservedEdge]) -> float:
    """Return the uncertainty of the offset by zeros that are noise of each edge; 0 if none is."""
    wide = _wide(grid, edges)
    return max((u for n, u in _series(edges).items() if n not in wide), default=0.0)


def zeros_of(
    grid: Grid, edges: Sequence[ObservedEdge], edge_steps: float = STEPS_PER_EDGE_SD
) -> tuple[tuple[Zeros, float], ...]:
    """Return the values of the zeros and the log of how likely each is; empty if none is in doubt.

    Parameters
    ----------
    grid : Grid
        The grid of angles.
    edges : sequence of ObservedEdge
        All edges.
    edge_steps : float
        How far edges scatter, in steps of the grid: the further, the less they tell a zero.
    """
    wide = _wide(grid, edges)
    if not wide:
        return ()
    each = []
    for number, u in wide.items():
        told = sum(edge.series == number for edge in edges)
        at, within = _values(grid, u, edge_steps / sqrt(told), len(wide))
        log_share = -0.5 * (at / u) ** 2
        log_share -= np.logaddexp.reduce(log_share)
        zeros = [Zero(number, z, within) for z in at.tolist()]
        each.append([*zip(zeros, log_share.tolist(), strict=True)])
    return tuple(
        (tuple(zero for zero, _ in chosen), sum(share for _, share in chosen))
        for chosen in product(*each)
    )


def _values(grid: Grid, u: float, told_steps: float, series: int) -> tuple[Floats, float]:
    """Return the values of one zero, and how far about each it may be."""
    told_sd = told_steps * grid.step
    reach = min(REACH_U * u, 2.0 * float(grid.offsets[-1]))
    most = max(3, int(MOST_VALUES ** (1.0 / series)))
    wanted = ceil(reach / min(APART_SD * told_sd, APART_U * u))
    half = min(wanted, (most - 1) // 2)
    apart = reach / half
    at: Floats = np.arange(-half, half + 1, dtype=np.float64) * apart
    return at, apart / sqrt(12.0) if half < wanted else 0.0


def without_zeros(
    framed: Mapping[Cell, tuple[ObservedEdge, ...]], zeros: Zeros
) -> Mapping[Cell, tuple[ObservedEdge, ...]]:
    """Return edges as found on scales whose zeros are where they are taken to be.

    Parameters
    ----------
    framed : mapping of (pair, position) to tuple of ObservedEdge
        The edges.
    zeros : tuple of Zero
        The zeros in doubt; those of all other series are noise of each edge.
    """
    by_series = {zero.series: zero for zero in zeros}
    return {
        cell: each_once(_moved(edge, by_series.get(edge.series)) for edge in edges)
        for cell, edges in framed.items()
    }


def _moved(edge: ObservedEdge, zero: Zero | None) -> ObservedEdge:
    if zero is None:
        return replace(edge, u=hypot(edge.u, edge.zero_u), zero_u=0.0)
    return replace(edge, at=edge.at - zero.at, u=hypot(edge.u, zero.within), zero_u=0.0)
