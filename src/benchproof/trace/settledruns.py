"""One pair's runs settled: the narrow ones given to their neighbours, the narrowest first.

In each pass the narrowest run is given to its neighbours, again and again, until all that are left
are as wide as a dwell or a gap can be; what is left is *settled*. Two settled runs meet in an edge.
What was given away is bounce near an edge, a dropout inside a dwell, or a closing inside a gap.
"""

import heapq
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchproof.network.resistance import Floats, Ints
from benchproof.trace.passes import Pass
from benchproof.trace.runs import BandRuns

SETTLED_DEG = 1.0
"""A settled run is as wide, unless the family's own dwells or gaps are narrower."""
BOUNCE_DEG = 0.5
"""So near an edge a contact may bounce: it makes and breaks there. Common practice, no source."""
_LEAST_U_DEG = 0.01


@dataclass(frozen=True)
class SettledRun:
    """A stretch of one pass in which the pair stayed in one band, but for dropouts and bounce.

    Attributes
    ----------
    number : int
        Number of the pass.
    band : int
        The band.
    low_deg, high_deg : float
        Where it lies, degrees on the trace's scale.
    samples : int
        Its samples in the band.
    worst_ohm, median_ohm : float
        The most it reads, and about the median, ohms.
    noise_ohm2 : float
        Sum of the squares of the changes from sample to sample, square ohms.
    """

    number: int
    band: int
    low_deg: float
    high_deg: float
    samples: int
    worst_ohm: float
    median_ohm: float
    noise_ohm2: float


@dataclass(frozen=True)
class Crossing:
    """An edge crossed in one pass.

    Attributes
    ----------
    number : int
        Number of the pass.
    rising : bool
        Whether the angle rose.
    below, above : int
        The bands at smaller and at larger angles.
    at_deg : float
        Where, degrees on the trace's scale.
    u_deg : float
        Standard uncertainty by the spacing of the samples and the width of the bounce, degrees.
    """

    number: int
    rising: bool
    below: int
    above: int
    at_deg: float
    u_deg: float


@dataclass(frozen=True)
class Glitch:
    """A short stay in another band, away from any edge.

    Attributes
    ----------
    number : int
        Number of the pass.
    band, within : int
        The band it is in, and that of the settled run around it.
    at_deg, width_deg : float
        Its middle and its width, degrees.
    worst_ohm : float
        The most it reads, ohms.
    """

    number: int
    band: int
    within: int
    at_deg: float
    width_deg: float
    worst_ohm: float


@dataclass(frozen=True)
class SettledPair:
    """What was found of one pair."""

    settled: tuple[SettledRun, ...]
    crossings: tuple[Crossing, ...]
    glitches: tuple[Glitch, ...]


def settle(runs: BandRuns, passes: tuple[Pass, ...], settled_deg: float) -> SettledPair:
    """Return the settled runs, edges and glitches of one pair.

    Parameters
    ----------
    runs : BandRuns
        Its runs.
    passes : tuple of Pass
        The passes.
    settled_deg : float
        The least width of a settled run, degrees.
    """
    settled: list[SettledRun] = []
    crossings: list[Crossing] = []
    glitches: list[Glitch] = []
    begin = np.searchsorted(runs.number, np.arange(len(passes) + 1))
    for number, (start, end) in enumerate(pairwise(begin.tolist())):
        if start < end:
            one = _OnePass(runs, start, end, passes[number].rising)
            one.settle(settled_deg)
            settled += one.settled(number)
            here = one.crossings(number)
            crossings += here
            glitches += one.glitches(number, [c.at_deg for c in here])
    return SettledPair(tuple(settled), tuple(crossings), tuple(glitches))


