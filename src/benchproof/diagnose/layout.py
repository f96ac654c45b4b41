"""The tables laid out for sums over whole runs of angles, where a category stays the same.

A probability that is spread over the angles of a cell gives the probability of each category there
by one difference of running sums a run. The planner does this for every cell at once. Causes of one
kind that make the same of a cell count together, as a *bundle*, and a bundle is the same in many
cells.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.cells import distinct_rows
from benchproof.diagnose.mixtures import Categories
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.twofaults import same_pairs, series
from benchproof.family.remembered import once_each
from benchproof.network.resistance import Floats, Ints


@dataclass(frozen=True)
class Runs:
    """Runs of angles in which what is there stays the same, for several sources of probability.

    Attributes
    ----------
    cell : array of int, shape (runs,)
        The cell, pair * positions + position.
    source : array of int, shape (runs,)
        What has the probability: a bundle of causes or of pairs of causes.
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
class Bundles:
    """Causes, or pairs of them, that count together.

    Attributes
    ----------
    member : array of int
        The members, bundle by bundle.
    first : array of int, shape (bundles,)
        Where each bundle's members begin; none is empty, and the largest bundles come first.
    """

    member: Ints
    first: Ints

    @cached_property
    def _with_more(self) -> list[int]:
        """How many bundles have more than one member, more than two, and so on."""
        count = np.diff(np.append(self.first, len(self.member)))
        more = np.bincount(count)[::-1].cumsum()[::-1]
        return [*more[2:].tolist()]

    def summed(self, values: Floats) -> Floats:
        """Return the sum of each bundle's members, (bundles, any), of values of all members."""
        found: Floats = values[self.member[self.first]]
        for n, count in enumerate(self._with_more, 1):
            found[:count] += values[self.member[self.first[:count] + n]]
        return found


@dataclass(frozen=True)
class Layout:
    """The tables laid out for sums over angles.

    Attributes
    ----------
    met : array, shape (charted, positions, angles)
        How likely a part without fault meets the chart.
    healthy : Runs
        Every cell without fault; there is one source.
    faulty : Runs
        What each cause changes; a run is added to what is there and taken from what would be.
    causes : Bundles
        The causes that are the sources of `faulty`; those of one bundle are of one kind.
    first, second : array of int, shape (pairs,)
        Pairs of causes that some cell sees both of, each once.
    together : Runs
        What such a pair changes beyond what each of its causes does.
    pairs : Bundles
        The pairs that are the sources of `together`.
    """

    met: Floats
    healthy: Runs
    faulty: Runs
    causes: Bundles
    first: Ints
    second: Ints
    together: Runs
    pairs: Bundles

    def number(self, first: Ints, second: Ints) -> Ints:
        """Return the numbers of pairs of causes among `first` and `second`."""
        # Pairs are in order of their first cause, then of their second.
        causes = 1 + max(int(self.second.max(initial=0)), int(second.max(initial=0)))
        found: Ints = np.searchsorted(self.first * causes + self.second, first * causes + second)
        return found


@once_each
def layout_of(tables: Tables) -> Layout:
    """Return the tables laid out for sums over angles."""
    there = tables.healthy[: tables.charted].astype(np.intp)
    met = np.take_along_axis(tables.good @ tables.parts.T, there, axis=2)
    faulty, causes = _faulty(tables)
    first, second, together, pairs = _together(tables)
    return Layout(met, _healthy(tables), faulty, causes, first, second, together, pairs)


def _healthy(tables: Tables) -> Runs:
    cells = tables.cells
    pattern = cells.pattern[cells.first[:-1]]
    distinct, which = np.unique(pattern, return_inverse=True)
    there = cells.patterns[distinct]
    row, start, end = runs_of(there)
    change = _Change(row, start, end, there[row, start].astype(np.intp), np.ones(len(row)))
    number = np.arange(len(pattern))
    return change.split(tables.parts).placed(which.reshape(-1), number, np.zeros_like(number))


def _faulty(tables: Tables) -> tuple[Runs, Bundles]:
    cells = tables.cells
    cell = np.repeat(np.arange(len(cells.first) - 1), np.diff(cells.first))
    without = cells.pattern[cells.first[:-1]][cell]
    touching = np.flatnonzero(cells.pattern != without)
    cell, cause = cell[touching], cells.cause[touching]
    key = np.stack([cells.pattern[touching], without[touching]], axis=1)
    first, what = distinct_rows(key)
    own, healthy = cells.patterns[key[first].T]
    row, start, end = _changed(own, healthy)
    change = _moved(row, start, end, (own,), (healthy,))
    names = [None if one is None else one.kind for one in tables.causes]
    order = {name: n for n, name in enumerate(dict.fromkeys(names))}
    kind = np.array([order[name] for name in names])[cause]
    example, bundle, bundles = _bundled(np.stack([cell, what, kind], axis=1), cause)
    return change.split(tables.parts).placed(what[example], cell[example], bundle), bundles


