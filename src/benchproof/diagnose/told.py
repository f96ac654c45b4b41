"""What is known after some readings: a factor a cell, and what they come to by cause and offset."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import cast

import numpy as np

from benchproof.diagnose.cell import CellFactor, cell_factor, share_of
from benchproof.diagnose.grid import window
from benchproof.diagnose.outcome import Observed
from benchproof.diagnose.sites import Site, site_of
from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats

MOST_REMEMBERED = 2_000
"""Factors of cells kept by a family's tables, some tens of kilobytes each; then it begins anew."""


def _remembered_factor(tables: Tables, readings: tuple[Observed, ...]) -> CellFactor:
    """Return the factor of a cell, remembered where no reading leaves a doubt about any bin.

    An archive has the same few readings of a cell again and again. The factor is computed from what
    it is remembered by, so that its last digit does not depend on which readings came first.
    """
    if any(one.settled is None for one in readings):
        return cell_factor(tables, readings)
    k, p = readings[0].pair, readings[0].position
    if len(readings) == 1:
        told = [(0, readings[0].lean, readings[0].settled or b"")]
    else:
        visits = _numbered([one.visit for one in readings])
        of_readings = zip(readings, visits, strict=True)
        told = sorted((visit, one.lean, one.settled or b"") for one, visit in of_readings)
    key = k, p, tuple(told)
    found = tables.remembered.get(key)
    if found is None:
        if len(tables.remembered) >= MOST_REMEMBERED:
            tables.remembered.clear()
        settled = tuple(
            Observed(k, p, lean, np.frombuffer(bins, dtype=np.bool_).astype(float), visit)
            for visit, lean, bins in told
        )
        found = tables.remembered[key] = cell_factor(tables, settled)
    return cast("CellFactor", found)


def _numbered(visits: Sequence[int]) -> list[int]:
    """Return numbers of visits so that equal ways to visit are equal: zero for one by itself."""
    several = [one for one in dict.fromkeys(visits) if one and visits.count(one) > 1]
    return [several.index(one) + 1 if one in several else 0 for one in visits]


@dataclass(frozen=True)
class Posterior:
    """Everything known after some readings.

    Attributes
    ----------
    tables : Tables
        The hypotheses.
    cells : mapping of (pair, position) to tuple of Observed
        The readings of each cell, in order.
    factors : mapping of (pair, position) to CellFactor
        What each cell that was read says.
    log_ratio : array, shape (causes, offsets)
        Log of each cause's probability of the readings over that of no fault.
    log_healthy : array, shape (offsets,)
        Log probability of the readings without fault.
    log_unexplained : float
        Log probability of the readings if nothing explains them.
    sites : mapping of int to Site
        What the cells of each site say beyond that, where several were read.
    """

    tables: Tables
    cells: Mapping[tuple[int, int], tuple[Observed, ...]]
    factors: Mapping[tuple[int, int], CellFactor]
    log_ratio: Floats
    log_healthy: Floats
    log_unexplained: float
    sites: Mapping[int, Site] = field(default_factory=dict)

    @cached_property
    def kept(self) -> dict[str, object]:
        """What was computed of it before and may be wanted again, by name."""
        return {}


def prior_of(tables: Tables) -> Posterior:
    """Return what is known before any reading."""
    return _known(tables, {}, {}, {})


def tell(
    posterior: Posterior, readings: Iterable[Observed], instead_of: Iterable[tuple[int, int]] = ()
) -> Posterior:
    """Return what is known after further readings, in place of those of some cells that were read.

    In whatever order cells were read, told at once or one by one, it comes to the same bits.
    """
    tables = posterior.tables
    cells, factors = dict(posterior.cells), dict(posterior.factors)
    gone = tuple(instead_of)
    for cell in gone:
        del cells[cell], factors[cell]
    touched: dict[tuple[int, int], None] = {}
    for one in readings:
        cell = one.pair, one.position
        cells[cell] = (*cells.get(cell, ()), one)
        touched[cell] = None
    for cell in touched:
        factors[cell] = _remembered_factor(tables, cells[cell])
    return _known(tables, cells, factors, _shared_anew(posterior, (*gone, *touched), factors))


def _known(
    tables: Tables,
    cells: Mapping[tuple[int, int], tuple[Observed, ...]],
    factors: Mapping[tuple[int, int], CellFactor],
    sites: Mapping[int, Site],
) -> Posterior:
    """Return what is known by what each cell and each site says, summed in one order."""
    offsets = len(tables.grid.offsets)
    ratio, healthy = np.zeros((len(tables.causes), offsets)), np.zeros(offsets)
    unexplained = 0.0
    for cell in sorted(factors):
        factor = factors[cell]
        healthy += factor.log[0]
        ratio[factor.rows] += factor.relative
        unexplained += sum(_log_usual(tables, one) for one in cells[cell])
    for number in sorted(sites):
        site = sites[number]
        healthy += site.log[0]
        ratio[site.rows] += site.log - site.log[0]
    return Posterior(tables, cells, factors, ratio, healthy, unexplained, sites)


def _log_usual(tables: Tables, one: Observed) -> float:
    """Return the log probability of a reading if nothing explains it."""
    if one.settled is None:
        return float(np.log(tables.usual @ one.seen))
    found = tables.log_usual.get(one.settled)
    if found is None:
        found = tables.log_usual[one.settled] = float(np.log(tables.usual @ one.seen))
    return found


def _shared_anew(
    posterior: Posterior,
    touched: Iterable[tuple[int, int]],
    factors: Mapping[tuple[int, int], CellFactor],
) -> Mapping[int, Site]:
    """Return the sites as they are once some cells have changed."""
    tables = posterior.tables
    numbers = {tables.site_of[cell] for cell in touched if cell in tables.site_of}
    if not numbers:
        return posterior.sites
    sites = dict(posterior.sites)
    for number in sorted(numbers):
        sites.pop(number, None)
        read = [factors[cell] for cell in tables.sites[number] if cell in factors]
        if len(read) > 1:
            sites[number] = site_of(tables, read)
    return sites


def of_part(posterior: Posterior, k: int, p: int, of_category: Floats) -> Floats:
    """Return the expectation of a value of what a cell of the part is, in its detent.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    k, p : int
        A charted pair and a position.
    of_category : array, shape (pure categories,)
        The value.

    Returns
    -------
    array, shape (rows, offsets)
        For the causes that touch the cell. That a cell not read may be defective by itself is left
        out: it is the same everywhere and tells nothing of this part.
    """
    tables = posterior.tables
    rows = tables.affected[k][p]
    category = tables.part_category(k, p)
    prior = tables.parts @ of_category
    factor = posterior.factors.get((k, p))
    if factor is None:
        unread: Floats = window(tables.grid, prior[category]) @ tables.grid.spread
        return unread
    shown = factor.value(of_category)[category]
    held = tables.hook_up[rows]
    shown[held] = prior[category[held]]
    share = factor.expected(shown)
    bins = tables.bins.count
    share += share_of(factor.log_defect, factor.log, of_category[:bins])
    wanders = float(tables.latents.wander @ of_category[:bins])
    return share + np.exp(factor.log_wanders - factor.log) * wanders
