"""What is known after some evidence: a factor a cell, and what they come to by cause and offset."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import cast

import numpy as np

from benchproof.diagnose.cell import CellFactor, cell_factor, share_of
from benchproof.diagnose.evidence.condition import log_seen
from benchproof.diagnose.evidence.edge import (
    CellEdges,
    ObservedEdge,
    ObservedStretch,
    each_once,
    edges_of_cell,
    in_frames,
    log_stray,
)
from benchproof.diagnose.evidence.observed import Observation
from benchproof.diagnose.evidence.offset import log_measured
from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.evidence.zero import Zeros, without_zeros, zeros_of
from benchproof.diagnose.grid import Grid, edge_steps, window
from benchproof.diagnose.sites import SharedSite, site_of
from benchproof.diagnose.spreads import by_spread
from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import MeasuredOffset, SeenCondition

Cell = tuple[int, int]

MOST_REMEMBERED = 2_000
"""Factors of cells kept by a family's tables, some tens of kilobytes each; then it begins anew."""


def _remembered_factor(tables: Tables, cell: Cell, readings: tuple[Observed, ...]) -> CellFactor:
    """Return the factor of a cell, remembered where no reading leaves a doubt about any bin.

    An archive has the same few readings of a cell again and again. The factor is computed from what
    it is remembered by, so that its last digit does not depend on which readings came first.
    """
    if any(one.settled is None for one in readings):
        return cell_factor(tables, cell, readings)
    k, p = cell
    if len(readings) == 1:
        told = [(0, readings[0].lean, readings[0].settled or b"")]
    else:
        visits = _numbered([one.visit for one in readings])
        of_readings = zip(readings, visits, strict=True)
        told = sorted((visit, one.lean, one.settled or b"") for one, visit in of_readings)
    key = k, p, tuple(told)
    known = tables.factors
    found = known.get(key)
    if found is None:
        if len(known) >= MOST_REMEMBERED:
            known.clear()
        settled = tuple(
            Observed(k, p, lean, np.frombuffer(bins, dtype=np.bool_).astype(float), visit)
            for visit, lean, bins in told
        )
        found = known[key] = cell_factor(tables, cell, settled)
    return cast("CellFactor", found)


def _numbered(visits: Sequence[int]) -> list[int]:
    """Return numbers of visits so that equal ways to visit are equal: zero for one by itself."""
    several = [one for one in dict.fromkeys(visits) if one and visits.count(one) > 1]
    return [several.index(one) + 1 if one in several else 0 for one in visits]


@dataclass(frozen=True)
class Besides:
    """All evidence but readings, each piece once and in an order of its own.

    Attributes
    ----------
    edges : tuple of ObservedEdge
        Edges that were found.
    offsets : tuple of MeasuredOffset
        Offsets that were measured.
    seen : tuple of SeenCondition
        What was seen at the inspection.
    watched : tuple of ObservedStretch
        Where pairs were watched for edges.
    """

    edges: tuple[ObservedEdge, ...] = ()
    offsets: tuple[MeasuredOffset, ...] = ()
    seen: tuple[SeenCondition, ...] = ()
    watched: tuple[ObservedStretch, ...] = ()

    def with_more(self, pieces: Iterable[Observation]) -> "Besides":
        """Return it with further pieces; readings among them are passed over."""
        told = [*pieces]
        edges = [one for one in told if isinstance(one, ObservedEdge)]
        offsets = [one for one in told if isinstance(one, MeasuredOffset)]
        seen = [one for one in told if isinstance(one, SeenCondition)]
        watched = [one for one in told if isinstance(one, ObservedStretch)]
        if not (edges or offsets or seen or watched):
            return self
        return Besides(
            each_once((*self.edges, *edges)) if edges else self.edges,
            tuple(sorted({*self.offsets, *offsets}, key=lambda o: (o.how, o.u, o.offset))),
            tuple(sorted({*self.seen, *seen}, key=lambda one: (one.item, one.grade))),
            tuple(sorted({*self.watched, *watched})),
        )

    @cached_property
    def watched_in(self) -> Mapping[Cell, tuple[ObservedStretch, ...]]:
        """Where pairs were watched, by the cell from whose detent it is told."""
        found: dict[Cell, tuple[ObservedStretch, ...]] = {}
        for one in self.watched:
            cell = one.pair, one.position
            found[cell] = (*found.get(cell, ()), one)
        return found


