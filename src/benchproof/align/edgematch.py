"""How well the edges found of one pair agree with those expected, offset by offset.

The edges are aligned in order, as two texts are: each found edge is an expected one, displaced by
the offset and by the spread of edges, or an extra one; each expected edge is found, or missing, as
one outside the sweep is bound to be. Two edges close together may vanish into one, or altogether.
Two contacts that meet by the spread of their edges may show a brief stretch of their own. The best
alignment counts.
"""

from dataclasses import dataclass, replace
from math import erf, log, pi, sqrt

import numpy as np

from benchproof.network.resistance import Floats
from benchproof.trace.edges import SweptEdge
from benchproof.trace.expected import ExpectedEdges
from benchproof.trace.scale import TraceScale
from benchproof.trace.sweep import SweptPair

MISSED = 1e-4
"""How often an edge inside the sweep is not found, for no reason thought of."""
EXTRA = 1e-4
"""How many edges are found in a whole sweep of a pair that nothing explains."""
BRIEF = 0.02
"""How many brief stretches are found in a whole sweep of a pair: contacts that meet by spread."""
BRIEF_SD = 4.0
"""They are narrower than so many standard deviations of an edge."""
WRONG_BAND = 1e-4
"""How often the sweep begins in a band that nothing explains."""
_REACH = 8.0
_AT = np.linspace(-_REACH, _REACH, 4001)
_BELOW = np.array([0.5 * (1.0 + erf(x / sqrt(2.0))) for x in _AT.tolist()])


@dataclass(frozen=True)
class ShownEdges:
    """What a sweep shows of one pair, on the family's own scale of angles or on the trace's.

    Attributes
    ----------
    first : int
        The band that it begins in at the smallest angle.
    edges : tuple of SweptEdge
        Its edges by angle.
    low_deg, high_deg : float
        Between these the sweep went, degrees.
    settled_deg : float
        No narrower stretch is found, degrees.
    chatters : bool
        Whether it drops out inside a dwell, or closes inside a gap.
    """

    first: int
    edges: tuple[SweptEdge, ...]
    low_deg: float
    high_deg: float
    settled_deg: float
    chatters: bool


def shown_by(pair: SweptPair, scale: TraceScale) -> ShownEdges | None:
    """Return what a pair shows on the family's scale, if known; None if it was not read."""
    settled = pair.found.settled
    if not settled:
        return None
    shift = scale.shift_deg or 0.0
    low = min(run.low_deg for run in settled)
    high = max(run.high_deg for run in settled)
    moved = tuple(replace(edge, at_deg=edge.at_deg - shift) for edge in pair.edges)
    if moved:
        first = moved[0].below
    else:
        arcs = np.zeros(pair.bands.open + 1)
        for run in settled:
            arcs[run.band] += run.high_deg - run.low_deg
        first = int(arcs.argmax())
    chatters = bool(pair.dropouts or pair.closings)
    return ShownEdges(first, moved, low - shift, high - shift, pair.settled_deg, chatters)


def normal_below(x: Floats) -> Floats:
    """Return the standard normal probability below each x, to 1e-6."""
    found: Floats = np.interp(x, _AT, _BELOW)
    return found


