"""Two faults that one reading sees both of: a reading across two contacts in series.

Only pairs that the chart does not list see two faults that are a hypothesis together. What such a
reading finds is as bad as the worse of the two leaves it, and chatters if either does.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.cells import CellCauses, Cells
from benchproof.diagnose.mixtures import Categories, worse_of
from benchproof.network.resistance import Floats, Ints


@dataclass(frozen=True)
class Together:
    """The pairs of faults that both touch one cell.

    Attributes
    ----------
    first, second : array of int, shape (pairs,)
        The rows of the two, among the causes that touch the cell.
    category : array, shape (pairs, angles)
        What is there.
    """

    first: Ints
    second: Ints
    category: Categories


@dataclass(frozen=True)
class Twofold:
    """Which two causes can be there together.

    Attributes
    ----------
    able : array of int
        The causes that can be one of two, rising; most come alone.
    apart : array, shape (able, able)
        1 where two of them can be there together, else 0; symmetrical.
    place : array of int, shape (causes,)
        Where among `able` each cause is; -1 for one that comes alone.
    """

    able: Ints
    apart: Floats
    place: Ints

    @property
    def count(self) -> int:
        """How many pairs of causes there are."""
        return int(np.count_nonzero(self.apart)) // 2

    def allows(self, one: int, other: int) -> bool:
        """Return whether two causes can be there together."""
        at = int(self.place[one]), int(self.place[other])
        return min(at) >= 0 and bool(self.apart[at])

    def of(self, rows: Ints) -> Floats:
        """Return 1 for each two of some causes that can be there together, (rows, rows)."""
        found = np.zeros((len(rows), len(rows)))
        able = np.flatnonzero(self.place[rows] >= 0)
        at = self.place[rows[able]]
        found[np.ix_(able, able)] = self.apart[np.ix_(at, at)]
        return found

    def among(self, rows: Ints) -> tuple[Ints, Ints]:
        """Return where among some causes the first and the second of each pair of them are."""
        able = np.flatnonzero(self.place[rows] >= 0)
        at = self.place[rows[able]]
        first, second = np.nonzero(np.triu(self.apart[np.ix_(at, at)]))
        return able[first], able[second]

    def without(self, first: Ints, second: Ints) -> "Twofold":
        """Return what is left without some pairs of causes."""
        apart = self.apart.copy()
        one, other = self.place[first], self.place[second]
        apart[one, other] = apart[other, one] = 0.0
        return Twofold(self.able, apart, self.place)


def twofold_of(able: Ints, cells: Cells, charted: int) -> Twofold:
    """Return which causes can be there together: those that share no charted cell.

    Parameters
    ----------
    able : array of int
        The causes of a kind that can come in twos.
    cells : Cells
        What is there.
    charted : int
        How many of the pairs are charted.
    """
    last = int(cells.first[charted * cells.positions])
    place = np.full(int(cells.cause.max(initial=0)) + 1, -1)
    place[able] = np.arange(len(able))
    touched = np.zeros((len(able), charted * cells.positions))
    cell = np.repeat(np.arange(len(cells.first) - 1), np.diff(cells.first))[:last]
    at = place[cells.cause[:last]]
    touched[at[at >= 0], cell[at >= 0]] = 1.0
    apart = (touched @ touched.T == 0.0).astype(np.float64)
    some = apart.any(axis=1)
    place[able] = np.where(some, np.cumsum(some) - 1, -1)
    return Twofold(able[some], apart[np.ix_(some, some)], place)


class Everywhere(Mapping[tuple[int, int], Together]):
    """What is found in each of some cells, looked for when it is first asked for.

    Parameters
    ----------
    cells : sequence of (int, int)
        The cells, pair and position.
    find : callable
        Finds it of one cell.
    """

    def __init__(
        self, cells: Sequence[tuple[int, int]], find: Callable[[int, int], Together]
    ) -> None:
        self._found: dict[tuple[int, int], Together | None] = dict.fromkeys(cells)
        self._find = find

    def __getitem__(self, cell: tuple[int, int]) -> Together:
        """Return what is found in one cell."""
        found = self._found[cell]
        if found is None:
            found = self._found[cell] = self._find(*cell)
        return found

    def __iter__(self) -> Iterator[tuple[int, int]]:
        """Yield the cells."""
        return iter(self._found)

    def __len__(self) -> int:
        """Return how many cells there are."""
        return len(self._found)


def together_in(cell: CellCauses, twofold: Twofold, main: Ints, bins: int) -> Together:
    """Return the pairs of faults that both touch a cell.

    Parameters
    ----------
    cell : CellCauses
        What each cause makes of it.
    twofold : Twofold
        Which causes go together.
    main : array, shape (categories,)
        The likeliest bin of each category.
    bins : int
        How many bins there are.
    """
    first, second = twofold.among(cell.rows)
    category = cell.category
    return Together(
        first, second, series(category[0], category[first], category[second], main, bins)
    )


def series(
    healthy: Categories, first: Categories, second: Categories, main: Ints, bins: int
) -> Categories:
    """Return what two faults make together of a cell, from what each makes of it alone.

    Parameters
    ----------
    healthy, first, second : array
        Categories without fault and with either.
    main : array, shape (categories,)
        The likeliest bin of each category.
    bins : int
        How many bins there are.
    """
    both = worse_of(main, bins, first, second)
    return np.where(first == healthy, second, np.where(second == healthy, first, both))


def same_pairs(numbers: Sequence[tuple[Ints, Ints]], causes: int) -> tuple[Ints, Ints, Ints]:
    """Return each pair of causes once, and which of them each of those given is.

    Parameters
    ----------
    numbers : sequence of (array of int, array of int)
        Numbers of the first and second cause of pairs, several arrays of them.
    causes : int
        How many causes there are.
    """
    keys = np.concatenate([first * causes + second for first, second in numbers])
    distinct, which = np.unique(keys, return_inverse=True)
    return distinct // causes, distinct % causes, which.reshape(-1)
