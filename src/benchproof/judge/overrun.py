"""Where a sweep shows a start permit conduct nearer to a detent where the starter must not turn."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchproof.family.model import Family, Pair, pair_text
from benchproof.family.safety import safety_of
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
