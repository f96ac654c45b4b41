"""Where a start permit conducts nearer to a detent where the starter must not turn than to others.

By a sweep, sample by sample, or by an edge that was found there, whatever explains it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchproof.family.model import Family, Pair, pair_text
from benchproof.family.safety import safety_of
from benchproof.reading.evidence import ConductingStretch, FoundEdge
from benchproof.reading.value import Mark, Measured, Value
from benchproof.trace.sweep import Sweep


@dataclass(frozen=True)
class Overrun:
    """A start permit that conducts where the starter must not turn.

    Attributes
    ----------
    pair : str
        The pair.
    low_deg, high_deg : float
        Where, degrees on the trace's scale.
    near : str
        The position whose detent is nearest.
    """

    pair: str
    low_deg: float
    high_deg: float
    near: str


def forbidden_arcs(family: Family, pair: Pair) -> list[tuple[float, float, str]]:
    """Return the arcs nearer to a detent where a pair must not conduct than to any other.

    Returns
    -------
    list of (from, to, position)
        Degrees on the family's own scale; the end arcs have no end.
    """
    detents = family.detents_deg
    assert detents is not None, "the caller has seen to the detents"
    middles = [0.5 * (a + b) for a, b in pairwise(detents)]
    arcs = zip([-np.inf, *middles], [*middles, np.inf], family.positions, strict=True)
    safety = safety_of(family)
    return [(a, b, name) for a, b, name in arcs if safety.guards(name, pair)]


def overruns_of(sweep: Sweep) -> tuple[Overrun, ...]:
    """Return where start permits conduct in a forbidden arc, all passes put together."""
    return tuple(_overruns(sweep))


def _overruns(sweep: Sweep) -> Iterator[Overrun]:
    shift = sweep.scale.shift_deg
    if shift is None:
        return
    for bands, runs in zip(sweep.boiled.bands, sweep.boiled.runs, strict=True):
        forbidden = forbidden_arcs(sweep.family, bands.pair)
        arcs = [(a + shift, b + shift, name) for a, b, name in forbidden]
        if bands.row is None or not arcs:
            continue
        conducts = runs.band < bands.open
        low = np.minimum(runs.first_deg, runs.last_deg)[conducts]
        high = np.maximum(runs.first_deg, runs.last_deg)[conducts]
        for a, b, name in arcs:
            inside = (low < b) & (high > a)
            if inside.any():
                yield Overrun(
                    pair_text(bands.pair),
                    max(float(low[inside].min()), a),
                    min(float(high[inside].max()), b),
                    name,
                )


def stretches_of(sweep: Sweep, family: Family) -> tuple[ConductingStretch, ...]:
    """Return what `overruns_of` finds as evidence, told from the nearest detent.

    Parameters
    ----------
    sweep : Sweep
        The sweep.
    family : Family
        The family as the part is examined by, its own detents or none; angles are in its unit.
    """
    shift, detents = sweep.scale.shift_deg, sweep.family.detents_deg
    if shift is None or detents is None:
        return ()
    pairs = {pair_text(bands.pair): bands.pair for bands in sweep.boiled.bands}
    gap_deg = 1.0 if family.detents_deg is not None else _mean_gap_deg(detents)
    found = []
    for one in overruns_of(sweep):
        at = detents[sweep.family.positions.index(one.near)] + shift
        low, high = ((end - at) / gap_deg for end in (one.low_deg, one.high_deg))
        found.append(ConductingStretch(one.near, pairs[one.pair], low, high))
    return tuple(found)


def _mean_gap_deg(detents: tuple[float, ...]) -> float:
    return (detents[-1] - detents[0]) / max(len(detents) - 1, 1)


def beside_edges(family: Family, edges: Iterable[FoundEdge]) -> tuple[ConductingStretch, ...]:
    """Return where edges show a pair conduct nearest to a detent where it must not.

    An edge shows no more than that it conducts just beside the edge: each is as narrow as a point.
    """
    places = family.detents_deg or tuple(map(float, range(len(family.positions))))
    detents, safety = np.array(places), safety_of(family)
    found = []
    for edge in edges:
        theta = float(detents[family.positions.index(edge.position)]) + edge.at
        q = int(np.abs(detents - theta).argmin())
        position = family.positions[q]
        if safety.guards(position, edge.pair) and any(
            _conducts(family, value) for value in (edge.below, edge.above)
        ):
            off = theta - float(detents[q])
            found.append(ConductingStretch(position, edge.pair, off, off))
    return tuple(found)


def _conducts(family: Family, value: Value) -> bool:
    if isinstance(value, Measured):
        return value.ohm < family.limits.open_at_least_ohm
    return value is Mark.CLOSED
