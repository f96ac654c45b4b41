"""A sweep's trace as evidence: readings at the detents, and edges.

What the trace shows is the `trace` package's to say; here it is only put into the family's words.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf, isfinite, isinf
from typing import TYPE_CHECKING

import numpy as np

from benchproof.examine.ground import Ground
from benchproof.family.model import Family
from benchproof.network.geometry import Margins
from benchproof.reading.evidence import FoundEdge
from benchproof.reading.meter import Meter
from benchproof.reading.trace import BLOCK_BYTES, open_trace
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value
from benchproof.trace.edges import SweptEdge
from benchproof.trace.sweep import Sweep, SweptPair, read_sweep

if TYPE_CHECKING:
    from benchproof.network.resistance import Floats

NEAR_DEG = 0.5
"""Samples no farther from a detent than this are of it. Common practice, no source."""


@dataclass(frozen=True)
class SweptEvidence:
    """What a sweep comes to as evidence.

    Attributes
    ----------
    readings : tuple of Reading
        At the detents; none if it was read with another meter than the proof is.
    edges : tuple of FoundEdge
        Where pairs changed; none if nothing ties the trace's scale to the detents.
    samples : int
        How many samples the trace has.
    why : str
        What ties the scale to the detents, or why nothing does: part of a sentence.
    """

    readings: tuple[Reading, ...]
    edges: tuple[FoundEdge, ...]
    samples: int
    why: str


@dataclass(frozen=True)
class _Asked:
    """A trace to be read once; its content and the ground's family are told by their keys."""

    key: str
    basis: str
    meter: Meter | None
    name: str
    series: int
    content: bytes = field(compare=False)
    ground: Ground = field(compare=False)

    def __hash__(self) -> int:
        return hash((self.key, self.basis, self.name, self.series))


def swept_evidence(
    content: bytes, key: str, name: str, ground: Ground, *, series: int, own_meter: bool
) -> SweptEvidence:
    """Return what a sweep comes to as evidence.

    Parameters
    ----------
    content : bytes
        The trace, CSV.
    key : str
        What tells it from others: its SHA-256.
    name : str
        Its name, for messages.
    ground : Ground
        What the proof stands on.
    series : int
        What tells this sweep's scale from others: the number of its event.
    own_meter : bool
        Whether it was read with the ground's meter. Of another one's numbers nobody here knows how
        good they are: then no cell is read by it, and an edge is from closed to open.

    Raises
    ------
    BadFile
        If it is no trace of the family.
    TooLarge
        If there is no end to its changes.
    """
    meter = ground.meter if own_meter else None
    return _read(_Asked(key, ground.basis.key, meter, name, series, content, ground))


@lru_cache(maxsize=16)
def _read(asked: _Asked) -> SweptEvidence:
    ground, family = asked.ground, asked.ground.family
    margins = Margins(ground.priors.single_margin_gaps, ground.priors.run_margin_gaps)
    trace = open_trace(_chunks(asked.content), asked.name, family)
    sweep = read_sweep(trace, family, margins)
    samples = sweep.boiled.samples
    detents_deg = sweep.detents_deg
    if detents_deg is None:
        return SweptEvidence((), (), samples, sweep.scale.why)
    readings = () if asked.meter is None else tuple(_readings(asked, detents_deg, asked.meter))
    edges = (
        _edge(asked, sweep, detents_deg, pair, edge)
        for pair in sweep.pairs
        for edge in pair.edges
        if asked.meter is not None or {edge.below, edge.above} == {0, pair.bands.open}
    )
    return SweptEvidence(readings, tuple(edges), samples, sweep.scale.why)


def _chunks(content: bytes) -> Iterator[bytes]:
    for at in range(0, len(content), BLOCK_BYTES):
        yield content[at : at + BLOCK_BYTES]


def _readings(asked: _Asked, detents_deg: Sequence[float], meter: Meter) -> Iterator[Reading]:
    """Yield what each pair read at each detent that the sweep went over."""
    family, safety = asked.ground.family, asked.ground.safety
    trace = open_trace(_chunks(asked.content), asked.name, family)
    near: list[list[list[Floats]]] = [[[] for _ in family.positions] for _ in trace.pairs]
    for block in trace.blocks:
        for p, at in enumerate(detents_deg):
            there = np.abs(block.angle_deg - at) <= NEAR_DEG
            if there.any():
                for k, ohm in enumerate(block.ohm):
                    near[k][p].append(ohm[there])
    for pair, places in zip(trace.pairs, near, strict=True):
        for position, parts in zip(family.positions, places, strict=True):
            ohm = np.sort(np.concatenate(parts)) if parts else np.array([])
            ohm = ohm[~np.isnan(ohm)]
            if len(ohm):
                # Where a pair must not conduct, what conducts most counts.
                guarded = safety.guards(position, pair)
                shown = float(ohm[0] if guarded else ohm[(len(ohm) - 1) // 2])
                yield Reading(position, pair, _value(shown, meter), visit=asked.series)


def _value(ohm: float, meter: Meter) -> Value:
    if isinf(ohm) or ohm > meter.top_ohm:
        return OverRange()
    return Measured(max(ohm, 0.0), meter.range_for(max(ohm, 0.0)).step_ohm)


def _edge(
    asked: _Asked, sweep: Sweep, detents: Sequence[float], pair: SweptPair, edge: SweptEdge
) -> FoundEdge:
    p = min(range(len(detents)), key=lambda n: abs(edge.at_deg - detents[n]))
    away_deg = edge.at_deg - detents[p]
    per_unit = _degrees_of_unit(asked.ground.family, detents, p, away_deg)
    return FoundEdge(
        asked.ground.family.positions[p],
        pair.bands.pair,
        away_deg / per_unit,
        edge.u_deg / per_unit,
        _in_band(asked, pair, edge.below, edge.at_deg),
        _in_band(asked, pair, edge.above, edge.at_deg),
        asked.series,
        sweep.scale.u_deg / per_unit,
    )


def _degrees_of_unit(family: Family, detents: Sequence[float], at: int, away_deg: float) -> float:
    """Return how many degrees a unit of the family's angle has beside a detent."""
    if family.detents_deg is not None:
        return 1.0
    beside = at + 1 if away_deg >= 0.0 else at - 1
    if not 0 <= beside < len(detents):
        beside = at - 1 if beside > at else at + 1
    return abs(detents[beside] - detents[at])


def _in_band(asked: _Asked, pair: SweptPair, band: int, at_deg: float) -> Value:
    """Return what the pair reads in a band beside an edge."""
    is_open = band == pair.bands.open
    if asked.meter is None:
        return Mark.OPEN if is_open else Mark.CLOSED
    runs = [run for run in pair.found.settled if run.band == band]
    nearest = min(
        runs,
        key=lambda run: max(run.low_deg - at_deg, at_deg - run.high_deg, 0.0),
        default=None,
    )
    if nearest is None or not isfinite(nearest.median_ohm):
        # Of an open stretch only the greatest is known: over range, or a number that is no less.
        over = (
            nearest is None or nearest.worst_ohm == inf or nearest.worst_ohm > asked.meter.top_ohm
        )
        return OverRange() if over and is_open else Mark.OPEN
    return _value(nearest.median_ohm, asked.meter)