def _together(tables: Tables) -> tuple[Ints, Ints, Runs, Bundles]:
    cells, positions = tables.cells, len(tables.family.positions)
    able = np.flatnonzero(tables.twofold.place >= 0)
    begin = tables.charted * positions
    held = np.isin(cells.cause, able)
    shared = []
    for at in range(begin, len(cells.first) - 1):
        own = slice(int(cells.first[at]), int(cells.first[at + 1]))
        if int(held[own].sum()) > 1:
            one, other = tables.twofold.among(cells.cause[own])
            if len(one):
                shared.append((at, own.start, own.start + one, own.start + other))
    none = np.zeros(0, dtype=np.intp)
    if not shared:
        return none, none, Runs(none, none, none, none, none, np.zeros(0)), Bundles(none, none)
    numbers = [(cells.cause[one], cells.cause[other]) for _, _, one, other in shared]
    first, second, pair = same_pairs(numbers, len(tables.causes))
    cell = np.concatenate([np.full(len(one), at) for at, _, one, _ in shared])
    without = np.concatenate([np.full(len(one), begins) for _, begins, one, _ in shared])
    one, other = (np.concatenate([part[n] for part in shared]) for n in (2, 3))
    key = cells.pattern[np.stack([without, one, other], axis=1)]
    example, what = distinct_rows(key)
    healthy, own, its = cells.patterns[key[example].T]
    both = series(healthy, own, its, tables.main, tables.bins.count)
    # Where only one of the two changes anything, `faulty` has it right.
    stay = (own == healthy) | (its == healthy)
    row, start, end = _changed(np.where(stay, healthy, own), healthy, its, both)
    change = _moved(row, start, end, (both, healthy), (own, its))
    example, bundle, bundles = _bundled(np.stack([cell, what], axis=1), pair)
    runs = change.split(tables.parts).placed(what[example], cell[example], bundle)
    return first, second, runs, bundles


def _bundled(key: Ints, member: Ints) -> tuple[Ints, Ints, Bundles]:
    """Return what counts together.

    Parameters
    ----------
    key : array of int, shape (entries, any)
        Entries with the same numbers count together.
    member : array of int, shape (entries,)
        Whose probability each entry has.

    Returns
    -------
    tuple of (array, array, Bundles)
        An entry of each group that counts together, and the group's bundle; groups with the same
        members have the same one.
    """
    if not len(member):
        return member, member, Bundles(member, member)
    _, group = distinct_rows(key)
    order = np.lexsort((member, group))
    begins = np.flatnonzero(np.diff(group[order], prepend=-1))
    sets = np.split(member[order], begins[1:])
    number: dict[bytes, int] = {}
    bundle = np.array([number.setdefault(one.tobytes(), len(number)) for one in sets])
    distinct = [np.frombuffer(one, dtype=member.dtype) for one in number]
    count = np.array([len(one) for one in distinct])
    falling = np.argsort(-count, kind="stable")
    place = np.argsort(falling, kind="stable")
    members = np.concatenate([distinct[n] for n in falling.tolist()])
    first = np.cumsum(count[falling]) - count[falling]
    return order[begins], place[bundle], Bundles(members, first)


@dataclass(frozen=True)
class _Change:
    """Runs of what differs somewhere, wherever that is; arrays as in `Runs`."""

    what: Ints
    start: Ints
    end: Ints
    category: Ints
    share: Floats

    def split(self, parts: Floats) -> "_Change":
        """Return the runs with each mixture as a run a bin."""
        which, category = np.nonzero(parts[self.category])
        return _Change(
            self.what[which],
            self.start[which],
            self.end[which],
            category,
            self.share[which] * parts[self.category[which], category],
        )

    def placed(self, what: Ints, cell: Ints, source: Ints) -> Runs:
        """Return the runs of what differs in some cells, each with its source."""
        order = np.argsort(self.what, kind="stable")
        count = np.bincount(self.what, minlength=int(what.max(initial=-1)) + 1)
        begin = np.cumsum(count) - count
        own = count[what]
        place = np.repeat(np.arange(len(what)), own)
        within = np.arange(len(place)) - np.repeat(np.cumsum(own) - own, own)
        run = order[begin[what][place] + within]
        return Runs(
            cell[place],
            source[place],
            self.start[run],
            self.end[run],
            self.category[run],
            self.share[run],
        )


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
    row: Ints, start: Ints, end: Ints, add: tuple[Categories, ...], take: tuple[Categories, ...]
) -> _Change:
    """Return runs that add to some categories and take from others."""
    parts = len(add) + len(take)
    share = np.repeat([1.0] * len(add) + [-1.0] * len(take), len(row))
    category = np.concatenate([there[row, start] for there in (*add, *take)]).astype(np.intp)
    row, start, end = (np.tile(x, parts) for x in (row, start, end))
    return _Change(row, start, end, category, share)
