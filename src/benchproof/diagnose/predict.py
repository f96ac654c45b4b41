"""What a further reading of one cell would find, for every explanation that touches it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import window
from benchproof.diagnose.layout import runs_of
from benchproof.diagnose.mixtures import Categories
from benchproof.diagnose.tables import Tables
from benchproof.family.remembered import once_each
from benchproof.network.resistance import Floats, Ints

LEANS = (0, -1, 1)
"""In the detent, toward the position before, toward the one after."""


def lean_steps(tables: Tables) -> Ints:
    """Return the steps of each lean, shape (leans, positions); zero where there is none."""
    return np.vstack([np.zeros_like(tables.grid.lean_steps[:, 0]), tables.grid.lean_steps.T])


@dataclass(frozen=True)
class FoundShare:
    """Probability of what is found, given the explanation and the offset; the rest is zero.

    Attributes
    ----------
    row : array of int, shape (entries,)
        Which explanation, of those that touch the cell.
    category : array of int, shape (entries,)
        What is there, of the pure categories.
    share : array, shape (leans, entries, offsets)
        Its probability.
    """

    row: Ints
    category: Ints
    share: Floats


@dataclass(frozen=True)
class Predicted:
    """What a further reading of a cell would find.

    Attributes
    ----------
    found : FoundShare
        For the causes that touch the cell.
    good : FoundShare
        Without fault, and the cell meets the chart; all that is found in a pair not charted.
    safe : FoundShare
        As `found`, and the cell in its detent does not conduct; `found` itself unless that is a
        hazard.
    together : FoundShare or None
        For the pairs of faults that both touch the cell; None if they were not asked for.
    """

    found: FoundShare
    good: FoundShare
    safe: FoundShare
    together: FoundShare | None


def predict(
    tables: Tables,
    k: int,
    p: int,
    deviation: Floats,
    told: Floats,
    deviation_together: Floats | None = None,
) -> Predicted:
    """Return what a further reading of a cell would find.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    k, p : int
        Pair and position.
    deviation : array, shape (rows, offsets, deviations)
        Probability of each deviation of the cell given its readings.
    told : array, shape (pure categories,)
        What the readings in the detent say of each: ones if there are none.
    deviation_together : array, shape (pairs, offsets, deviations), optional
        The same for the pairs of faults that both touch the cell; not for a charted one.
    """
    here = tables.cell(k, p)
    rows, category = here.rows, here.category
    plays = rows == tables.play_cause
    cell = _Cell(tables, p, told)
    found = cell.found(category, deviation, plays)
    healthy = found.row == 0
    good = FoundShare(found.row[healthy], found.category[healthy], found.share[:, healthy])
    safe, together = found, None
    if k < tables.charted:
        none = np.zeros(1, dtype=np.bool_)
        good = cell.found(category[:1], deviation[:1], plays[:1], tables.good[k, p], none)
        if tables.hazard[k, p]:
            open_ = ~tables.conducting
            held = tables.hook_up[rows]
            part = tables.part_category(k, p)[held]
            own = deviation.copy()
            own[held] *= window(tables.grid, (tables.parts @ open_)[part])
            safe = cell.found(category, own, plays, open_, held)
    if deviation_together is not None:
        both = tables.together[k, p].category
        together = cell.found(both, deviation_together, np.zeros(len(both), dtype=np.bool_))
    return Predicted(found, good, safe, together)


@dataclass(frozen=True)
class _Cell:
    """A cell in a position, with what the readings in its detent say of the pure categories."""

    tables: Tables
    p: int
    told: Floats

    def found(
        self,
        category: Categories,
        deviation: Floats,
        plays: NDArray[np.bool_],
        value: NDArray[np.bool_] | None = None,
        held: NDArray[np.bool_] | None = None,
    ) -> FoundShare:
        """Return what is found.

        Parameters
        ----------
        category : array, shape (rows, angles)
            What is there.
        deviation : array, shape (rows, offsets, deviations)
            Probability of each deviation of the cell.
        plays : array of bool, shape (rows,)
            Which rows are detent play.
        value : array of bool, shape (pure categories,), optional
            What the cell must be in its detent to count.
        held : array of bool, shape (rows,), optional
            The rows for which it need not.
        """
        tables, grid = self.tables, self.tables.grid
        at_row, start, _ = runs_of(category)
        row, kind = np.divmod(np.unique(at_row * 65536 + category[at_row, start]), 65536)
        there = (category[row] == kind[:, None]).astype(np.float64)
        there[plays[row]] = there[plays[row]] @ tables.playing
        leaned = _smoothed(there, grid.lean_spread)
        own = tables.parts * self.told
        own /= np.maximum(own.sum(axis=1, keepdims=True), 1e-300)
        leaning = deviation
        if value is not None and held is not None:
            share = window(grid, (own @ value)[category])
            leaning = np.where(held[:, None, None], deviation, deviation * share)
        offsets = deviation.shape[1]
        in_detent, sideways = (
            np.ascontiguousarray(w.transpose(2, 0, 1))[:, row] for w in (deviation, leaning)
        )
        seen = np.zeros((len(LEANS), len(row), offsets))
        for number, steps in enumerate(lean_steps(tables)[:, self.p].tolist()):
            shown, first = leaned if LEANS[number] else there, grid.start(steps)
            weight = sideways if LEANS[number] else in_detent
            for d in range(len(weight)):
                seen[number] += weight[d] * shown[:, first + d : first + d + offsets]
        entry, pure = np.nonzero(tables.parts[kind])
        found = seen[:, entry] * tables.parts[kind[entry], pure][:, None]
        found[0] = seen[0, entry] * own[kind[entry], pure][:, None]
        if value is not None and held is not None:
            found[0] *= (value[pure] | held[row[entry]])[:, None]
        some = found.any(axis=(0, 2))
        return FoundShare(row[entry][some], pure[some], found[:, some])


def _smoothed(values: Floats, spread: Floats) -> Floats:
    """Return values by angle as a symmetrical spread of the angle shows them."""
    reach, count = len(spread) // 2, values.shape[1]
    wide = np.pad(values, ((0, 0), (reach, reach)))
    smooth = np.zeros_like(values)
    for shift, share in enumerate(spread.tolist()):
        smooth += share * wide[:, shift : shift + count]
    return smooth


@once_each
def unread_predicted(tables: Tables) -> Mapping[tuple[int, int], Predicted]:
    """Return what a reading of each hazard cell not read would find, by pair and position."""
    found = {}
    for k, p in np.argwhere(tables.hazard).tolist():
        shape = len(tables.affected[k][p]), len(tables.grid.offsets), len(tables.grid.spread)
        sound = 1.0 - tables.latents.local[k, p] - tables.latents.wandering[k, p]
        told = np.broadcast_to(sound * tables.grid.spread, shape)
        found[k, p] = predict(tables, k, p, told, np.ones(2 * tables.bins.count))
    return found
