"""A sweep trace taken whole: where its scale stands, and what each pair shows."""

from dataclasses import dataclass

from benchproof.family.audit.rules import unusable
from benchproof.family.model import Family, pair_text
from benchproof.family.problems import BadFile, Problem
from benchproof.network.geometry import Margins, geometry, mean_gap
from benchproof.reading.trace import Trace
from benchproof.trace.bands import OhmBands
from benchproof.trace.bursts import Burst, bursts
from benchproof.trace.condensed import BoiledTrace, boil_down
from benchproof.trace.dwells import SweptDwell, dwells_of
from benchproof.trace.edges import SweptEdge, edges_of
from benchproof.trace.expected import expected_of, narrowest_deg
from benchproof.trace.passes import Pass
from benchproof.trace.runs import BandRuns
from benchproof.trace.scale import TraceScale, trace_scale, with_detents
from benchproof.trace.settledruns import SETTLED_DEG, SettledPair, settle

TURN_DEG = 1.0
"""How far the lever goes back before the sweep has turned, degrees."""
APART_GAPS = 0.2
"""Crossings of one kind farther apart than this part of a detent gap are of two edges."""


@dataclass(frozen=True)
class SweptPair:
    """What a sweep shows of one pair; angles on the trace's scale.

    Attributes
    ----------
    bands : OhmBands
        The pair and its bands.
    settled_deg : float
        No narrower stretch is settled, degrees.
    found : SettledPair
        Pass by pass.
    edges : tuple of SweptEdge
        By angle, all the passes put together; so are the dwells.
    dwells : tuple of SweptDwell
        By angle.
    dropouts, closings : tuple of Burst
        Inside its dwells, and inside the gaps between them.
    """

    bands: OhmBands
    settled_deg: float
    found: SettledPair
    edges: tuple[SweptEdge, ...]
    dwells: tuple[SweptDwell, ...]
    dropouts: tuple[Burst, ...]
    closings: tuple[Burst, ...]

    @property
    def name(self) -> str:
        """The pair as it is written."""
        return pair_text(self.bands.pair)


@dataclass(frozen=True)
class Sweep:
    """A sweep trace taken whole.

    Attributes
    ----------
    family : Family
        The family, with detents and dwells where it or the trace tells them.
    boiled : BoiledTrace
        The trace boiled down.
    scale : TraceScale
        How its scale stands against the detents.
    pairs : tuple of SweptPair
        What each pair shows.
    """

    family: Family
    boiled: BoiledTrace
    scale: TraceScale
    pairs: tuple[SweptPair, ...]

    @property
    def detents_deg(self) -> tuple[float, ...] | None:
        """Where the detents lie on the trace's scale, degrees; None if nothing ties the two."""
        detents, shift = self.family.detents_deg, self.scale.shift_deg
        return None if detents is None or shift is None else tuple(at + shift for at in detents)


def read_sweep(trace: Trace, family: Family, margins: Margins) -> Sweep:
    """Return what a sweep trace shows; it is read once, block by block.

    Parameters
    ----------
    trace : Trace
        The trace.
    family : Family
        Its family, with a completed chart.
    margins : Margins
        How far dwells reach that only the chart implies.

    Raises
    ------
    BadFile
        If a sample cannot be understood, or the chart has a mistake with which nothing can be
        held against it.
    TooLarge
        If there is no end to its changes.
    """
    if bad := unusable(family):
        raise BadFile(family.name, [Problem(one.place, one.sentence) for one in bad])
    boiled = boil_down(trace, family, TURN_DEG)
    placed = with_detents(family, trace)
    if placed is None:
        scale = TraceScale(
            None, float("inf"), "neither the family nor the trace tells all the detents"
        )
        settled_deg, apart_deg = [SETTLED_DEG] * len(boiled.bands), SETTLED_DEG
    else:
        shape = geometry(placed, margins)
        scale = trace_scale(trace, boiled.rest_deg, placed)
        family, apart_deg = shape.family, APART_GAPS * mean_gap(shape)
        healthy = expected_of(family, boiled.bands)
        settled_deg = [min(SETTLED_DEG, 0.5 * narrowest_deg(one)) for one in healthy]
    pairs = tuple(
        _pair(bands, runs, boiled.passes, least_deg, apart_deg)
        for bands, runs, least_deg in zip(boiled.bands, boiled.runs, settled_deg, strict=True)
    )
    return Sweep(family, boiled, scale, pairs)


def _pair(
    bands: OhmBands, runs: BandRuns, passes: tuple[Pass, ...], settled_deg: float, apart_deg: float
) -> SweptPair:
    found = settle(runs, passes, settled_deg)
    inside = [g for g in found.glitches if g.within < bands.open and g.band > g.within]
    closing = [g for g in found.glitches if g.within == bands.open]
    return SweptPair(
        bands,
        settled_deg,
        found,
        edges_of(found, passes, apart_deg),
        dwells_of(found, bands.open),
        bursts(inside),
        bursts(closing),
    )
