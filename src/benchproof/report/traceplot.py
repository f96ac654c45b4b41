"""The trace: ohms over shaft angle as a sweep read them, with the edges that were found.

A sweep may have a million samples; what is drawn is the least and the most in each narrow column,
so that nothing that was read is hidden and the figure stays small.
"""

from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np

from benchproof.family.ohms import format_ohms
from benchproof.network.resistance import Floats
from benchproof.report.layout import (
    LINE_MM,
    Flags,
    Sample,
    Scale,
    Span,
    draw_legend,
    legend_height,
    plain,
    spread,
    ticks,
)
from benchproof.report.svg import (
    FOUND,
    INK,
    PAPER,
    QUIET,
    SHADE,
    SMALL_MM,
    Drawing,
    Point,
    Shapes,
)

_LEFT_MM = 42.0
_RIGHT_MM = 30.0
_PLOT_MM = 108.0
_HEAD_MM = 9.0
_OPEN_MM = 4.0
_PANEL_MM = 20.0
_COLUMN_MM = 0.25
_TINY_MM = 2.4
_LABEL_MM = 10.0
_LEAST_OHM, _MOST_OHM = 1e-3, 1e9
_DASH = "1.5 0.8"


@dataclass(frozen=True)
class TraceEdge:
    """An edge found in a panel.

    Attributes
    ----------
    at : float
        Its angle.
    closing : bool
        Whether the pair closes there as the angle grows.
    sd : float
        Standard uncertainty of the angle; drawn as a whisker of two of them to either side.
    """

    at: float
    closing: bool
    sd: float = 0.0


@dataclass(frozen=True, eq=False)
class TracePanel:
    """What was read across one pair.

    Attributes
    ----------
    pair : str
        Its pins.
    angle : array of float, shape (samples,)
        Shaft angles, in any order.
    ohm : array of float, shape (samples,)
        What was read: infinite where open, NaN where nothing was read.
    role : str
        What the pair does in the vehicle.
    edges : tuple of TraceEdge
        The edges found.
    """

    pair: str
    angle: Floats
    ohm: Floats
    role: str = ""
    edges: tuple[TraceEdge, ...] = ()


@dataclass(frozen=True, eq=False)
class TracePlot:
    """A trace plot.

    Attributes
    ----------
    title : str
        What it shows.
    panels : tuple of TracePanel
        One a pair; at least one.
    detents : tuple of (str, float)
        Positions and their angles, rising.
    closed_at_most_ohm, open_at_least_ohm : float
        Where closed ends and open begins.
    unit : str
        ``deg``, or ``gap``.
    note : str
        A sentence under the title.
    """

    title: str
    panels: tuple[TracePanel, ...]
    detents: tuple[tuple[str, float], ...]
    closed_at_most_ohm: float = 2.0
    open_at_least_ohm: float = 10_000.0
    unit: str = "deg"
    note: str = ""

    @property
    def blank(self) -> bool:
        """Whether nothing was read, so that there is nothing to draw."""
        return all(bool(np.isnan(panel.ohm).all()) for panel in self.panels)


def draw_trace(plot: TracePlot) -> str:
    """Return a trace plot as SVG.

    Raises
    ------
    ValueError
        If nothing was read at any angle, or angles and ohms differ in number.
    """
    span = _span(plot)
    decades = _decades(plot)
    wide = max(_PLOT_MM, (len(plot.detents) + 1) * LINE_MM)
    x = Scale(*span, _LEFT_MM, _LEFT_MM + wide)
    width = _LEFT_MM + wide + _RIGHT_MM
    shown = [(name, at) for name, at in plot.detents if span[0] <= at <= span[1]]
    flags = Flags(
        tuple((name, f"{plain(at)}°" if plot.unit == "deg" else "") for name, at in shown),
        tuple(x(at) for _, at in shown),
        _LEFT_MM - 8.0,
        _LEFT_MM + wide + 8.0,
    )
    top = (13.0 if plot.note else 9.0) + flags.height
    high = _HEAD_MM + _OPEN_MM + _PANEL_MM
    bottom = top + high * len(plot.panels) + 1.0
    entries = _legend(plot)
    legend_top = bottom + 12.0
    height = legend_top + legend_height(entries, width - 8.0) + 2.0
    drawing = Drawing(width, height, plot.title, _described(plot))
    drawing.group("title")
    drawing.text((4.0, 6.0), plot.title, size=4.2, bold=True, room=width - 8.0)
    drawing.text((4.0, 10.5), plot.note, size=SMALL_MM, fill=QUIET, room=width - 8.0)
    drawing.group("detents")
    flags.draw(drawing, top)
    for place in flags.at:
        drawing.line((place, top), (place, top + 2.0), ink=QUIET, weight=0.2)
    for number, panel in enumerate(plot.panels):
        head = top + high * number
        y = Scale(*decades, head + high - 0.5, head + _HEAD_MM + _OPEN_MM)
        _draw_panel(drawing, plot, panel, x, y, flags.at)
    _draw_axis(drawing, plot, x, bottom)
    drawing.group("legend")
    draw_legend(drawing, entries, (4.0, legend_top), width - 8.0)
    return drawing.svg()


