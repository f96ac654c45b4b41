"""A sweep trace judged whole: scale, edges, dwells, dropouts, over-run, cells, what is wrong."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

import numpy as np

from benchproof.align.sweep import Sweep, boil_down
from benchproof.align.sweepbands import Bands
from benchproof.align.sweepedges import Burst, DwellFound, Edge, bursts, dwells_of, edges_of
from benchproof.align.sweepexpect import expected_of, narrowest_deg
from benchproof.align.sweepfault import SweepDiagnosis, sweep_diagnosis
from benchproof.align.sweepmatch import Shown
from benchproof.align.sweepscale import Scale, scale_of, with_detents
from benchproof.align.sweepsettle import SETTLED_DEG, Found, Settled, found_in
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.audit.rules import unusable
from benchproof.family.expectation import Kind
from benchproof.family.model import Family, Pair, pair_text
from benchproof.family.problems import BadFile, Problem, TooLarge
from benchproof.family.safety import safety_of
from benchproof.network.geometry import Geometry, Margins, geometry, mean_gap
from benchproof.reading.trace import Trace

TURN_DEG = 1.0
"""How far the lever goes back before the sweep has turned, degrees."""
APART_GAPS = 0.2
"""Crossings of one kind farther apart than this part of a detent gap are of two edges."""


class CellResult(StrEnum):
    """What a sweep says of one cell of the chart."""

    PASS = "pass"
    FAIL = "fail"
    MISSING = "missing"


@dataclass(frozen=True)
class SweptCell:
    """One cell as the sweep passes its detent."""

    pair: str
    position: str
    result: CellResult
    expected: str
    found: str


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


@dataclass(frozen=True)
class SweptPair:
    """What a sweep shows of one pair; angles on the trace's scale."""

    bands: Bands
    edges: tuple[Edge, ...]
    dwells: tuple[DwellFound, ...]
    dropouts: tuple[Burst, ...]
    closings: tuple[Burst, ...]

    @property
    def name(self) -> str:
        """The pair as it is written."""
        return pair_text(self.bands.pair)


@dataclass(frozen=True)
class JudgedSweep:
    """A sweep trace, judged.

    Attributes
    ----------
    family : Family
        The family, with detents and dwells where it or the trace tells them.
    sweep : Sweep
        The trace boiled down.
    scale : Scale
        How its scale stands against the detents.
    pairs : tuple of SweptPair
        What each pair shows.
    cells : tuple of SweptCell
        The cells of the swept pairs.
    overruns : tuple of Overrun
        Where a start permit conducts nearer to a position where the starter must not turn.
    diagnosis : SweepDiagnosis or None
        What is wrong; None for a chart too large, or without detents.
    """

    family: Family
    sweep: Sweep
    scale: Scale
    pairs: tuple[SweptPair, ...]
    cells: tuple[SweptCell, ...]
    overruns: tuple[Overrun, ...]
    diagnosis: SweepDiagnosis | None


def judge_trace(
    trace: Trace, family: Family, priors: Priors, tables: Tables | None = None
) -> JudgedSweep:
    """Judge a sweep trace; it is read once, block by block.

    Parameters
    ----------
    trace : Trace
        The trace.
    family : Family
        Its family, with a completed chart.
    priors : Priors
        What is known beforehand.
    tables : Tables or None
        The family's hypotheses, if they are at hand; else they are made.

    Raises
    ------
    BadFile
        If a sample cannot be understood, or the chart has a mistake with which nothing can be
        judged against it.
    TooLarge
        If there is no end to its changes.
    """
    if bad := unusable(family):
        raise BadFile(family.name, [Problem(one.place, one.sentence) for one in bad])
    sweep = boil_down(trace, family, TURN_DEG)
    placed = with_detents(family, trace)
    if placed is None:
        scale = Scale(None, float("inf"), "neither the family nor the trace tells all the detents")
        found = [found_in(runs, sweep.passes, SETTLED_DEG) for runs in sweep.runs]
        pairs = tuple(
            _pair(bands, one, sweep, SETTLED_DEG)
            for bands, one in zip(sweep.bands, found, strict=True)
        )
        cells = tuple(_cells(family, sweep, found, scale))
        return JudgedSweep(family, sweep, scale, pairs, cells, (), None)
    if tables is None or placed is not family:
        tables, shape = _hypotheses_of(placed, priors)
    else:
        shape = tables.shape
    scale = scale_of(trace, sweep.rest_deg, placed)
    healthy = expected_of(shape.family, sweep.bands)
    settled_deg = [min(SETTLED_DEG, 0.5 * narrowest_deg(one)) for one in healthy]
    found = [
        found_in(runs, sweep.passes, least)
        for runs, least in zip(sweep.runs, settled_deg, strict=True)
    ]
    apart = APART_GAPS * mean_gap(shape)
    pairs = tuple(
        _pair(bands, one, sweep, apart) for bands, one in zip(sweep.bands, found, strict=True)
    )
    diagnosis = None
    if tables is not None:
        shown = [
            _shown(pair, one, scale, least)
            for pair, one, least in zip(pairs, found, settled_deg, strict=True)
        ]
        read = [k for k, one in enumerate(shown) if one is not None]
        seen = [one for one in shown if one is not None]
        if seen and all(one.high_deg - one.low_deg > TURN_DEG for one in seen):
            diagnosis = sweep_diagnosis(tables, [sweep.bands[k] for k in read], seen, scale)
    cells = tuple(_cells(placed, sweep, found, scale))
    overruns = tuple(_overruns(placed, sweep, scale))
    return JudgedSweep(shape.family, sweep, scale, pairs, cells, overruns, diagnosis)


