"""By what the edges of a part scatter otherwise than the priors have it, and the tables for each.

How far the edges of one part scatter is itself uncertain, and shared by all of them: wherever edges
were looked for, it is summed out over a few factors on the spread, each with a posterior of its
own. Readings alone hardly tell it; they are weighed by the spread as the priors have it.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log

import msgspec
import numpy as np

from benchproof.diagnose.grid import REACH_SD, STEPS_PER_EDGE_SD, Grid, spread_of
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables
from benchproof.family.remembered import once_each

NODES_SD = (-1.2, 0.0, 1.2)
"""Where the log of the factor is taken, in its standard deviations about its mean: the nearer, the
better they follow what edges tell; these are as far apart as a dozen edges tell it (measured)."""


def spreads_of(
    priors: Priors, nodes_sd: Sequence[float] = NODES_SD
) -> tuple[tuple[float, float], ...]:
    """Return the factors on the spread of edges, and the log of how likely each is.

    Parameters
    ----------
    priors : Priors
        How well it is known by what factor a part scatters; a single one if that is known.
    nodes_sd : sequence of float
        Where the log of the factor is taken, in its standard deviations about its mean.

    Examples
    --------
    >>> from benchproof.shipped.read import shipped_priors
    >>> [round(factor, 2) for factor, _ in spreads_of(shipped_priors("invented"))]
    [0.89, 1.35, 2.05]
    """
    mean, sd = priors.edge_spread_log_mean, priors.edge_spread_log_sd
    if sd == 0.0:
        return ((exp(mean), 0.0),)
    total = log(sum(exp(-0.5 * z**2) for z in nodes_sd))
    return tuple((exp(mean + sd * z), -0.5 * z**2 - total) for z in nodes_sd)


def _spreads(tables: Tables) -> tuple[tuple[float, float], ...]:
    # Edges that only a chart implies are uncertain by far more already, and not as parts scatter.
    return ((1.0, 0.0),) if tables.shape.implied else spreads_of(tables.priors)


def widest(tables: Tables) -> float:
    """Return the greatest factor on the spread of edges."""
    return max(factor for factor, _ in _spreads(tables))


def by_spread(tables: Tables) -> tuple[tuple[Tables, float], ...]:
    """Return the tables of a part whose edges scatter by each factor, and its log share.

    The tables themselves where the spread is known.
    """
    known = [factor for factor, _ in _spreads(tables)] == [1.0]
    return ((tables, 0.0),) if known else _widened(tables)


def scattering(priors: Priors, factor: float) -> Priors:
    """Return the priors of parts whose edges are known to scatter by a factor more."""
    return msgspec.structs.replace(
        priors,
        edge_sd_deg=priors.edge_sd_deg * factor,
        edge_sd_gaps=priors.edge_sd_gaps * factor,
        edge_spread_log_mean=0.0,
        edge_spread_log_sd=0.0,
    )


@once_each
def _widened(tables: Tables) -> tuple[tuple[Tables, float], ...]:
    return tuple((_scattering(tables, factor), share) for factor, share in _spreads(tables))


def _scattering(tables: Tables, factor: float) -> Tables:
    """Return tables in which edges scatter by a factor more, all else as it is.

    Deviations reach as far for every factor, so that all are of one shape. What lies beyond the
    angles of the tables is as at their ends: only the utmost offsets, leaned as well, look there.
    """
    grid, priors = tables.grid, tables.priors
    sd = STEPS_PER_EDGE_SD * factor
    reach = max(len(grid.spread) // 2, int(np.ceil(REACH_SD * STEPS_PER_EDGE_SD * widest(tables))))
    spread = spread_of(sd, reach)
    more = reach - len(grid.spread) // 2
    patterns = np.pad(tables.cells.patterns, ((0, 0), (more, more)), mode="edge")
    wider: Grid = replace(grid, spread=spread, half=grid.half + more)
    cells = replace(tables.cells, patterns=patterns)
    return replace(tables, priors=scattering(priors, factor), grid=wider, cells=cells)
