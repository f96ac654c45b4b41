"""A sweep as evidence: what each pair read at the detents passed over, and where it changed.

However often a detent was passed, a sweep is one visit to each of its cells. All its edges were
found on one scale, whose zero they share.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from benchproof.family.model import Family
from benchproof.family.safety import safety_of
from benchproof.reading.evidence import Evidence, FoundEdge, WatchedStretch
from benchproof.reading.meter import Meter
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value
from benchproof.trace.bands import OhmBands
from benchproof.trace.bursts import Burst
from benchproof.trace.detents import meets, over_detents
from benchproof.trace.edges import SweptEdge
from benchproof.trace.settledruns import SettledRun
from benchproof.trace.sweep import Sweep, SweptPair

NEAR_DEG = 0.5
"""Where a pair must not conduct, samples no farther from the detent than this are of it. Common
practice, no source."""
MOST_TOLD = 3
"""So many dropouts of a burst are told as readings: more say no more."""


def swept_evidence(sweep: Sweep, family: Family, meter: Meter | None, series: int = 1) -> Evidence:
    """Return what a sweep comes to as evidence.

    Where nothing ties its scale to the detents, edges tell no offset and no cell was surely passed,
    but for pairs that read the same from end to end of a sweep as long as the travel of the lever.

    Parameters
    ----------
    sweep : Sweep
        The sweep.
    family : Family
        The family as the part is examined by, its own detents or none; angles are in its unit.
    meter : Meter or None
        What it was logged with. None if that is not known: then its numbers are no readings, and
        edges are told only between closed and open.
    series : int
        Above zero: what tells this sweep from other visits and its scale from others.

    Returns
    -------
    Evidence
        Readings in the order of pairs and positions, edges by pair and angle, and where each pair
        was watched, so that an edge which is not there is missed.
    """
    detents = sweep.detents_deg
    if detents is None:
        whole = () if meter is None else tuple(_over_all(sweep, family, meter, series))
        return Evidence(whole)
    told = _Told(sweep, family, detents, meter, series)
    watched = () if meter is None else tuple(told.watched())
    return Evidence(tuple(told.readings()), tuple(told.edges()), watched=watched)


def _over_all(sweep: Sweep, family: Family, meter: Meter, series: int) -> Iterator[Reading]:
    """Yield readings of pairs that read the same wherever the detents are."""
    detents = sweep.family.detents_deg
    if detents is None:
        return
    for pair in sweep.pairs:
        runs = pair.found.settled
        if not runs or len({run.band for run in runs}) > 1:
            continue
        low, high = min(run.low_deg for run in runs), max(run.high_deg for run in runs)
        if high - low >= detents[-1] - detents[0]:
            largest = max(runs, key=lambda run: run.samples)
            value = _value(largest.median_ohm, pair.bands, largest.band, meter)
            for position in family.positions:
                yield Reading(position, pair.bands.pair, value, visit=series)


class _Told:
    """Turns a sweep whose scale is tied to the detents into readings and edges."""

    def __init__(
        self,
        sweep: Sweep,
        family: Family,
        detents_deg: Sequence[float],
        meter: Meter | None,
        series: int,
    ) -> None:
        self._sweep, self._family, self._detents = sweep, family, np.array(detents_deg)
        self._meter, self._series = meter, series
        self._safety = safety_of(family)

    def readings(self) -> Iterator[Reading]:
        """Yield what each pair read at each detent passed over, and the dropouts near it."""
        meter = self._meter
        if meter is None:
            return
        for k, pair in enumerate(self._sweep.pairs):
            bursts = self._bursts(pair)
            over = over_detents(pair.found, self._detents.tolist())
            for p, runs in enumerate(over):
                if not runs:
                    continue
                run = self._weightiest(pair.bands, p, runs)
                band, ohm = self._conducting(k, p) or (run.band, run.median_ohm)
                value = _value(ohm, pair.bands, band, meter)
                yield self._reading(pair, p, value)
                if p in bursts:
                    yield from self._chatter(pair, p, bursts[p], value, meter)

    def _reading(self, pair: SweptPair, p: int, value: Value) -> Reading:
        position = self._family.positions[p]
        return Reading(position, pair.bands.pair, value, visit=self._series)

    def _conducting(self, k: int, p: int) -> tuple[int, float] | None:
        """Return band and ohms where a pair that must not conduct does, by even a single sample."""
        bands, runs = self._sweep.boiled.bands[k], self._sweep.boiled.runs[k]
        if not self._safety.guards(self._family.positions[p], bands.pair):
            return None
        at = float(self._detents[p])
        low = np.minimum(runs.first_deg, runs.last_deg)
        high = np.maximum(runs.first_deg, runs.last_deg)
        near = (low <= at + NEAR_DEG) & (high >= at - NEAR_DEG) & (runs.band < bands.open)
        if not near.any():
            return None
        least = int(np.where(near, runs.median_ohm, np.inf).argmin())
        return int(runs.band[least]), float(runs.median_ohm[least])

    def _weightiest(self, bands: OhmBands, p: int, runs: Sequence[SettledRun]) -> SettledRun:
        """Return the run that counts where passes differ: one against the chart, if any is."""
        if bands.row is None:
            return max(runs, key=lambda run: run.samples)
        position = self._family.positions[p]
        asked = self._safety.expectation(position, bands.row, bands.row.expect[p])
        wrong = [run for run in runs if not meets(run, bands, asked, self._family.limits)]
        return max(wrong or runs, key=lambda run: run.samples)

    def _bursts(self, pair: SweptPair) -> dict[int, Burst]:
        """Return the greatest burst by the nearest detent of the run that it interrupts."""
        found: dict[int, Burst] = {}
        for burst in (*pair.dropouts, *pair.closings):
            middle = 0.5 * (burst.low_deg + burst.high_deg)
            around = [
                run
                for run in pair.found.settled
                if run.number == burst.number and run.low_deg <= middle <= run.high_deg
            ]
            inside = [
                p
                for p, at in enumerate(self._detents.tolist())
                if any(run.low_deg <= at <= run.high_deg for run in around)
            ]
            if inside:
                p = min(inside, key=lambda p: abs(float(self._detents[p]) - middle))
                if p not in found or found[p].count < burst.count:
                    found[p] = burst
        return found

    def _chatter(
        self, pair: SweptPair, p: int, burst: Burst, value: Value, meter: Meter
    ) -> Iterator[Reading]:
        """Yield a burst as readings of either kind, beside the one of the cell itself."""
        count = min(burst.count, MOST_TOLD)
        band = int(pair.bands.of(np.array([burst.worst_ohm]))[0])
        other = _value(burst.worst_ohm, pair.bands, band, meter)
        for n in range(count):
            if n:
                yield self._reading(pair, p, value)
            yield self._reading(pair, p, other)

    def edges(self) -> Iterator[FoundEdge]:
        """Yield the edges, each told from the nearest detent."""
        for pair in self._sweep.pairs:
            for edge in pair.edges:
                if self._meter is not None or {edge.below, edge.above} == {0, pair.bands.open}:
                    yield self._edge(pair, edge)

    def watched(self) -> Iterator[WatchedStretch]:
        """Yield where each pair was watched, cut midway between detents."""
        cuts = [-np.inf, *(0.5 * (self._detents[1:] + self._detents[:-1])).tolist(), np.inf]
        for pair in self._sweep.pairs:
            runs, narrow_deg = pair.found.settled, pair.settled_deg
            if not runs:
                continue
            # Nearer to its ends no run is told from what would have followed.
            first = min(run.low_deg for run in runs) + narrow_deg
            last = max(run.high_deg for run in runs) - narrow_deg
            for p, detent in enumerate(self._detents.tolist()):
                low, high = max(first, cuts[p]) - detent, min(last, cuts[p + 1]) - detent
                if low < high:
                    yield WatchedStretch(
                        self._family.positions[p],
                        pair.bands.pair,
                        low / self._unit_deg(p, low),
                        high / self._unit_deg(p, high),
                    )

    def _edge(self, pair: SweptPair, edge: SweptEdge) -> FoundEdge:
        p = int(np.abs(self._detents - edge.at_deg).argmin())
        away_deg = edge.at_deg - float(self._detents[p])
        unit_deg = self._unit_deg(p, away_deg)
        return FoundEdge(
            self._family.positions[p],
            pair.bands.pair,
            away_deg / unit_deg,
            edge.u_deg / unit_deg,
            self._beside(pair, edge.below, edge.at_deg),
            self._beside(pair, edge.above, edge.at_deg),
            self._series,
            self._sweep.scale.u_deg / unit_deg,
        )

    def _unit_deg(self, p: int, away_deg: float) -> float:
        """Return how many degrees a unit of the family's angle has beside a detent."""
        if self._family.detents_deg is not None or len(self._detents) == 1:
            return 1.0
        gaps = np.diff(self._detents)
        return float(gaps[min(p, len(gaps) - 1) if away_deg >= 0.0 else max(p - 1, 0)])

    def _beside(self, pair: SweptPair, band: int, at_deg: float) -> Value:
        """Return what a pair reads in the stretch of a band that is nearest to an edge."""
        if self._meter is None:
            return Mark.OPEN if band == pair.bands.open else Mark.CLOSED
        nearest = min(
            (run for run in pair.found.settled if run.band == band),
            key=lambda run: max(run.low_deg - at_deg, at_deg - run.high_deg, 0.0),
        )
        return _value(nearest.median_ohm, pair.bands, band, self._meter)


def _value(ohm: float, bands: OhmBands, band: int, meter: Meter) -> Value:
    """Return what a pair read in a band as a meter shows it."""
    if band == bands.open:
        # Of an open stretch no more is known than where open begins.
        return OverRange(float(bands.cuts_ohm[-1]))
    return Measured(ohm, meter.range_for(ohm).step_ohm)