def log_agreement(
    shown: ShownEdges, expected: ExpectedEdges, sd_deg: float, offsets_deg: Floats
) -> Floats:
    """Return the log probability density of what is shown, for each offset.

    Parameters
    ----------
    shown : ShownEdges
        What the sweep shows of the pair.
    expected : ExpectedEdges
        What the hypothesis makes of it, without offset.
    sd_deg : float
        Spread of an edge, standard deviation, degrees.
    offsets_deg : array, shape (offsets,)
        The offsets: an edge is found at its own angle less the offset.

    Returns
    -------
    array, shape (offsets,)
    """
    bands, count = expected.bands(), len(expected.edges)
    places = [edge - offsets_deg for edge, _ in expected.edges]
    missed = [_log_missed(place, shown, sd_deg) for place in places]
    vanish = [
        log(max(_vanishing(expected, j, shown.settled_deg, sd_deg), 1e-300))
        for j in range(count - 1)
    ]
    extra = log(EXTRA / (shown.high_deg - shown.low_deg))
    brief = log(BRIEF / (shown.high_deg - shown.low_deg) / (BRIEF_SD * sd_deg))
    # row[j]: the found edges so far are aligned with the first j expected ones.
    row = [_log_first(shown, expected, sd_deg, offsets_deg)]
    for j in range(count):
        best = row[j] + missed[j]
        if j and bands[j - 1] == bands[j + 1]:
            best = np.maximum(best, row[j - 1] + vanish[j - 1])
        row.append(best)
    before: SweptEdge | None = None
    earlier = row
    for edge in shown.edges:
        wide = sqrt(sd_deg**2 + edge.u_deg**2)
        new = [row[0] + extra]
        for j in range(count):
            best = np.maximum(row[j + 1] + extra, new[j] + missed[j])
            if (edge.below, edge.above) == bands[j : j + 2]:
                best = np.maximum(best, row[j] + _log_normal(edge.at_deg - places[j], wide))
            if j:
                if bands[j - 1] == bands[j + 1]:
                    best = np.maximum(best, new[j - 1] + vanish[j - 1])
                if (edge.below, edge.above) == (bands[j - 1], bands[j + 1]):
                    middle = 0.5 * (places[j - 1] + places[j])
                    near = _log_normal(edge.at_deg - middle, wide)
                    best = np.maximum(best, row[j - 1] + vanish[j - 1] + near)
            new.append(best)
        if before is not None and _brief(before, edge, sd_deg):
            new = [np.maximum(a, b + brief) for a, b in zip(new, earlier, strict=True)]
        earlier, row, before = row, new, edge
    return row[count]


def _brief(first: SweptEdge, second: SweptEdge, sd_deg: float) -> bool:
    """Return whether two edges bound a brief stretch, the same band on either side."""
    return first.below == second.above and second.at_deg - first.at_deg <= BRIEF_SD * sd_deg


def log_unexplained(shown: ShownEdges, bands: int) -> float:
    """Return the log probability density of what is shown if nothing explains it.

    Every number of edges is half as likely as one fewer, and they may be of any kind, anywhere.
    """
    each = log(0.5 / (shown.high_deg - shown.low_deg) / max(bands - 1, 1))
    return log(0.5 / bands) + len(shown.edges) * each


def _log_normal(off: Floats, sd: float) -> Floats:
    return -0.5 * (off / sd) ** 2 - log(sd * sqrt(2.0 * pi))


def _log_missed(place: Floats, shown: ShownEdges, sd_deg: float) -> Floats:
    """Return the log probability that an edge is not found: it is outside, or nothing explains."""
    low = normal_below((shown.low_deg + shown.settled_deg - place) / sd_deg)
    high = normal_below((place - shown.high_deg + shown.settled_deg) / sd_deg)
    missed: Floats = np.log(np.minimum(low + high + MISSED, 1.0))
    return missed


def _vanishing(expected: ExpectedEdges, j: int, settled_deg: float, sd_deg: float) -> float:
    """Return the probability that edges j and j + 1 are too close together to be found."""
    apart = expected.edges[j + 1][0] - expected.edges[j][0]
    return 0.5 * (1.0 + erf((settled_deg - apart) / (2.0 * sd_deg)))


def _log_first(
    shown: ShownEdges, expected: ExpectedEdges, sd_deg: float, offsets_deg: Floats
) -> Floats:
    """Return the log probability that the sweep begins in the band that it does."""
    at = shown.low_deg + offsets_deg
    beyond = [np.ones_like(at), *(normal_below((at - e) / sd_deg) for e, _ in expected.edges)]
    after = [*beyond[1:], np.zeros_like(at)]
    share = np.zeros_like(at)
    for band, here, there in zip(expected.bands(), beyond, after, strict=True):
        if band == shown.first:
            share += np.maximum(here - there, 0.0)
    first: Floats = np.log(np.minimum(share + WRONG_BAND, 1.0))
    return first