@dataclass(frozen=True, eq=False)
class Posterior:
    """Everything known after some evidence.

    Attributes
    ----------
    tables : Tables
        The hypotheses.
    cells : mapping of (pair, position) to tuple of Observed
        The readings of each cell, in order.
    factors : mapping of (pair, position) to CellFactor
        What each cell says that was read or in which an edge was found.
    log_ratio : array, shape (causes, offsets)
        Log of each cause's probability of the evidence over that of no fault.
    log_healthy : array, shape (offsets,)
        Log probability of the evidence without fault.
    log_unexplained : float
        Log probability of the evidence if nothing explains it.
    sites : mapping of int to SharedSite
        What the cells of each site say beyond that, where several were read.
    besides : Besides
        What else than readings was told.
    nodes : tuple of Node
        The same for each spread that edges may have and each zero that a scale may; empty where
        neither is in doubt. What stands here is then the mean over them, exactly so for single
        causes.
    """

    tables: Tables
    cells: Mapping[Cell, tuple[Observed, ...]]
    factors: Mapping[Cell, CellFactor]
    log_ratio: Floats
    log_healthy: Floats
    log_unexplained: float
    sites: Mapping[int, SharedSite] = field(default_factory=dict)
    besides: Besides = Besides()
    nodes: tuple["Node", ...] = ()

    @property
    def only_prior(self) -> bool:
        """Whether nothing was read, found or measured yet: all is what parts are in general."""
        besides = self.besides
        return not (self.cells or besides.edges or besides.offsets or besides.watched)

    @cached_property
    def without_seen(self) -> "Posterior":
        """What is known but for what was seen by eye."""
        if not self.besides.seen:
            return self
        return _known(self, self.cells, replace(self.besides, seen=()))


@dataclass(frozen=True, eq=False)
class Node:
    """What is known if edges scatter so, and each scale's zero is where it is taken to be.

    Attributes
    ----------
    spread : int
        Which of the spreads of edges.
    zeros : Zeros
        Where the zero of each series lies.
    log_weight : float
        Log prior probability of it.
    posterior : Posterior
        What is then known.
    """

    spread: int
    zeros: Zeros
    log_weight: float
    posterior: Posterior


def prior_of(tables: Tables) -> Posterior:
    """Return what is known before any evidence."""
    offsets = len(tables.grid.offsets)
    none = np.zeros((len(tables.causes), offsets))
    return Posterior(tables, {}, {}, none, np.zeros(offsets), 0.0)


def tell(
    posterior: Posterior, pieces: Iterable[Observation], instead_of: Iterable[Cell] = ()
) -> Posterior:
    """Return what is known after further evidence, in place of the readings of some cells.

    In whatever order it was told, at once or piece by piece, it comes to the same bits but for the
    order of a cell's own readings; what is not a reading and was told before changes nothing.
    """
    told, gone = [*pieces], set(instead_of)
    cells = {cell: read for cell, read in posterior.cells.items() if cell not in gone}
    for one in told:
        if isinstance(one, Observed):
            cell = one.pair, one.position
            cells[cell] = (*cells.get(cell, ()), one)
    return _known(posterior, cells, posterior.besides.with_more(told))


def _known(
    before: Posterior, cells: Mapping[Cell, tuple[Observed, ...]], besides: Besides
) -> Posterior:
    """Return what is known of readings and all else, taking over what is as it was."""
    tables = before.tables
    framed = in_frames(tables, besides.edges)
    looked = besides.edges or besides.watched
    spreads = by_spread(tables) if looked else ((tables, 0.0),)
    if len(spreads) == 1 and not zeros_of(tables.grid, besides.edges):
        return _given(before, cells, besides, without_zeros(framed, ()))
    earlier = {(node.spread, node.zeros): node.posterior for node in before.nodes}
    nodes: list[Node] = []
    for spread, (scattering, log_spread) in enumerate(spreads):
        last = before if scattering is tables else prior_of(scattering)
        steps = edge_steps(scattering.shape, scattering.priors, scattering.grid)
        for zeros, log_zeros in zeros_of(tables.grid, besides.edges, steps) or [((), 0.0)]:
            moved = without_zeros(framed, zeros)
            last = _given(earlier.get((spread, zeros), last), cells, besides, moved)
            nodes.append(Node(spread, zeros, log_spread + log_zeros, last))
    return _averaged(before, cells, nodes)


Framed = Mapping[Cell, tuple[ObservedEdge, ...]]


def _given(
    before: Posterior, cells: Mapping[Cell, tuple[Observed, ...]], besides: Besides, framed: Framed
) -> Posterior:
    """Return what is known if every edge was found where it is said, but for noise of its own."""
    tables = before.tables
    factors: dict[Cell, CellFactor] = {}
    watched = besides.watched_in
    every = {*cells, *framed, *watched}
    changed = set(before.factors) - every
    for cell in sorted(every):
        known = before.factors.get(cell)
        readings, edges = cells.get(cell, ()), framed.get(cell, ())
        stretches = watched.get(cell, ())
        of_edges = None if known is None else known.edges
        if not _same(edges, stretches, of_edges):
            told = bool(edges or stretches)
            of_edges = edges_of_cell(tables, cell, edges, stretches) if told else None
        elif known is not None and before.cells.get(cell, ()) is readings:
            factors[cell] = known
            continue
        changed.add(cell)
        if of_edges is None:
            factors[cell] = _remembered_factor(tables, cell, readings)
        else:
            factors[cell] = cell_factor(tables, cell, readings, of_edges)
    sites = _shared_anew(before, changed, factors)
    return _summed(tables, cells, factors, sites, besides)


