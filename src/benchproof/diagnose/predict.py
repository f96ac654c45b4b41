"""What a further reading of one cell would find, for every explanation that touches it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchproof.diagnose.grid import window
from benchproof.network.resistance import Floats, Ints

if TYPE_CHECKING:
    from benchproof.diagnose.tables import Tables

LEANS = (0, -1, 1)
"""In the detent, toward the position before, toward the one after."""


def lean_steps(tables: "Tables") -> Ints:
    """Return the steps of each lean, shape (leans, positions); zero where there is none."""
    return np.vstack([np.zeros_like(tables.grid.lean_steps[:, 0]), tables.grid.lean_steps.T])


@dataclass(frozen=True)
class Predicted:
    """What a further reading of a cell would find; probabilities given the cause and offset.

    Attributes
    ----------
    categories : array of int, shape (categories,)
        The categories that occur in the cell.
    found : array, shape (rows, offsets, leans * categories)
        Of each category, for the causes that touch the cell.
    good : array, shape (offsets, leans * categories)
        The same without fault, and that the cell meets the chart; `found[0]` for a pair that is
        not charted.
    safe : array, shape (rows, offsets, leans * categories)
        As `found`, and that the cell in its detent does not conduct; `found` itself unless that
        is a hazard.
    together : array, shape (pairs, offsets, leans * categories)
        As `found`, for the pairs of faults that both touch the cell.
    """

    categories: Ints
    found: Floats
    good: Floats
    safe: Floats
    together: Floats


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
    grid, layout = tables.grid, tables.layout
    rows = tables.affected[k][p]
    category = tables.category[rows, k, p]
    categories = np.unique(category)
    both = None if deviation_together is None else tables.together[k, p]
    if both is not None:
        categories = np.union1d(categories, both.category)
    there = (category[:, None, :] == categories[:, None]).astype(np.float64)
    plays = rows == tables.play_cause
    there[plays] = there[plays] @ layout.playing
    leans = _leans(tables, there, p)
    found = _over(deviation, leans)
    good, safe = found[0], found
    together = np.zeros((0, *good.shape))
    if k < tables.charted:
        met = deviation[:1] * window(grid, layout.met[k, p])
        good = _over(met, [shown[:1] for shown in leans])[0]
        if tables.hazard[k, p]:
            conducting = tables.conducting[tables.part_category(rows, k, p)]
            safe = _over(deviation * window(grid, ~conducting), leans)
    elif both is not None and deviation_together is not None:
        there = (both.category[:, None, :] == categories[:, None]).astype(np.float64)
        together = _over(deviation_together, _leans(tables, there, p))
    return Predicted(categories.astype(np.intp), found, good, safe, together)


def _leans(tables: "Tables", there: Floats, p: int) -> list[Floats]:
    """Return values by angle as each lean shows them.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    there : array, shape (rows, categories, angles)
        What is there.
    p : int
        Position.

    Returns
    -------
    list of arrays, shape (rows, categories, offsets, deviations)
    """
    leaned = there @ tables.layout.leaning
    steps = lean_steps(tables)[:, p].tolist()
    return [
        window(tables.grid, leaned if lean else there, step)
        for lean, step in zip(LEANS, steps, strict=True)
    ]


def _over(deviation: Floats, leans: list[Floats]) -> Floats:
    """Return the probability of each category under each lean, deviations summed out."""
    return np.concatenate(
        [np.einsum("rxd,rcxd->rxc", deviation, shown) for shown in leans], axis=2
    )