class _OnePass:
    """The runs of one pair in one pass, along the way travelled."""

    def __init__(self, runs: BandRuns, start: int, end: int, rising: bool) -> None:
        self._runs, self._start, self._rising = runs, start, rising
        self._sign = 1.0 if rising else -1.0
        first = self._sign * runs.first_deg[start:end]
        last = self._sign * runs.last_deg[start:end]
        # A run reaches halfway to the samples of its neighbours.
        middle = 0.5 * (last[:-1] + first[1:])
        self._cut: Floats = np.concatenate([[first[0]], middle, [last[-1]]])
        # An angle that trembles must not turn the order of the cuts.
        np.maximum.accumulate(self._cut, out=self._cut)
        self._space = np.abs(first[1:] - last[:-1])
        self._band = runs.band[start:end].tolist()
        count = end - start
        self._before = [*range(-1, count - 1)]
        self._after = [*range(1, count + 1)]
        self._low: list[float] = self._cut[:-1].tolist()
        self._high: list[float] = self._cut[1:].tolist()
        self._alive = [True] * count
        self._home = [*range(count)]

    def settle(self, settled_deg: float) -> None:
        """Give the narrowest run to its neighbours until all are wide enough, or one is left."""
        count = len(self._band)
        widths = [(self._high[i] - self._low[i], i) for i in range(count)]
        queue = [(w, i) for w, i in widths if w < settled_deg]
        heapq.heapify(queue)
        left = count
        while queue and left > 1:
            width, i = heapq.heappop(queue)
            if not self._alive[i] or width != self._high[i] - self._low[i]:
                continue
            left -= self._give_away(i, queue, settled_deg)

    def _give_away(self, i: int, queue: list[tuple[float, int]], settled_deg: float) -> int:
        """Give run i to its neighbours; return how many runs are gone."""
        before, after = self._before[i], self._after[i]
        self._alive[i] = False
        if before < 0 or after >= len(self._band):
            heir = after if before < 0 else before
            self._low[heir] = min(self._low[heir], self._low[i])
            self._high[heir] = max(self._high[heir], self._high[i])
            self._link(before, after)
            gone, grown = 1, [heir]
        elif self._band[before] == self._band[after]:
            heir = before
            self._high[heir] = self._high[after]
            self._alive[after] = False
            self._home[after] = heir
            self._link(heir, self._after[after])
            gone, grown = 2, [heir]
        else:
            heir = before
            middle = 0.5 * (self._low[i] + self._high[i])
            self._high[before] = self._low[after] = middle
            self._link(before, after)
            gone, grown = 1, [before, after]
        self._home[i] = heir
        for one in grown:
            width = self._high[one] - self._low[one]
            if width < settled_deg:
                heapq.heappush(queue, (width, one))
        return gone

    def _link(self, before: int, after: int) -> None:
        if before >= 0:
            self._after[before] = after
        if after < len(self._band):
            self._before[after] = before

    def _heir(self, i: int) -> int:
        """Return the settled run that run i ended in."""
        while not self._alive[i]:
            self._home[i] = i = self._home[self._home[i]]
        return i

    def _left(self) -> list[int]:
        return [i for i, alive in enumerate(self._alive) if alive]

    def settled(self, number: int) -> list[SettledRun]:
        """Return the settled runs along the way."""
        runs, at = self._runs, self._start
        members: dict[int, list[int]] = {}
        for i, band in enumerate(self._band):
            heir = self._heir(i)
            if band == self._band[heir]:
                members.setdefault(heir, []).append(at + i)
        return [
            SettledRun(
                number,
                self._band[i],
                min(self._sign * self._low[i], self._sign * self._high[i]),
                max(self._sign * self._low[i], self._sign * self._high[i]),
                int(runs.samples[members[i]].sum()),
                float(runs.worst_ohm[members[i]].max()),
                weighted(runs.median_ohm[members[i]], runs.samples[members[i]]),
                float(runs.noise_ohm2[members[i]].sum()),
            )
            for i in self._left()
        ]

    def crossings(self, number: int) -> list[Crossing]:
        """Return the edges along the way."""
        found = []
        for a, b in pairwise(self._left()):
            inner = self._cut[1:-1]
            off = np.abs(inner - self._high[a])
            # Cuts near the edge are its bounce.
            near = inner[off <= BOUNCE_DEG]
            low, high = (near.min(), near.max()) if len(near) else (self._high[a],) * 2
            at = float(low) + self._width_in(self._band[a], low, high)
            wide = float(self._space[int(off.argmin())] + high - low)
            u_deg = max(_LEAST_U_DEG, wide / np.sqrt(12.0))
            bands = self._band[a], self._band[b]
            below, above = bands if self._rising else bands[::-1]
            found.append(Crossing(number, self._rising, below, above, self._sign * at, u_deg))
        return found

    def _width_in(self, band: int, low: float, high: float) -> float:
        """Return how much of an arc is in a band: so much of a bounce is of the run before it."""
        within = np.minimum(self._cut[1:], high) - np.maximum(self._cut[:-1], low)
        return float(np.maximum(within, 0.0)[np.array(self._band) == band].sum())

    def glitches(self, number: int, edges_deg: list[float]) -> list[Glitch]:
        """Return the short stays in another band that are not the bounce of an edge.

        Where the pass ends it cannot be told what would have followed.
        """
        edges, ends = np.array(edges_deg), (float(self._cut[0]), float(self._cut[-1]))
        middle = self._sign * 0.5 * (self._cut[1:] + self._cut[:-1])
        bounces = (np.abs(middle[:, None] - edges) <= BOUNCE_DEG).any(axis=1)
        found = []
        for i in np.flatnonzero(~bounces).tolist():
            band, within = self._band[i], self._band[self._heir(i)]
            low, high, at = float(self._cut[i]), float(self._cut[i + 1]), float(middle[i])
            if band == within:
                continue
            if min(low - ends[0], ends[1] - high) < SETTLED_DEG + BOUNCE_DEG:
                continue
            worst = float(self._runs.worst_ohm[self._start + i])
            found.append(Glitch(number, band, within, at, high - low, worst))
        return found


def weighted(values: Floats, weights: Ints) -> float:
    """Return a mean by weight; infinite if any value is."""
    if not np.isfinite(values).all():
        return float("inf")
    return float(values @ weights / weights.sum())
