"""The shortest full route of a proof: every cell that the chart asks for, from where things stand.

Start permit cells in which the starter must not turn stand in the route twice: an open there may
be a slipped probe, so it is read once more after the probes have been set again. The second reading
counts as one of a second pair that lies a reseating away from the first; so the two may follow each
other, or a whole sweep of them may be read on the way back.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.family.branches import CASE
from benchproof.family.expectation import Kind
from benchproof.family.model import (
    CellName,
    Family,
    Pair,
    pair_text,
    same_pair,
)
from benchproof.family.safety import safety_of
from benchproof.network.resistance import Floats, Ints
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.bench import Bench, first_seconds, pair_seconds, reseat_seconds
from benchproof.plan.shorten import LEAST_SAVED, MOST_TRIED, path_seconds, shorten, shortest_order


@dataclass(frozen=True)
class Route:
    """The readings of a full proof in order.

    Attributes
    ----------
    readings : tuple of TakeReading
        The readings.
    seconds : float
        How long they take, moves included.
    """

    readings: tuple[TakeReading, ...]
    seconds: float


def runs_of(readings: Sequence[TakeReading]) -> list[tuple[str, list[str]]]:
    """Return readings in runs of one lever position: the position, and its pairs in words."""
    runs: list[tuple[str, list[str]]] = []
    for reading in readings:
        text = pair_text(reading.pair) + (" again" if reading.again else "")
        if not runs or runs[-1][0] != reading.position:
            runs.append((reading.position, []))
        runs[-1][1].append(text)
    return runs


MOST_OF_BEST = 10.0 * MOST_TRIED
"""How long the best of all orders is worked on."""


@dataclass(frozen=True)
class _Work:
    """The readings of a proof as points, and how far apart they are.

    Attributes
    ----------
    position, column : array of int, shape (readings,)
        Lever position of each, and its pair: a number of `pairs`.
    pairs : tuple of pair
        The charted pairs, and once more those that are read twice.
    apart : array, shape (pairs, pairs)
        Seconds from pair to pair.
    seconds : array, shape (1 + readings, 1 + readings)
        Seconds from each to each; the first is where things stand.
    """

    position: Ints
    column: Ints
    pairs: tuple[Pair, ...]
    apart: Floats
    seconds: Floats


def route(
    family: Family, bench: Bench, at: BenchPlace, left: Mapping[CellName, int] | None = None
) -> Route:
    """Return the shortest route found over every cell that a proof has to read.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    bench : Bench
        How long moves take.
    at : BenchPlace
        Where the lever and the meter stand.
    left : mapping of cell to int or None
        How many readings of each cell are left to take, at least one cell; None for all that
        `wanted` asks for. A cell at which things stand is then one that was just read.

    Raises
    ------
    ValueError
        If the place is none of the family's, or the bench cannot reach it.
    """
    work = _work(family, bench, at, wanted(family) if left is None else left)
    if left is not None and at.pair is not None:
        here = [same_pair(work.pairs[k]) == same_pair(at.pair) for k in work.column.tolist()]
        again = np.array(here) & (work.position == family.positions.index(at.position))
        work.seconds[0, 1:] += reseat_seconds(bench) * again
        work.seconds[1:, 0] = work.seconds[0, 1:]
    longest = max(len(family.positions), len(work.pairs))
    orders = [shorten(work.seconds, start, longest) for start in _starts(work)]
    lengths = np.array([path_seconds(work.seconds, order) for order in orders])
    # Of routes alike but for rounding the first: the plainest.
    number = int(np.flatnonzero(lengths <= lengths.min() + LEAST_SAVED * lengths.max())[0])
    best = shorten(work.seconds, orders[number], longest, MOST_OF_BEST)
    total = path_seconds(work.seconds, best) + bench.reading_s * len(work.position)
    return Route(tuple(_readings(family, work, best)), total)


def wanted(family: Family) -> dict[CellName, int]:
    """Return how many readings a proof takes of each cell that the chart asks for.

    A start permit cell that must be open is read twice, whatever the chart says of it.
    """
    again = safety_of(family).must_be_open
    cells = {
        (position, same_pair(row.pair)): expectation.kind
        for row in family.chart
        for position, expectation in zip(family.positions, row.expect, strict=True)
    }
    asked = {cell for cell, kind in cells.items() if kind is not Kind.ANY} | again
    return {cell: 2 if cell in again else 1 for cell in cells if cell in asked}


def _work(family: Family, bench: Bench, at: BenchPlace, left: Mapping[CellName, int]) -> _Work:
    charted = family.charted_pairs
    if at.position not in family.positions:
        raise ValueError(f"{family.name} has no position {at.position}")
    cells: list[tuple[int, int]] = []
    repeated: dict[int, list[int]] = {}
    for k, pair in enumerate(charted):
        for p, name in enumerate(family.positions):
            times = left.get((name, same_pair(pair)), 0)
            if times > 0:
                cells.append((k, p))
            if times > 1:
                repeated.setdefault(k, []).append(p)
    twins = list(repeated)
    for number, k in enumerate(twins):
        cells += [(len(charted) + number, p) for p in repeated[k]]
    real = np.array([*range(len(charted)), *twins], dtype=np.intp)
    apart = pair_seconds(bench, charted, len(charted))[np.ix_(real, real)]
    same = (real[:, None] == real) & ~np.eye(len(real), dtype=np.bool_)
    apart[same] = reseat_seconds(bench)
    column, position = np.array(cells, dtype=np.intp).reshape(-1, 2).T
    seconds = np.zeros((len(cells) + 1, len(cells) + 1))
    detents = np.abs(position[:, None] - position)
    seconds[1:, 1:] = apart[np.ix_(column, column)] + bench.detent_s * detents
    from_here = _from_here(family, bench, at, charted)[real]
    here = family.positions.index(at.position)
    seconds[0, 1:] = from_here[column] + bench.detent_s * np.abs(position - here)
    seconds[1:, 0] = seconds[0, 1:]
    pairs = tuple(charted[k] for k in real.tolist())
    return _Work(position, column, pairs, apart, seconds)


def _from_here(family: Family, bench: Bench, at: BenchPlace, charted: Sequence[Pair]) -> Floats:
    """Return the seconds from where the meter stands to each charted pair."""
    if at.pair is None:
        return first_seconds(bench, len(charted), len(charted))
    if not set(at.pair) <= {*family.pin_names, CASE}:
        raise ValueError(f"{family.name} has no pair {pair_text(at.pair)} to read")
    pairs = [*charted, at.pair]
    here = [same_pair(pair) for pair in pairs].index(same_pair(at.pair))
    seconds: Floats = pair_seconds(bench, pairs, len(charted))[here, :-1]
    if not np.isfinite(seconds).all():
        raise ValueError(f"{bench.name} cannot stand at {pair_text(at.pair)}")
    return seconds


def _starts(work: _Work) -> Iterator[Ints]:
    """Yield orders that a practised hand would begin with: back and forth, by position and pair."""
    orders = [np.arange(len(work.pairs)), shortest_order(work.apart)]
    orders += [order[::-1] for order in orders]
    rank = np.empty(len(work.pairs), dtype=np.intp)
    positions = int(work.position.max(initial=0)) + 1
    for order in orders:
        rank[order] = np.arange(len(order))
        for rising in (True, False):
            place = work.position if rising else positions - 1 - work.position
            column = rank[work.column]
            yield np.lexsort((np.where(place % 2, -column, column), place))
            yield np.lexsort((np.where(column % 2, -place, place), column))


def _readings(family: Family, work: _Work, order: Ints) -> Iterator[TakeReading]:
    before: tuple[int, Pair] | None = None
    for number in order.tolist():
        column = int(work.column[number])
        pair = work.pairs[column]
        again = before is not None and before[0] != column and before[1] == pair
        yield TakeReading(family.positions[work.position[number]], pair, again=again)
        before = column, pair
