"""What each cause makes of each cell, kept for the causes that touch the cell only.

Most causes leave most cells as they are, and many make the same of a cell: what is there by angle
is a *pattern*, and a cell keeps the numbers of its causes and of their patterns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.mixtures import Categories
from benchproof.network.resistance import Ints


@dataclass(frozen=True)
class CellCauses:
    """What is there in one cell, for the causes that touch it.

    Attributes
    ----------
    rows : array of int
        The causes that differ from no fault anywhere in it, rising; the first, always, is no fault,
        and detent play is always one of them.
    category : array, shape (rows, angles)
        What is there.
    """

    rows: Ints
    category: Categories


@dataclass(frozen=True)
class Cells:
    """What is there in every cell.

    Attributes
    ----------
    positions : int
        How many positions there are; cells are numbered pair * positions + position.
    first : array of int, shape (cells + 1,)
        Where each cell's causes begin in the two arrays below.
    cause, pattern : array of int
        The numbers of the causes that touch each cell, rising, and of what each makes of it.
    patterns : array, shape (patterns, angles)
        What is there by angle.
    """

    positions: int
    first: Ints
    cause: Ints
    pattern: Ints
    patterns: Categories

    def cell(self, k: int, p: int) -> CellCauses:
        """Return one cell, by pair and position."""
        at = k * self.positions + p
        own = slice(int(self.first[at]), int(self.first[at + 1]))
        return CellCauses(self.cause[own], self.patterns[self.pattern[own]])

    def there(self, cause: int, k: int, p: int) -> Categories:
        """Return what is there by angle for any one cause, whether it touches the cell or not."""
        cell = self.cell(k, p)
        at = int(np.searchsorted(cell.rows, cause))
        touches = at < len(cell.rows) and cell.rows[at] == cause
        found: Categories = cell.category[at if touches else 0]
        return found

    @cached_property
    def healthy(self) -> Categories:
        """What is there without fault, shape (pairs, positions, angles)."""
        # A cell's first cause is no fault.
        found: Categories = self.patterns[self.pattern[self.first[:-1]]]
        return found.reshape(-1, self.positions, found.shape[1])

    @cached_property
    def affected(self) -> tuple[tuple[Ints, ...], ...]:
        """The causes that touch each cell, [pair][position]."""
        rows = np.split(self.cause, self.first[1:-1])
        return tuple(
            tuple(rows[at : at + self.positions]) for at in range(0, len(rows), self.positions)
        )


class Patterns:
    """Patterns, numbered as they come up."""

    def __init__(self) -> None:
        self._number: dict[bytes, int] = {}
        self._rows: list[Categories] = []

    @property
    def rows(self) -> Categories:
        """All of them, shape (patterns, angles)."""
        return np.stack(self._rows)

    def numbered(self, rows: Categories) -> Ints:
        """Return the number of each pattern, of an array of shape (any, angles)."""
        first, which = distinct_rows(rows)
        numbers = np.empty(len(first), dtype=np.intp)
        for n, row in enumerate(rows[first]):
            key = row.tobytes()
            if key not in self._number:
                self._number[key] = len(self._rows)
                self._rows.append(row)
            numbers[n] = self._number[key]
        found: Ints = numbers[which]
        return found

    def placed(self, by_state: Categories, which: Ints) -> Ints:
        """Return the pattern that each row of categories by state makes in each position.

        Parameters
        ----------
        by_state : array, shape (rows, states)
            Categories in each state of the contacts.
        which : array of int, shape (positions, angles)
            The state that holds at each angle.

        Returns
        -------
        array of int, shape (rows, positions)
        """
        found = np.empty((len(by_state), len(which)), dtype=np.intp)
        for p, at in enumerate(which):
            states, local = np.unique(at, return_inverse=True)
            own = by_state[:, states]
            first, rows = distinct_rows(own)
            found[:, p] = self.numbered(own[first][:, local.reshape(-1)])[rows]
        return found


def distinct_rows(rows: NDArray[Any]) -> tuple[Ints, Ints]:
    """Return where each row is first found, and for each row which of those it is.

    Parameters
    ----------
    rows : array of whole numbers, shape (rows, any)
        The rows.
    """
    # One number a row sorts a hundred times quicker than rows do; wrapping around is meant.
    odd = np.uint64(0x9E3779B97F4A7C15)
    powers = np.cumprod(np.full(rows.shape[1], odd))
    key = (rows.astype(np.uint64) + np.uint64(1)) @ powers
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    which = which.reshape(-1)
    if (rows[first[which]] != rows).any():
        _, first, which = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    return first, which.reshape(-1)


@dataclass(frozen=True)
class Touch:
    """What one cause makes of the pairs that it touches.

    Attributes
    ----------
    pairs : array of int
        The pairs.
    pattern : array of int, shape (pairs, positions)
        The pattern in each of their cells.
    """

    pairs: Ints
    pattern: Ints


def cells_of(healthy: Ints, touches: Sequence[Touch], everywhere: int, patterns: Patterns) -> Cells:
    """Return what is there in every cell.

    Parameters
    ----------
    healthy : array of int, shape (pairs, positions)
        The pattern of each cell without fault.
    touches : sequence of Touch, one a cause
        The first is no fault.
    everywhere : int
        The cause that counts as touching every cell.
    patterns : Patterns
        The patterns.
    """
    pairs, positions = healthy.shape
    cells, causes, found = [], [], []
    for number, touch in enumerate(touches):
        at, p = np.nonzero(touch.pattern != healthy[touch.pairs])
        cells.append(touch.pairs[at] * positions + p)
        causes.append(np.full(len(at), number))
        found.append(touch.pattern[at, p])
    for always in dict.fromkeys((0, everywhere)):
        cells.append(np.arange(pairs * positions))
        causes.append(np.full(pairs * positions, always))
        found.append(healthy.ravel())
    cell, cause, pattern = (np.concatenate(parts) for parts in (cells, causes, found))
    order = np.lexsort((cause, cell))
    first = np.searchsorted(cell[order], np.arange(pairs * positions + 1))
    return Cells(
        positions,
        first.astype(np.intp),
        cause[order].astype(np.intp),
        pattern[order].astype(np.intp),
        patterns.rows,
    )
