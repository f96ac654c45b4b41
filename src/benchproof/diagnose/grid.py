"""The grid of angles: offsets, spread of edges, leans and play, all in steps of one size."""

from dataclasses import dataclass
from math import ceil, erf, sqrt
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from benchproof.diagnose.priors import Priors
from benchproof.network.geometry import Geometry, mean_gap
from benchproof.network.resistance import Floats, Ints

STEPS_PER_EDGE_SD = 2.4
"""Halving the step moves a probability by up to 0.03 (measured), and takes four times as long."""
REACH_SD = 3.0
"""Spreads are cut off this many standard deviations out, here and in `simulate`."""
OFFSET_REACH_SD = 2.6
"""Offsets are cut off this many misaligned standard deviations out."""


@dataclass(frozen=True)
class Grid:
    """Angles in steps.

    Attributes
    ----------
    step : float
        Size of a step, degrees or gaps.
    offsets : array, shape (offsets,)
        The offsets, rising and symmetrical about zero.
    log_offset : array, shape (offsets,)
        Log prior probability of each.
    spread : array, shape (2 * reach + 1,)
        Probability of each deviation of a cell's edge, in steps from -reach.
    lean_steps : array of int, shape (positions, 2)
        Steps of a lean toward the position before and after; zero where there is none.
    lean_spread, play_spread : array
        Probability of each deviation of a single reading's angle, as `spread`.
    half : int
        Steps from the detent to either end of the tables.
    """

    step: float
    offsets: Floats
    log_offset: Floats
    spread: Floats
    lean_steps: Ints
    lean_spread: Floats
    play_spread: Floats
    half: int

    @property
    def angles(self) -> Floats:
        """The angles of the tables, from the detent, shape (2 * half + 1,)."""
        angles: Floats = np.arange(-self.half, self.half + 1, dtype=np.float64) * self.step
        return angles

    def start(self, lean: int) -> int:
        """Return where in the tables the deviations of the first offset begin, lean in steps."""
        return self.half - len(self.offsets) // 2 - len(self.spread) // 2 + lean


def edge_sd_of(shape: Geometry, priors: Priors) -> float:
    """Return the spread of an edge, in the family's unit of angle.

    Implied edges are uncertain by a part of the gap, given ones by their degrees.
    """
    return priors.edge_sd_gaps * mean_gap(shape) if shape.implied else priors.edge_sd_deg


def offset_sds_of(shape: Geometry, priors: Priors) -> tuple[float, float]:
    """Return the spread of offsets, aligned and misaligned, in the family's unit of angle."""
    if shape.unit == "deg":
        return priors.aligned_sd_deg, priors.misaligned_sd_deg
    return priors.aligned_sd_gaps, priors.misaligned_sd_gaps


def grid_of(shape: Geometry, priors: Priors) -> Grid:
    """Return the grid for a family; one offset and one angle for a part without a lever."""
    if not shape.family.lever:
        sure = np.ones(1)
        return Grid(1.0, np.zeros(1), np.zeros(1), sure, np.zeros((1, 2), np.intp), sure, sure, 0)
    detents = np.asarray(shape.family.detents_deg)
    gaps, gap = np.diff(detents), mean_gap(shape)
    edge_sd, sds = edge_sd_of(shape, priors), offset_sds_of(shape, priors)
    step = edge_sd / STEPS_PER_EDGE_SD
    half = ceil(OFFSET_REACH_SD * sds[1] / step)
    offsets: Floats = np.arange(-half, half + 1, dtype=np.float64) * step
    mass = (1.0 - priors.misaligned_rate) * _cells(half, sds[0] / step)
    mass += priors.misaligned_rate * _cells(half, sds[1] / step)
    leans = np.zeros((len(detents), 2), dtype=np.intp)
    steps = np.rint(priors.lean_gaps * gaps / step).astype(np.intp)
    if len(detents) > 1:
        leans[1:, 0], leans[:-1, 1] = -steps, steps
    spread = _spread(edge_sd / step)
    lean_spread = _spread(priors.lean_sd_gaps * gap / step)
    play_spread = _spread(priors.play_gaps * gap / step)
    reach = half + len(spread) // 2 + int(np.abs(leans).max())
    reach += max(len(lean_spread) // 2, len(play_spread) // 2) + len(lean_spread) // 2
    log_offset: Floats = np.log(mass / mass.sum())
    return Grid(step, offsets, log_offset, spread, leans, lean_spread, play_spread, reach)


def window(grid: Grid, by_angle: NDArray[Any], lean: int = 0) -> NDArray[Any]:
    """Return values by angle as values by offset and deviation of the cell's edge.

    Parameters
    ----------
    grid : Grid
        The grid of angles.
    by_angle : array, shape (..., angles)
        Values by angle from the detent.
    lean : int
        Steps that the lever is held off the detent.

    Returns
    -------
    array, shape (..., offsets, deviations)
        A view.
    """
    start = grid.start(lean)
    windows = sliding_window_view(by_angle, len(grid.spread), axis=-1)
    return windows[..., start : start + len(grid.offsets), :]


def kernel(grid: Grid, spread: Floats) -> Floats:
    """Return a symmetrical spread as a matrix from angle to angle."""
    count = len(grid.angles)
    apart = np.abs(np.arange(count)[:, None] - np.arange(count))
    reach = len(spread) // 2
    found: Floats = np.where(apart <= reach, spread[reach + np.minimum(apart, reach)], 0.0)
    return found


def blurred(density: Floats, sd_steps: float) -> Floats:
    """Return a density about which a normal error of its own is added, in steps of its own."""
    if sd_steps <= 0.0:
        return density
    found: Floats = np.convolve(density, _spread(sd_steps), mode="same")
    return found


def _spread(sd_steps: float) -> Floats:
    """Return the probability of each whole step of a normal deviation cut off at its reach."""
    mass = _cells(max(1, ceil(REACH_SD * sd_steps)), sd_steps)
    share: Floats = mass / mass.sum()
    return share


def _cells(half: int, sd_steps: float) -> Floats:
    """Return the normal probability of each step from -half to half."""
    ends = [0.5 * (1.0 + erf((n - 0.5) / (sd_steps * sqrt(2.0)))) for n in range(-half, half + 2)]
    mass: Floats = np.diff(np.array(ends))
    return mass
