"""The tables laid out for sums over whole runs of angles, where a category stays the same.

A probability that is spread over the angles of a cell gives the probability of each category there
by one difference of running sums a run. The planner does this for every cell at once.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import Grid
from benchproof.diagnose.mixtures import Categories
from benchproof.diagnose.together import same_pairs
from benchproof.network.resistance import Floats, Ints

if TYPE_CHECKING:
    from benchproof.diagnose.tables import Tables


@dataclass(frozen=True)
class Runs:
    """Runs of angles in which what is there stays the same, for several sources of probability.

    Attributes
    ----------
    cell : array of int, shape (runs,)
        The cell, pair * positions + position.
    source : array of int, shape (runs,)
        What has the probability: a cause or a pair of causes.
    start, end : array of int, shape (runs,)
        The first angle of the run and the first one after it.
    category : array of int, shape (runs,)
        What is there, of the pure categories.
    share : array, shape (runs,)
        How much of it the run adds to the category, or, below zero, takes from it.
    """

    cell: Ints
    source: Ints
    start: Ints
    end: Ints
    category: Ints
    share: Floats


@dataclass(frozen=True)
class Layout:
    """The tables laid out for sums over angles.

    Attributes
    ----------
    onto : array, shape (offsets, angles)
        Probability of each angle of a cell not read, given the offset.
    playing : array, shape (angles, angles)
        Probability of a reading's angle given the cell's, with play.
    leaning : array, shape (angles, angles)
        The same for a lean, about the angle it is meant to be.
    met : array, shape (charted, positions, angles)
        How likely a part without fault meets the chart.
    healthy : Runs
        Every cell without fault.
    faulty : Runs
        What each cause changes; a run is added to what is there and taken from what would be.
    first, second : array of int, shape (pairs,)
        Pairs of causes that some cell sees both of, each once.
    together : Runs
        What such a pair changes beyond what each of its causes does.
    """

    onto: Floats
    playing: Floats
    leaning: Floats
    met: Floats
    healthy: Runs
    faulty: Runs
    first: Ints
    second: Ints
    together: Runs

    def number(self, first: Ints, second: Ints) -> Ints:
        """Return the numbers of pairs of causes among `first` and `second`."""
        # Pairs are in order of their first cause, then of their second.
        causes = 1 + max(int(self.second.max(initial=0)), int(second.max(initial=0)))
        found: Ints = np.searchsorted(self.first * causes + self.second, first * causes + second)
        return found


def layout_of(tables: "Tables") -> Layout:
    """Lay out the tables."""
    grid = tables.grid
    there = tables.category[0, : tables.charted].astype(np.intp)
    met = np.take_along_axis(tables.good @ tables.parts.T, there, axis=2)
    first, second, together = _together(tables)
    return Layout(
        onto=tables.onto,
        playing=_kernel(grid, grid.play_spread),
        leaning=_kernel(grid, grid.lean_spread),
        met=met,
        healthy=_expanded(tables, _healthy(tables)),
        faulty=_expanded(tables, _faulty(tables)),
        first=first,
        second=second,
        together=_expanded(tables, together),
    )


def _expanded(tables: "Tables", runs: Runs) -> Runs:
    """Return the runs with each mixture as a run a bin."""
    which, category = np.nonzero(tables.parts[runs.category])
    return Runs(
        runs.cell[which],
        runs.source[which],
        runs.start[which],
        runs.end[which],
        category,
        runs.share[which] * tables.parts[runs.category[which], category],
    )


def _kernel(grid: Grid, spread: Floats) -> Floats:
    """Return a symmetrical spread as a matrix from angle to angle."""
    count = len(grid.angles)
    apart = np.abs(np.arange(count)[:, None] - np.arange(count))
    reach = len(spread) // 2
    kernel: Floats = np.where(apart <= reach, spread[reach + np.minimum(apart, reach)], 0.0)
    return kernel


def _healthy(tables: "Tables") -> Runs:
    category = tables.category[0]
    cells = np.arange(category.shape[0] * category.shape[1])
    flat = category.reshape(len(cells), -1)
    row, start, end = runs_of(flat)
    return Runs(
        cells[row],
        np.zeros(len(row), dtype=np.intp),
        start,
        end,
        flat[row, start].astype(np.intp),
        np.ones(len(row)),
    )


def _faulty(tables: "Tables") -> Runs:
    cell, cause = _rows(tables)
    positions = len(tables.family.positions)
    own = tables.category[cause, cell // positions, cell % positions]
    healthy = tables.category[0, cell // positions, cell % positions]
    row, start, end = _changed(own, healthy)
    return _moved(
        (cell[row], cause[row], start, end),
        add=(own[row, start],),
        take=(healthy[row, start],),
    )


def _rows(tables: "Tables") -> tuple[Ints, Ints]:
    """Return the cell and the cause of every cause that touches a cell, no fault left out."""
    positions = len(tables.family.positions)
    cells = [
        np.full(len(rows) - 1, k * positions + p)
        for k, pair in enumerate(tables.affected)
        for p, rows in enumerate(pair)
    ]
    causes = [rows[1:] for pair in tables.affected for rows in pair]
    return np.concatenate(cells), np.concatenate(causes)


def _together(tables: "Tables") -> tuple[Ints, Ints, Runs]:
    positions = len(tables.family.positions)
    shared = [(k, p, both) for (k, p), both in tables.together.items() if len(both.first)]
    if not shared:
        none = np.zeros(0, dtype=np.intp)
        return none, none, Runs(none, none, none, none, none, np.zeros(0))
    numbers = [
        (tables.affected[k][p][both.first], tables.affected[k][p][both.second])
        for k, p, both in shared
    ]
    first, second, which = same_pairs(numbers, len(tables.causes))
    cell = np.concatenate([np.full(len(b.first), k * positions + p) for k, p, b in shared])
    both = np.concatenate([b.category for _, _, b in shared])
    at = cell // positions, cell % positions
    one, other = tables.category[first[which], *at], tables.category[second[which], *at]
    healthy = tables.category[0, *at]
    # Where only one of the two changes anything, `faulty` has it right.
    stay = (one == healthy) | (other == healthy)
    row, start, end = _changed(np.where(stay, healthy, one), healthy, other, both)
    runs = _moved(
        (cell[row], which[row], start, end),
        add=(both[row, start], healthy[row, start]),
        take=(one[row, start], other[row, start]),
    )
    return first, second, runs


def _changed(
    category: Categories, healthy: Categories, *more: Categories
) -> tuple[Ints, Ints, Ints]:
    """Return row, start and end of the runs where a category is not that without fault."""
    key = category.astype(np.int64)
    for other in (healthy, *more):
        key = key * 65536 + other
    row, start, end = runs_of(np.where(category == healthy, -1, key))
    kept = category[row, start] != healthy[row, start]
    return row[kept], start[kept], end[kept]


def runs_of(values: NDArray[np.generic]) -> tuple[Ints, Ints, Ints]:
    """Return row, start and end of every run of equal values along the rows."""
    rows, count = values.shape
    begins = np.ones((rows, count), dtype=np.bool_)
    begins[:, 1:] = values[:, 1:] != values[:, :-1]
    flat = np.flatnonzero(begins)
    row, start = np.divmod(flat, count)
    end = np.append(flat[1:], rows * count) - row * count
    return row, start, end


def _moved(
    where: tuple[Ints, Ints, Ints, Ints],
    add: tuple[Categories, ...],
    take: tuple[Categories, ...],
) -> Runs:
    """Return runs that add to some categories and take from others."""
    cell, source, start, end = (np.tile(x, len(add) + len(take)) for x in where)
    share = np.repeat([1.0] * len(add) + [-1.0] * len(take), len(where[0]))
    category = np.concatenate([*add, *take]).astype(np.intp)
    return Runs(cell, source, start, end, category, share)
