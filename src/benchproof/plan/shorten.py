"""Short paths through points: exact for a few, by local search for many. All deterministic."""

from itertools import pairwise

import numpy as np

from benchproof.network.resistance import Floats, Ints

MOST_EXACT = 10
"""Up to this many points the shortest order is found exactly."""
LEAST_SAVED = 1e-9
"""Part of the longest move; seconds are counted in whole ones of these, so that sums are exact and
a tie is a tie in whatever unit they were told."""

MOST_TRIED = 1e7
"""So many exchanges are looked at before a path is taken as it is: some tenths of a second, and
more than a chart of a hundred readings asks for."""


def shortest_order(seconds: Floats) -> Ints:
    """Return the order in which to visit points so that all moves together are shortest.

    It may begin and end anywhere. Beyond a few points it is only locally shortest.

    Parameters
    ----------
    seconds : array, shape (points, points)
        Seconds from each to each, symmetrical.
    """
    count = len(seconds)
    if count > MOST_EXACT:
        start = np.zeros((count + 1, count + 1))
        start[1:, 1:] = seconds
        return shorten(start, np.arange(count), count)
    if count < 2:
        return np.arange(count)
    # best[set of points, last point]: the shortest way through the set that ends there.
    best = np.full((1 << count, count), np.inf)
    before = np.zeros((1 << count, count), dtype=np.intp)
    best[1 << np.arange(count), np.arange(count)] = 0.0
    for chosen in range(1, 1 << count):
        reached = best[chosen]
        if not np.isfinite(reached).any():
            continue
        through = reached[:, None] + seconds
        last, length = through.argmin(axis=0), through.min(axis=0)
        for point in range(count):
            if not chosen >> point & 1:
                wider = chosen | 1 << point
                if length[point] < best[wider, point]:
                    best[wider, point], before[wider, point] = length[point], last[point]
    chosen = (1 << count) - 1
    order = [int(best[chosen].argmin())]
    while chosen := chosen & ~(1 << order[-1]):
        order.append(int(before[chosen | 1 << order[-1], order[-1]]))
    return np.array(order[::-1], dtype=np.intp)


def shorten(seconds: Floats, order: Ints, longest: int, most: float = MOST_TRIED) -> Ints:
    """Return a shorter order of points, by turning stretches round and moving them elsewhere.

    A very long path is left sooner, the longest as it is: nobody waits for the last second of it.

    Parameters
    ----------
    seconds : array, shape (1 + points, 1 + points)
        Seconds from each to each, symmetrical; the first is where the path begins.
    order : array of int, shape (points,)
        The order to begin with, points counted from zero.
    longest : int
        How long a stretch may be moved.
    most : float
        How many exchanges may be looked at.
    """
    path = np.concatenate([[0], order + 1]).astype(np.intp)
    whole = np.round(seconds / (LEAST_SAVED * max(float(seconds.max(initial=0.0)), 1e-300)))
    each_round = 2.0 * longest * len(path) ** 2
    for _ in range(int(most / each_round)):
        # One more point, no way from anywhere, stands for the end of the path.
        between = np.zeros((len(path) + 1, len(path) + 1))
        between[:-1, :-1] = whole[np.ix_(path, path)]
        turned, (first, last) = _best_turn(between)
        moved, (begin, end, to, back) = _best_move(between, longest)
        if min(turned, moved) >= 0.0:
            break
        if turned <= moved:
            path[first : last + 1] = path[first : last + 1][::-1]
        else:
            stretch = path[begin:end][::-1] if back else path[begin:end]
            rest = np.delete(path, slice(begin, end))
            after = to + 1 if to < begin else to + 1 - (end - begin)
            path = np.insert(rest, after, stretch)
    return path[1:] - 1


def _best_turn(between: Floats) -> tuple[float, tuple[int, int]]:
    """Return what turning the best stretch round adds, and its first and last place."""
    count = len(between) - 1
    step = between[np.arange(count), np.arange(1, count + 1)]
    # Stretch i..j: the steps into i and out of j are replaced.
    into, out = step[: count - 1], step[1:]
    change = between[: count - 1, 1:count] + between[1:count, 2 : count + 1]
    change = change - into[:, None] - out
    change[np.tril_indices(count - 1)] = np.inf
    best = int(change.argmin()) if change.size else 0
    if not change.size or not np.isfinite(change.flat[best]):
        return 0.0, (0, 0)
    i, j = divmod(best, count - 1)
    return float(change.flat[best]), (i + 1, j + 1)


def _best_move(between: Floats, longest: int) -> tuple[float, tuple[int, int, int, bool]]:
    """Return what moving the best stretch adds; its begin, end, after where, and whether back."""
    count = len(between) - 1
    step = between[np.arange(count), np.arange(1, count + 1)]
    best: tuple[float, tuple[int, int, int, bool]] = 0.0, (0, 0, 0, False)
    for length in range(1, min(longest, count - 2) + 1):
        begin = np.arange(1, count - length + 1)
        final = begin + length - 1
        saved = step[begin - 1] + step[final] - between[begin - 1, final + 1]
        for back in (False, True):
            head, tail = (final, begin) if back else (begin, final)
            # After each place k: the step from k to k + 1 is replaced.
            added = between[:count][:, head].T + between[tail][:, 1 : count + 1] - step
            change = added - saved[:, None]
            place = np.arange(count)
            inside = (place >= begin[:, None] - 1) & (place <= final[:, None])
            change[inside] = np.inf
            at = int(change.argmin())
            if change.flat[at] < best[0]:
                i, to = divmod(at, count)
                best = float(change.flat[at]), (int(begin[i]), int(final[i]) + 1, to, back)
    return best


def path_seconds(seconds: Floats, order: Ints) -> float:
    """Return how long a path takes that begins at the first point; see `shorten`."""
    path = [0, *(order + 1).tolist()]
    return float(sum(seconds[a, b] for a, b in pairwise(path)))
