"""Cells that cannot all be true in one position.

The effective resistance of a network is a metric: from A to C it is never more than from A to B
and on from B to C. So wherever a charted low limit is above what a way round it allows, one of
these cells is wrong. Transitivity (A-B closed, B-C closed, so A-C closed) is its simplest case.

References
----------
D. J. Klein, M. Randic, "Resistance distance", Journal of Mathematical Chemistry 12 (1993),
theorem A; from memory.
"""

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from benchproof.family.model import Family, Pair

Bounds = tuple[float, float]


@dataclass(frozen=True)
class Contradiction:
    """A pair whose low limit is above what a way round it allows, in one position.

    `way` has the numbers of the rows that lead round, `most_ohm` what they allow at the most.
    """

    row: int
    way: tuple[int, ...]
    most_ohm: float


def contradictions(family: Family) -> Iterator[tuple[int, Contradiction]]:
    """Yield the number of the position and each contradiction in it."""
    pairs = tuple(row.pair for row in family.chart)
    for position in range(len(family.positions)):
        bounds = tuple(row.expect[position].bounds(family.limits) for row in family.chart)
        for found in contradictions_among(pairs, bounds):
            yield position, found


@lru_cache(maxsize=4096)
def contradictions_among(
    pairs: tuple[Pair, ...], bounds: tuple[Bounds, ...]
) -> tuple[Contradiction, ...]:
    """Return the pairs whose low limit is above what a way round them allows.

    Parameters
    ----------
    pairs : tuple of pair
        The pairs, all in one state of one part.
    bounds : tuple of (float, float)
        Lowest and highest ohms of each.

    Examples
    --------
    >>> closed, open_ = (0.0, 2.0), (1e4, float("inf"))
    >>> contradictions_among((("A", "B"), ("B", "C"), ("A", "C")), (closed, closed, open_))
    (Contradiction(row=2, way=(0, 1), most_ohm=4.0),)
    """
    steps: dict[str, list[tuple[str, float, int]]] = {}
    for number, ((a, b), (_, high)) in enumerate(zip(pairs, bounds, strict=True)):
        if high < float("inf"):
            steps.setdefault(a, []).append((b, high, number))
            steps.setdefault(b, []).append((a, high, number))
    found = []
    for number, (pair, (low, high)) in enumerate(zip(pairs, bounds, strict=True)):
        # A low above its own high is another rule's finding.
        if low <= 0.0 or low > high or pair[0] not in steps or pair[1] not in steps:
            continue
        way = _shortest(steps, pair, below=low)
        if way is not None:
            found.append(Contradiction(number, way[1], way[0]))
    return tuple(found)


def _shortest(
    steps: dict[str, list[tuple[str, float, int]]], pair: Pair, below: float
) -> tuple[float, tuple[int, ...]] | None:
    """Return the ohms and rows of the way of least ohms, if it is below a bound."""
    queue: list[tuple[float, str, tuple[int, ...]]] = [(0.0, pair[0], ())]
    done: set[str] = set()
    while queue:
        ohm, pin, way = heapq.heappop(queue)
        if pin == pair[1]:
            return ohm, way
        if pin in done:
            continue
        done.add(pin)
        for other, more, row in steps[pin]:
            if other not in done and ohm + more < below:
                heapq.heappush(queue, (ohm + more, other, (*way, row)))
    return None
