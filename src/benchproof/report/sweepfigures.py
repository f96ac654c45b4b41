"""The figures of a sweep: its trace, and its edges on the travel strip."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import hypot

import numpy as np

from benchproof.family.model import same_pair
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock
from benchproof.report.strip import Bar, Strip, StripEdge
from benchproof.report.traceplot import TraceEdge, TracePanel, TracePlot
from benchproof.trace.sweep import Sweep, SweptPair

STEP_DEG = 0.02
"""Finer than a column of any trace plot of a lever's travel."""


class Outline:
    """The least and the most that each pair reads in each small step of angle.

    It is gathered while the trace is read, block by block, so that a trace of any length can be
    drawn in bounded memory.
    """

    def __init__(self) -> None:
        self._steps: list[Floats] = []
        """For each pair: step, least, most, shape (3, steps)."""

    def watch(self, blocks: Iterable[SampleBlock]) -> Iterator[SampleBlock]:
        """Yield blocks as they are, noting what they hold."""
        for block in blocks:
            step = np.floor(block.angle_deg / STEP_DEG)
            if not self._steps:
                self._steps = [np.empty((3, 0)) for _ in block.ohm]
            for number, ohm in enumerate(block.ohm):
                read = ~np.isnan(ohm)
                new = np.stack((step[read], ohm[read], ohm[read]))
                self._steps[number] = _folded(np.hstack((self._steps[number], new)))
            yield block

    def of(self, number: int) -> tuple[Floats, Floats]:
        """Return angles and ohms that stand for all that a pair read, two a step."""
        if not self._steps:
            return np.empty(0), np.empty(0)
        step, least, most = self._steps[number]
        return np.repeat((step + 0.5) * STEP_DEG, 2), np.stack((least, most), axis=1).ravel()


def _folded(steps: Floats) -> Floats:
    """Return steps with those at one angle made one, rising."""
    if not steps.size:
        return steps
    step, least, most = steps[:, np.argsort(steps[0], kind="stable")]
    starts = np.flatnonzero(np.diff(step, prepend=step[0] - 1.0))
    return np.stack(
        (step[starts], np.minimum.reduceat(least, starts), np.maximum.reduceat(most, starts))
    )


def trace_plot_of(sweep: Sweep, outline: Outline) -> TracePlot:
    """Return the trace plot of a sweep, on the trace's own scale.

    Parameters
    ----------
    sweep : Sweep
        The sweep.
    outline : Outline
        What was noted while it was read.
    """
    family, detents = sweep.family, sweep.detents_deg
    return TracePlot(
        title=f"Sweep of {family.name}",
        panels=tuple(
            TracePanel(pair.name, *outline.of(number), role=_role(pair), edges=_trace_edges(pair))
            for number, pair in enumerate(sweep.pairs)
        ),
        detents=() if detents is None else tuple(zip(family.positions, detents, strict=True)),
        closed_at_most_ohm=family.limits.closed_at_most_ohm,
        open_at_least_ohm=family.limits.open_at_least_ohm,
        note=f"No detents are shown: {sweep.scale.why}." if detents is None else family.note,
    )


def _role(pair: SweptPair) -> str:
    row = pair.bands.row
    return "" if row is None else row.role.shown


def _trace_edges(pair: SweptPair) -> tuple[TraceEdge, ...]:
    return tuple(
        TraceEdge(edge.at_deg, closing=edge.above < edge.below, sd=edge.u_deg)
        for edge in pair.edges
    )


def as_found(strip: Strip, sweep: Sweep) -> Strip:
    """Return a family's travel strip with what a sweep found: dwells and edges.

    They stand at the angles of the lever, against the detents it rests in.

    Parameters
    ----------
    strip : Strip
        The strip of the family, a row for each of its chart, without an offset.
    sweep : Sweep
        The sweep.

    Raises
    ------
    ValueError
        If nothing ties the trace's scale to the detents.
    """
    shift = sweep.scale.shift_deg
    if shift is None:
        raise ValueError(sweep.scale.why)
    swept = {same_pair(pair.bands.pair): pair for pair in sweep.pairs}
    rows = []
    for row, charted in zip(strip.rows, sweep.family.chart, strict=True):
        pair = swept.get(same_pair(charted.pair))
        if pair is None:
            rows.append(row)
            continue
        bars = sorted(
            (
                Bar(
                    dwell.low_deg - shift,
                    dwell.high_deg - shift,
                    "" if dwell.band == 0 else pair.bands.names[dwell.band],
                )
                for dwell in pair.dwells
            ),
            key=lambda bar: bar.low,
        )
        edges = tuple(
            StripEdge(edge.at_deg - shift, hypot(edge.u_deg, sweep.scale.u_deg))
            for edge in pair.edges
        )
        rows.append(replace(row, found=tuple(bars), edges=edges))
    return replace(strip, title=f"{strip.title}, as found", rows=tuple(rows))