def _span(plot: TracePlot) -> Span:
    """Return the angles from left to right."""
    if plot.blank:
        raise ValueError("a trace plot needs at least one reading")
    read = np.concatenate([panel.angle[~np.isnan(panel.ohm)] for panel in plot.panels])
    low, high = float(read.min()), float(read.max())
    # A lever that did not move is drawn too.
    room = max(0.02 * (high - low), 0.5 - (high - low) / 2.0)
    return low - room, high + room


def _decades(plot: TracePlot) -> Span:
    """Return the lowest and highest power of ten of the axis."""
    ohms = np.concatenate([panel.ohm for panel in plot.panels])
    ohms = np.clip(ohms[np.isfinite(ohms) & (ohms > 0.0)], _LEAST_OHM, _MOST_OHM)
    low = min([plot.closed_at_most_ohm / 10.0, *([float(ohms.min())] if ohms.size else [])])
    high = max([plot.open_at_least_ohm * 10.0, *([float(ohms.max())] if ohms.size else [])])
    return float(floor(log10(low))), float(ceil(log10(high)))


def _draw_panel(
    drawing: Drawing,
    plot: TracePlot,
    panel: TracePanel,
    x: Scale,
    y: Scale,
    detents: tuple[float, ...],
) -> None:
    drawing.group("trace")
    top, bottom = y.at_high, y.at_low
    left, wide = x.at_low, x.at_high - x.at_low
    drawing.text((4.0, top), panel.pair, bold=True, room=_LEFT_MM - 20.0)
    drawing.text((4.0, top + 4.0), panel.role, size=SMALL_MM, fill=QUIET, room=_LEFT_MM - 20.0)
    drawing.rect((left, top - _OPEN_MM), wide, _OPEN_MM, fill=SHADE)
    for place in detents:
        drawing.line((place, top - _OPEN_MM), (place, bottom), ink=QUIET, weight=0.2)
    drawing.text((left - 2.0, top - 1.1), "open", size=_TINY_MM, anchor="end")
    for decade in range(int(y.low), int(y.high), 2):
        drawing.line((left - 1.2, y(decade)), (left, y(decade)), weight=0.25)
        words = format_ohms(10.0**decade)
        drawing.text((left - 2.0, y(decade) + 0.9), words, size=_TINY_MM, anchor="end")
    for ohm, said in (
        (plot.closed_at_most_ohm, f"closed to {format_ohms(plot.closed_at_most_ohm)}"),
        (plot.open_at_least_ohm, f"open from {format_ohms(plot.open_at_least_ohm)}"),
    ):
        at = y.held(log10(ohm))
        drawing.line((left, at), (left + wide, at), ink=QUIET, weight=0.25, dash=_DASH)
        drawing.text((left + wide + 1.5, at + 0.9), said, size=_TINY_MM, room=_RIGHT_MM - 2.0)
    drawing.rect((left, top - _OPEN_MM), wide, bottom - top + _OPEN_MM, ink=INK, weight=0.3)
    drawing.polyline(envelope(panel, x, y), ink=FOUND, weight=0.45)
    _draw_edges(drawing, panel, x, (top - _OPEN_MM, bottom))


def envelope(panel: TracePanel, x: Scale, y: Scale) -> list[Point]:
    """Return the line that is drawn of a panel.

    Parameters
    ----------
    panel : TracePanel
        What was read.
    x, y : Scale
        Where angles, and powers of ten of ohms, are drawn. Open is drawn in the middle of the band
        above; what is not above zero, at the foot.

    Returns
    -------
    list of (float, float)
        Least and most of each column that holds a reading, from left to right, millimetres.
    """
    read = ~np.isnan(panel.ohm)
    ohm = panel.ohm[read]
    place = np.full(ohm.shape, y.at_high - _OPEN_MM / 2.0)
    finite = np.isfinite(ohm)
    decade = np.log10(np.maximum(ohm[finite], 10.0**y.low))
    part = np.minimum((decade - y.low) / (y.high - y.low), 1.0)
    place[finite] = y.at_low + part * (y.at_high - y.at_low)
    across = x.at_low + (panel.angle[read] - x.low) / (x.high - x.low) * (x.at_high - x.at_low)
    column = np.floor((across - x.at_low) / _COLUMN_MM).astype(np.intp)
    order = np.argsort(column, kind="stable")
    starts = np.flatnonzero(np.diff(column[order], prepend=-1))
    if not len(starts):
        return []
    counts = np.diff(np.append(starts, len(order)))
    means = np.add.reduceat(across[order], starts) / counts
    least = np.minimum.reduceat(place[order], starts)
    most = np.maximum.reduceat(place[order], starts)
    points: list[Point] = []
    for at, low, high in zip(means.tolist(), least.tolist(), most.tolist(), strict=True):
        before = points[-1][1] if points else low
        ends = (low, high) if abs(before - low) <= abs(before - high) else (high, low)
        for end in ends if high - low > 0.02 else (low,):
            # A level run needs only its ends.
            level = len(points) > 1 and points[-1][1] == points[-2][1] == end
            if level and points[-1][0] < at:
                points[-1] = (at, end)
            else:
                points.append((at, end))
    return points