def _hypotheses_of(family: Family, priors: Priors) -> tuple[Tables | None, Geometry]:
    try:
        tables = tables_of(family, priors)
    except TooLarge:
        margins = Margins(priors.single_margin_gaps, priors.run_margin_gaps)
        return None, geometry(family, margins)
    return tables, tables.shape


def _pair(bands: Bands, found: Found, sweep: Sweep, apart_deg: float) -> SweptPair:
    inside = [g for g in found.glitches if g.within < bands.open and g.band > g.within]
    closing = [g for g in found.glitches if g.within == bands.open]
    return SweptPair(
        bands,
        edges_of(found, sweep.passes, apart_deg),
        dwells_of(found, bands.open),
        bursts(inside),
        bursts(closing),
    )


def _shown(pair: SweptPair, found: Found, scale: Scale, settled_deg: float) -> Shown | None:
    """Return what a pair shows on the family's scale, if known; None if it was not read."""
    if not found.settled:
        return None
    shift = scale.shift_deg or 0.0
    low = min(s.low_deg for s in found.settled)
    high = max(s.high_deg for s in found.settled)
    moved = tuple(replace(edge, at_deg=edge.at_deg - shift) for edge in pair.edges)
    if moved:
        first = moved[0].below
    else:
        arcs = np.zeros(pair.bands.open + 1)
        for one in found.settled:
            arcs[one.band] += one.high_deg - one.low_deg
        first = int(arcs.argmax())
    chatters = bool(pair.dropouts or pair.closings)
    return Shown(first, moved, low - shift, high - shift, settled_deg, chatters)


def _cells(family: Family, sweep: Sweep, found: list[Found], scale: Scale) -> Iterator[SweptCell]:
    """Yield what each charted cell of the swept pairs reads as the sweep passes its detent."""
    for bands, one in zip(sweep.bands, found, strict=True):
        if bands.row is None:
            continue
        for p, position in enumerate(family.positions):
            expectation = bands.row.expect[p]
            name, charted = pair_text(bands.pair), str(expectation)
            if scale.shift_deg is None or family.detents_deg is None:
                yield SweptCell(name, position, CellResult.MISSING, charted, "")
                continue
            at = family.detents_deg[p] + scale.shift_deg
            there = [s for s in one.settled if s.low_deg <= at <= s.high_deg]
            wrong = [s for s in there if not _meets(s, bands, p, family)]
            told = [bands.names[s.band] for s in wrong or there]
            result = CellResult.FAIL if wrong else CellResult.PASS
            if not there:
                result = CellResult.MISSING
            yield SweptCell(name, position, result, charted, told[0] if told else "")


def _meets(settled: Settled, bands: Bands, position: int, family: Family) -> bool:
    """Return whether what the pair reads about a detent meets its cell."""
    assert bands.row is not None, "only charted pairs have cells"
    expectation = bands.row.expect[position]
    low, high = expectation.bounds(family.limits)
    if expectation.kind is Kind.OPEN:
        return settled.band == bands.open
    if expectation.kind is Kind.CLOSED:
        return settled.worst_ohm <= high
    return low <= settled.median_ohm <= high


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


def _overruns(family: Family, sweep: Sweep, scale: Scale) -> Iterator[Overrun]:
    """Yield where start permits conduct in a forbidden arc, all passes put together."""
    if scale.shift_deg is None:
        return
    for bands, runs in zip(sweep.bands, sweep.runs, strict=True):
        forbidden = forbidden_arcs(family, bands.pair)
        arcs = [(a + scale.shift_deg, b + scale.shift_deg, name) for a, b, name in forbidden]
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
