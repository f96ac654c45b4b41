"""Where the edges lie on the scale: least squares over approaches and what is known of the family.

The scale reads, at the edge e that ends a cell at the offset b of the family,

    scale = zero + slope (b + deviation of e) ± lash / 2 + noise

with + where the scale was rising. Unknown are zero, slope, lash and every deviation; deviations are
normal about none with the part-to-part spread, so that the fit is linear and its result is normal.
That spread is itself not known for sure: there is a fit for each of several, and the readings say
which are likely.
All is in the family's unit of angle, the scale being divided by what it has to one of these.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, log, sqrt
from statistics import NormalDist

import numpy as np

from benchproof.align.edges import Approach, cell_of
from benchproof.align.practice import (
    LASH_GAPS,
    PRIOR_REPEATS,
    REPEAT_GAPS,
    SCALE_SD,
    TurningScale,
    gaps,
)
from benchproof.align.window import CellWindow, DwellEnd, Window
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats

ZERO, SLOPE, LASH, DEVIATIONS = 0, 1, 2, 3
"""Where the unknowns stand; the deviations of the edges found are the last."""


@dataclass(frozen=True)
class ScaledApproaches:
    """What was found by turning the body, in the family's unit of angle.

    Attributes
    ----------
    window : Window
        The family's window.
    approaches : tuple of Approach
        Every edge each time it was found.
    cells : tuple of CellWindow
        The cells whose edges these are, in the order found.
    origin : float
        The scale's reading that is taken as zero.
    per_unit : float
        How many of the scale's units make one of the family's unit of angle.
    slope_sd : float or None
        How well that is known, relative; None if it was taken from the dwells' own widths.
    at : array, shape (approaches,)
        The readings, from the origin, in the unit of angle.
    expected_noise, scatter, noise : float
        Standard deviation of one approach: what scale and detent let expect, what repeats show
        (nan without repeats), and both together.
    lash_sd : float
        How much lash there may be before it is seen, standard deviation.
    """

    window: Window
    approaches: tuple[Approach, ...]
    cells: tuple[CellWindow, ...]
    origin: float
    per_unit: float
    slope_sd: float | None
    at: Floats
    expected_noise: float
    scatter: float
    noise: float
    lash_sd: float


@dataclass(frozen=True)
class Fit:
    """The unknowns' joint normal distribution, for one way the scale may run.

    Attributes
    ----------
    rises : bool
        Whether the scale rises with the offset.
    edge_sd : float
        The spread of edges that it takes for granted.
    edges : tuple of DwellEnd
        The edges that were found, in the order of their deviations.
    mean, covariance : array, shape (3 + edges,), (3 + edges, 3 + edges)
        Zero, slope, lash, then each edge's deviation.
    log_evidence : float
        Log of how likely the approaches are, up to what all other fits have too.
    """

    rises: bool
    edge_sd: float
    edges: tuple[DwellEnd, ...]
    mean: Floats
    covariance: Floats
    log_evidence: float


def found_of(
    window: Window, shape: Geometry, approaches: Sequence[Approach], scale: TurningScale
) -> ScaledApproaches:
    """Return approaches in the family's unit of angle, with their noise.

    Parameters
    ----------
    window : Window
        The family's window.
    shape : Geometry
        The family, with dwells.
    approaches : sequence of Approach
        As `read_edges` returns them.
    scale : TurningScale
        What they were read on.

    Raises
    ------
    ValueError
        With one sentence, if a dwell is narrower than the scale's step.

    Notes
    -----
    The expected noise is worth so many repeats, and those that were made add theirs: the variance
    is then of scaled inverse chi-square distribution, of which the mean is taken, so that few
    repeats do not look surer than they are (from memory).
    """
    cells = tuple(dict.fromkeys(cell_of(window, a.position, a.pair) for a in approaches))
    read = np.array([a.scale for a in approaches])
    known = scale.per_degree if window.unit == "deg" else None
    per_unit = known or _per_unit(cells, approaches)
    narrowest = min(cells, key=lambda cell: cell.high - cell.low)
    if scale.step / per_unit > narrowest.high - narrowest.low:
        raise ValueError(
            f"the dwell of {narrowest.name} is narrower than one step of the scale "
            f"({scale.step:g} {scale.name}); read the scale finer, or give its step with --step"
        )
    origin = float(read.mean())
    at = (read - origin) / per_unit
    expected = hypot(scale.step / per_unit / sqrt(12.0), gaps(shape, REPEAT_GAPS))
    squares, freedom = _scatter(approaches, at)
    worth = PRIOR_REPEATS + freedom
    noise = sqrt((PRIOR_REPEATS * expected**2 + squares) / (worth - 2))
    return ScaledApproaches(
        window,
        tuple(approaches),
        cells,
        origin,
        per_unit,
        None if known is None else SCALE_SD,
        at,
        expected,
        sqrt(squares / freedom) if freedom else float("nan"),
        noise,
        gaps(shape, LASH_GAPS),
    )


def fit(found: ScaledApproaches, edge_sd: float, *, rises: bool) -> Fit:
    """Return where the edges lie, if they spread so and the scale rises with the offset, or falls.

    Notes
    -----
    Ordinary weighted least squares: every approach and every prior is one row, divided by its
    standard deviation. The evidence follows from the least sum of squares and the determinant.
    """
    ends = [_end(found, approach, rises=rises) for approach in found.approaches]
    edges = tuple(dict.fromkeys(edge for edge, _ in ends))
    unknowns = DEVIATIONS + len(edges)
    rows: list[Floats] = []
    right: list[float] = []

    def add(row: dict[int, float], value: float, sd: float) -> None:
        rows.append(np.zeros(unknowns))
        for column, factor in row.items():
            rows[-1][column] = factor / sd
        right.append(value / sd)

    for (edge, offset), approach, at in zip(ends, found.approaches, found.at, strict=True):
        half = 0.5 if approach.rising else -0.5
        column = DEVIATIONS + edges.index(edge)
        add({ZERO: 1.0, SLOPE: offset, LASH: half, column: 1.0}, float(at), found.noise)
    for number in range(len(edges)):
        add({DEVIATIONS + number: 1.0}, 0.0, edge_sd)
    add({LASH: 1.0}, 0.0, found.lash_sd)
    if found.slope_sd is not None:
        add({SLOPE: 1.0}, 1.0 if rises else -1.0, found.slope_sd)
    design, target = np.array(rows, dtype=np.float64), np.array(right, dtype=np.float64)
    information = design.T @ design
    covariance: Floats = np.linalg.inv(information).astype(np.float64)
    mean: Floats = covariance @ (design.T @ target)
    left = design @ mean - target
    log_evidence = -0.5 * float(left @ left) - 0.5 * float(np.linalg.slogdet(information)[1])
    log_evidence -= len(edges) * log(edge_sd)
    return Fit(rises, edge_sd, edges, mean, covariance, log_evidence)


def draws_of(fitted: Fit, scores: Floats) -> Floats:
    """Return draws of the unknowns, shape (draws, unknowns), from as many normal scores."""
    root = np.linalg.cholesky(fitted.covariance)
    drawn: Floats = fitted.mean + scores[:, : len(fitted.mean)] @ root.T
    return drawn


@lru_cache(maxsize=16)
def normal_scores(count: int, dimensions: int) -> Floats:
    """Return normal deviates that fill a space evenly, the same each time; not to be written to.

    Notes
    -----
    Multiples of the square roots of primes, taken modulo one (the Kronecker sequence; from
    memory), through the inverse of the normal distribution: unlike random draws they need no
    seed, and their means are nearer to what they stand for.
    """
    steps = np.sqrt(np.array(_primes(dimensions), dtype=np.float64))
    even = ((np.arange(count)[:, np.newaxis] + 0.5) * steps) % 1.0
    inverse = NormalDist().inv_cdf
    scores = np.array([inverse(u) for u in even.ravel().clip(1e-12, 1.0 - 1e-12).tolist()])
    scores = scores.reshape(count, dimensions)
    scores.flags.writeable = False
    return scores


def _primes(count: int) -> list[int]:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found):
            found.append(number)
        number += 1
    return found


def _end(found: ScaledApproaches, approach: Approach, *, rises: bool) -> tuple[DwellEnd, float]:
    """Return the edge of an approach and the offset at which it ends its cell."""
    cell = cell_of(found.window, approach.position, approach.pair)
    if approach.at_lower == rises:
        return cell.low_edges[0], cell.low
    return cell.high_edges[0], cell.high


def _per_unit(cells: Sequence[CellWindow], approaches: Sequence[Approach]) -> float:
    """Return how many units of the scale make one of angle, from the widths of the dwells."""
    on_scale = in_angle = 0.0
    for cell in cells:
        own = [a for a in approaches if (a.position, a.pair) == (cell.position, cell.pair)]
        lower = [a.scale for a in own if a.at_lower]
        upper = [a.scale for a in own if not a.at_lower]
        on_scale += sum(upper) / len(upper) - sum(lower) / len(lower)
        in_angle += cell.high - cell.low
    return on_scale / in_angle


def _scatter(approaches: Sequence[Approach], at: Floats) -> tuple[float, int]:
    """Return the sum of squares about the mean of each edge and way, and its degrees of freedom."""
    groups: dict[object, list[float]] = {}
    for a, value in zip(approaches, at.tolist(), strict=True):
        groups.setdefault((a.position, a.pair, a.at_lower, a.rising), []).append(value)
    squares = sum(float(np.var(group)) * len(group) for group in groups.values())
    return squares, len(approaches) - len(groups)
