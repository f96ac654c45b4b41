"""Charted pairs that hang on the same contacts in a position share one deviation of their edges.

Each cell's factor sums out a deviation of its own. Where several cells of one *site* were read,
what they say together is that sum taken once for all of them, and so no redundant pair counts as
further evidence of where an edge is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.cell import LEAST, CellFactor, share_of
from benchproof.diagnose.evidence.edge import CellEdges
from benchproof.diagnose.grid import window
from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats, Ints

Cell = tuple[int, int]


@dataclass(frozen=True)
class SharedSite:
    """What the cells of a site say together beyond the product of what each says by itself.

    Attributes
    ----------
    rows : array of int
        The causes that touch any of them; the first is no fault.
    log : array, shape (rows, offsets)
        Log of how much likelier all their readings are.
    """

    rows: Ints
    log: Floats


def site_of(tables: Tables, factors: Sequence[CellFactor]) -> SharedSite:
    """Return what the cells of a site say together.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    factors : sequence of CellFactor
        Of the cells of one site that were read or in which edges were found, at least two.
    """
    rows = np.unique(np.concatenate([factor.rows for factor in factors]))
    together = np.broadcast_to(tables.grid.spread, (len(rows), *_shape(tables)))
    owns = []
    for factor in factors:
        sound = factor.deviation
        # Readings of a cell with a defect of its own know of no deviation; its edges do.
        own = (1.0 - sound.sum(axis=-1))[..., None] * factor.known_deviation
        at = np.searchsorted(factor.rows, rows).clip(max=len(factor.rows) - 1)
        owns.append(np.where(factor.rows[at] == rows, at, 0))
        together = together * (sound / tables.grid.spread + own)[owns[-1]]
    log_of = np.log(np.maximum(together.sum(axis=-1), LEAST))
    found = [(factor.edges, own) for factor, own in zip(factors, owns, strict=True) if factor.edges]
    if len(found) > 1:
        log_of = log_of + _edges_apart(tables, [(edges, own) for edges, own in found if edges])
    return SharedSite(rows, log_of)


def _edges_apart(tables: Tables, found: Sequence[tuple[CellEdges, Ints]]) -> Floats:
    """Return how much likelier edges of one boundary are, found in several cells of a site.

    Of boundaries that decide no reading; a log, shape (rows, offsets).

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    found : sequence of (CellEdges, array of int, shape (rows,))
        The edges of each cell, and which of its causes each row is.
    """
    spread = tables.grid.spread
    which = np.stack([edges.which[own] for edges, own in found], axis=1)
    distinct, rows = np.unique(which, axis=0, return_inverse=True)
    more = np.zeros((len(distinct), len(tables.grid.offsets)))
    for row, numbers in zip(more, distinct.tolist(), strict=True):
        told: dict[float, list[Floats]] = {}
        for (edges, _), n in zip(found, numbers, strict=True):
            for one in edges.apart[n]:
                told.setdefault(one.at, []).append(np.where(one.decides[:, None], 1.0, one.term))
        for _, terms in sorted(told.items()):
            if len(terms) > 1:
                row += np.log(np.prod(terms, axis=0) @ spread)
                row -= sum(np.log(term @ spread) for term in terms)
    shown: Floats = more[rows.reshape(-1)]
    return shown


def together(
    tables: Tables, factors: Mapping[Cell, CellFactor], good: Floats, sound: Floats
) -> tuple[Floats, Floats]:
    """Return how much likelier all cells are good, or sound, than each by itself says, no fault.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    factors : mapping of (pair, position) to CellFactor
        What each cell that was read says.
    good, sound : array, shape (charted, positions, offsets)
        Probability that each cell meets the chart, or has no defect of its own against it.

    Returns
    -------
    tuple of arrays
        Of shape (offsets,) each.
    """
    more = [np.ones(good.shape[-1]), np.ones(good.shape[-1])]
    for cells in tables.sites:
        each = [_by_deviation(tables, factors.get(cell), cell) for cell in cells]
        all_good, all_sound, read = (
            tables.grid.spread * np.prod(np.stack(values), axis=0)
            for values in zip(*each, strict=True)
        )
        total = np.maximum(read.sum(axis=-1), LEAST)
        for n, (joint, apiece) in enumerate(((all_good, good), (all_sound, sound))):
            apart = np.prod([apiece[cell] for cell in cells], axis=0)
            chance = joint.sum(axis=-1) / total
            more[n] *= np.where(apart > LEAST, chance / np.maximum(apart, LEAST), 1.0)
    return more[0], more[1]


def _by_deviation(
    tables: Tables, factor: CellFactor | None, cell: Cell
) -> tuple[Floats, Floats, Floats]:
    """Return how likely a cell is good, is sound, and reads as it does, relative, no fault.

    By deviation, shape (offsets, deviations) each.
    """
    k, p = cell
    met, category = tables.good[k, p], tables.healthy[k, p]
    if factor is None:
        rate = 1.0 - tables.latents.local[k, p] - tables.latents.wandering[k, p]
        shown = window(tables.grid, (tables.parts @ met)[category])
        ones = np.ones(_shape(tables))
        local = float(tables.local_good[k, p])
        return rate * shown + local, (rate + local) * ones, ones
    deviation, known = factor.healthy_deviation, factor.known_deviation[0]
    share = deviation / tables.grid.spread
    own = share_of(factor.log_defect, factor.log[:1], met[: tables.bins.count])[0][:, None] * known
    shown = window(tables.grid, factor.value(met)[category])
    every = share + (1.0 - deviation.sum(axis=-1))[:, None] * known
    return share * shown + own, share + own, every


def _shape(tables: Tables) -> tuple[int, int]:
    return len(tables.grid.offsets), len(tables.grid.spread)