def _same(
    edges: Sequence[ObservedEdge], watched: tuple[ObservedStretch, ...], known: CellEdges | None
) -> bool:
    if known is None:
        return not (edges or watched)
    return known.watched == watched and [e.key for e in edges] == [e.key for e in known.edges]


def _summed(
    tables: Tables,
    cells: Mapping[Cell, tuple[Observed, ...]],
    factors: Mapping[Cell, CellFactor],
    sites: Mapping[int, SharedSite],
    besides: Besides,
) -> Posterior:
    """Return what is known by what each cell and each site says, summed in one order."""
    offsets = len(tables.grid.offsets)
    ratio, healthy = np.zeros((len(tables.causes), offsets)), np.zeros(offsets)
    unexplained = 0.0
    for cell in sorted(factors):
        factor = factors[cell]
        healthy += factor.log_all[0]
        ratio[factor.rows] += factor.relative
        unexplained += sum(_log_usual(tables, one) for one in cells.get(cell, ()))
    for number in sorted(sites):
        site = sites[number]
        healthy += site.log[0]
        ratio[site.rows] += site.log - site.log[0]
    unexplained += sum(log_stray(tables, edge) for edge in besides.edges)
    if besides.offsets:
        measured = log_measured(tables, besides.offsets)
        healthy += measured
        unexplained += float(np.logaddexp.reduce(tables.grid.log_offset + measured))
    if besides.seen:
        ratio += log_seen(tables, besides.seen)[:, None]
    return Posterior(tables, cells, factors, ratio, healthy, unexplained, sites, besides)


def _averaged(
    before: Posterior, cells: Mapping[Cell, tuple[Observed, ...]], nodes: Sequence[Node]
) -> Posterior:
    """Return the mean over all nodes, each at every offset as likely as no fault makes it.

    The factors of its cells are of the spread that the priors have, weighed by what edges tell.
    """
    first, tables = nodes[0].posterior, before.tables
    log_each = np.stack([node.log_weight + node.posterior.log_healthy for node in nodes])
    healthy: Floats = np.logaddexp.reduce(log_each)
    each = log_each - healthy
    ratio = np.full_like(first.log_ratio, -np.inf)
    for log_share, node in zip(each, nodes, strict=True):
        ratio = np.logaddexp(ratio, log_share + node.posterior.log_ratio)
    factors: dict[Cell, CellFactor] = {}
    for cell, factor in first.factors.items():
        each_told = [(n.posterior.tables.grid, n.posterior.factors[cell].edges) for n in nodes]
        told = [(grid.spread, edges) for grid, edges in each_told if edges is not None]
        own = before.factors.get(cell)
        if told:
            edges = _averaged_edges(tables.grid, told, each)
            factors[cell] = cell_factor(tables, cell, factor.readings, edges)
        elif own is not None and own.edges is None and before.cells.get(cell) is cells[cell]:
            factors[cell] = own
        else:
            factors[cell] = _remembered_factor(tables, cell, cells[cell])
    return replace(
        first, tables=tables, factors=factors, log_ratio=ratio, log_healthy=healthy, sites={},
        nodes=tuple(nodes),
    )  # fmt: skip


def _averaged_edges(
    grid: Grid, told: Sequence[tuple[Floats, CellEdges]], log_each: Floats
) -> CellEdges:
    """Return what the edges of a cell say on average over nodes, of these shares by offset.

    Parameters
    ----------
    grid : Grid
        Of the spread by which the average is told.
    told : sequence of (array, CellEdges)
        The spread by which each node tells it, and what it tells.
    log_each : array, shape (nodes, offsets)
        Log of their shares.
    """
    first = told[0][1]
    distinct, row_of = np.unique(first.which, return_index=True, return_inverse=True)[1:]
    if any((one.which != first.which).any() for _, one in told):
        distinct = row_of = np.arange(len(first.which))
    of_each = [*zip(told, log_each, strict=True)]
    log_of = np.logaddexp.reduce([share + one.log[distinct] for (_, one), share in of_each])
    middle = len(told[0][0]) // 2
    reach = len(grid.spread) // 2
    kept = slice(middle - reach, middle + reach + 1)
    known = np.zeros((*log_of.shape, len(grid.spread)))
    for (spread, one), share in of_each:
        ratio = spread[kept] / grid.spread
        known += np.exp(share)[:, None] * (ratio * one.known[distinct][:, :, kept])
    if middle != reach:
        # Of what lies beyond the reach of the priors' spread the share goes to all within.
        known = known / (known @ grid.spread)[..., None]
    return replace(first, log=log_of[row_of], known=known[row_of])


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
) -> Mapping[int, SharedSite]:
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
    if not factor.readings:
        return share
    bins = tables.bins.count
    share += share_of(factor.log_defect, factor.log, of_category[:bins])
    wanders = float(tables.latents.wander @ of_category[:bins])
    return share + np.exp(factor.log_wanders - factor.log) * wanders