def _draw_edges(drawing: Drawing, panel: TracePanel, x: Scale, rows: Span) -> None:
    edges = sorted((e for e in panel.edges if x.low <= e.at <= x.high), key=lambda edge: edge.at)
    labelled = len(edges) * _LABEL_MM <= x.at_high - x.at_low
    places = [x(edge.at) for edge in edges]
    if labelled:
        places = spread(places, _LABEL_MM, x.at_low, x.at_high)
    for edge, place in zip(edges, places, strict=True):
        at, y = x(edge.at), rows[0] - 1.6
        drawing.line((at, rows[0]), (at, rows[1]), weight=0.2, dash="0.4 0.6")
        ends = x.held(edge.at - 2.0 * edge.sd), x.held(edge.at + 2.0 * edge.sd)
        if edge.sd:
            drawing.line((ends[0], y), (ends[1], y), weight=0.3)
            for end in ends:
                drawing.line((end, y - 0.6), (end, y + 0.6), weight=0.3)
        _draw_triangle(drawing, (at, y), closing=edge.closing)
        if labelled:
            words = plain(round(edge.at, 1))
            drawing.text((place, y - 1.9), words, size=_TINY_MM, anchor="middle")


def _draw_triangle(drawing: Shapes, at: Point, *, closing: bool) -> None:
    """Draw a filled triangle that points down for closing, a hollow one up for opening."""
    way = 1.2 if closing else -1.2
    corners = [(at[0], at[1] + way), (at[0] - 1.2, at[1] - way), (at[0] + 1.2, at[1] - way)]
    drawing.polygon(corners, fill=INK if closing else PAPER, weight=0.35)


def _draw_axis(drawing: Drawing, plot: TracePlot, x: Scale, y: float) -> None:
    drawing.group("axis")
    drawing.line((x.at_low, y), (x.at_high, y), weight=0.35)
    for tick in ticks(x.low, x.high, 9):
        drawing.line((x(tick), y), (x(tick), y + 1.4), weight=0.35)
        drawing.text((x(tick), y + 4.8), plain(tick), size=SMALL_MM, anchor="middle")
    words = "shaft angle, degrees" if plot.unit == "deg" else "travel, detent gaps"
    drawing.text(((x.at_low + x.at_high) / 2.0, y + 9.0), words, size=SMALL_MM, anchor="middle")


def _legend(plot: TracePlot) -> list[tuple[Sample, str]]:
    edges = [edge for panel in plot.panels for edge in panel.edges]
    return [
        entry
        for shown, entry in (
            (True, (_trace_sample, "read")),
            (True, (_limit_sample, "limit")),
            (bool(plot.detents), (_detent_sample, "detent")),
            (any(edge.closing for edge in edges), (_closing_sample, "closes as the angle grows")),
            (not all(edge.closing for edge in edges), (_opening_sample, "opens")),
            (any(edge.sd for edge in edges), (_whisker_sample, "± 2 s.d.")),
        )
        if shown
    ]


def _trace_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x, y), (x + 7.0, y), ink=FOUND, weight=0.45)


def _limit_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x, y), (x + 7.0, y), ink=QUIET, weight=0.25, dash=_DASH)


def _detent_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x + 3.5, y - 2.0), (x + 3.5, y + 2.0), ink=QUIET, weight=0.2)


def _closing_sample(drawing: Shapes, x: float, y: float) -> None:
    _draw_triangle(drawing, (x + 3.5, y), closing=True)


def _opening_sample(drawing: Shapes, x: float, y: float) -> None:
    _draw_triangle(drawing, (x + 3.5, y), closing=False)


def _whisker_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x + 1.0, y), (x + 6.0, y), weight=0.3)
    for end in (x + 1.0, x + 6.0):
        drawing.line((end, y - 0.6), (end, y + 0.6), weight=0.3)


def _described(plot: TracePlot) -> str:
    """Return the plot in sentences, for those who cannot see it."""
    said = ["Ohms on a logarithmic scale over shaft angle, one panel a pair."]
    for panel in plot.panels:
        found = ", ".join(
            f"{'closes' if edge.closing else 'opens'} at {edge.at:.1f} {plot.unit}"
            for edge in panel.edges
        )
        said.append(f"{panel.pair}: {found or 'no edge found'}.")
    return " ".join(said)
