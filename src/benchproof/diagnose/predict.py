"""What a further reading of one cell would find, for every explanation that touches it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import window
from benchproof.diagnose.layout import runs_of
from benchproof.network.resistance import Floats, Ints

if TYPE_CHECKING:
    from benchproof.diagnose.tables import Tables

LEANS = (0, -1, 1)
"""In the detent, toward the position before, toward the one after."""


def lean_steps(tables: "Tables") -> Ints:
    """Return the steps of each lean, shape (leans, positions); zero where there is none."""
    return np.vstack([np.zeros_like(tables.grid.lean_steps[:, 0]), tables.grid.lean_steps.T])


@dataclass(frozen=True)
class Found:
    """Probability of what is found, given the explanation and the offset; the rest is zero.

    Attributes
    ----------
    row : array of int, shape (entries,)
        Which explanation, of those that touch the cell.
    category : array of int, shape (entries,)
        What is there.
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
    found : Found
        For the causes that touch the cell.
    good : Found
        Without fault, and the cell meets the chart; all that is found in a pair not charted.
    safe : Found
        As `found`, and the cell in its detent does not conduct; `found` itself unless that is a
        hazard.
    together : Found or None
        For the pairs of faults that both touch the cell; None if they were not asked for.
    """

    found: Found
    good: Found
    safe: Found
    together: Found | None


def predict(
    tables: "Tables", k: int, p: int, deviation: Floats, deviation_together: Floats | None = None
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
    deviation_together : array, shape (pairs, offsets, deviations), optional
        The same for the pairs of faults that both touch the cell; not for a charted one.
    """
    grid = tables.grid
    rows = tables.affected[k][p]
    category = tables.category[rows, k, p]
    plays = rows == tables.play_cause
    found = _found(tables, p, category, deviation, plays)
    healthy = found.row == 0
    good = Found(found.row[healthy], found.category[healthy], found.share[:, healthy])
    safe, together = found, None
    if k < tables.charted:
        met = deviation[:1] * window(grid, tables.layout.met[k, p])
        good = _found(tables, p, category[:1], met, plays[:1])
        if tables.hazard[k, p]:
            conducting = tables.conducting[tables.part_category(rows, k, p)]
            safe = _found(tables, p, category, deviation * window(grid, ~conducting), plays)
    if deviation_together is not None:
        both = tables.together[k, p].category
        none = np.zeros(len(both), dtype=np.bool_)
        together = _found(tables, p, both, deviation_together, none)
    return Predicted(found, good, safe, together)


def _found(
    tables: "Tables",
    p: int,
    category: NDArray[np.uint8],
    deviation: Floats,
    plays: NDArray[np.bool_],
) -> Found:
    """Return what is found in a position.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    p : int
        Position.
    category : array of bytes, shape (rows, angles)
        What is there.
    deviation : array, shape (rows, offsets, deviations)
        Probability of each deviation of the cell.
    plays : array of bool, shape (rows,)
        Which rows are detent play.
    """
    grid, layout = tables.grid, tables.layout
    at_row, start, _ = runs_of(category)
    row, kind = np.divmod(np.unique(at_row * 256 + category[at_row, start]), 256)
    there = (category[row] == kind[:, None]).astype(np.float64)
    playing = plays[row]
    there[playing] = there[playing] @ layout.playing
    leaned = _smoothed(there, grid.lean_spread)
    weight = np.ascontiguousarray(deviation.transpose(2, 0, 1))[:, row]
    offsets = deviation.shape[1]
    share = np.zeros((len(LEANS), len(row), offsets))
    for number, steps in enumerate(lean_steps(tables)[:, p].tolist()):
        shown, first = leaned if LEANS[number] else there, grid.start(steps)
        for d in range(len(weight)):
            share[number] += weight[d] * shown[:, first + d : first + d + offsets]
    some = share.any(axis=(0, 2))
    return Found(row[some], kind[some], share[:, some])


def _smoothed(values: Floats, spread: Floats) -> Floats:
    """Return values by angle as a symmetrical spread of the angle shows them."""
    reach, count = len(spread) // 2, values.shape[1]
    wide = np.pad(values, ((0, 0), (reach, reach)))
    smooth = np.zeros_like(values)
    for shift, share in enumerate(spread.tolist()):
        smooth += share * wide[:, shift : shift + count]
    return smooth
