"""The travel strip: where along the lever's travel each pair conducts, and where the lever rests.

The angle runs across, one line a pair. It is the angle of the moving part against the body: a part
that is out of line by an offset rests at each detent plus that offset, and the bars stay.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from xml.sax.saxutils import escape

from benchproof.family.sentence import one_line
from benchproof.report.layout import (
    LINE_MM,
    Flags,
    Rest,
    Sample,
    Scale,
    Span,
    draw_legend,
    legend_height,
    plain,
    signed,
    span_text,
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
    Shapes,
    shapes_of,
    text_width,
)

_LEFT_MM = 34.0
_RIGHT_MM = 30.0
_PLOT_MM = 116.0
_BAR_MM = 3.6
_FOUND_MM = 2.6
_LINE = 0.3
_DASH = "1.2 0.7"
_IN_BAR_MM = 2.4


@dataclass(frozen=True)
class Bar:
    """An arc over which a pair conducts.

    Attributes
    ----------
    low, high : float
        Its ends; one beyond the strip's span is drawn as going on.
    through : str
        The resistance it conducts through, in words; empty if it is closed.
    """

    low: float
    high: float
    through: str = ""


@dataclass(frozen=True)
class StripEdge:
    """An edge as a sweep found it, or the place of one that it did not find.

    Attributes
    ----------
    at : float
        Its angle.
    sd : float
        Standard uncertainty of the angle; drawn as a whisker of two of them to either side.
    found : bool
        Whether it was found.
    """

    at: float
    sd: float = 0.0
    found: bool = True


@dataclass(frozen=True)
class Row:
    """One pair.

    Attributes
    ----------
    pair : str
        Its pins.
    role : str
        What it does in the vehicle.
    expected : tuple of Bar
        Where it should conduct.
    found : tuple of Bar
        Where it was found to conduct.
    edges : tuple of StripEdge
        The edges found.
    holds : str
        The offsets at which its cells hold, in words.
    """

    pair: str
    role: str = ""
    expected: tuple[Bar, ...] = ()
    found: tuple[Bar, ...] = ()
    edges: tuple[StripEdge, ...] = ()
    holds: str = ""


@dataclass(frozen=True)
class Strip:
    """A travel strip.

    Attributes
    ----------
    title : str
        What it shows.
    unit : str
        ``deg``, or ``gap`` where angles are fractions of a detent gap.
    span : (float, float)
        The angles from left to right.
    detents : tuple of (str, float)
        Positions and their angles, rising, within the span.
    rows : tuple of Row
        The pairs.
    window : (float, float) or None
        The offsets at which every cell still holds; shaded about each detent.
    rest : Rest or None
        The part's offset.
    note : str
        A sentence under the title.
    """

    title: str
    unit: str
    span: Span
    detents: tuple[tuple[str, float], ...]
    rows: tuple[Row, ...]
    window: Span | None = None
    rest: Rest | None = None
    note: str = ""


def draw_strip(strip: Strip) -> str:
    """Return a travel strip as SVG.

    Raises
    ------
    ValueError
        If a number is not finite or the span is empty.
    """
    return Picture(strip).svg(strip.rest)


class Picture:
    """A strip drawn once, for any part: only the marks of where one rests are drawn anew.

    Parameters
    ----------
    strip : Strip
        The strip; the rest that it tells is left out.

    Raises
    ------
    ValueError
        If a number is not finite or the span is empty.
    """

    def __init__(self, strip: Strip) -> None:
        if not 0.0 < strip.span[1] - strip.span[0] < inf:
            raise ValueError("a strip's span runs from a lower to a higher angle")
        self.strip = replace(strip, rest=None)
        plot = max(_PLOT_MM, (len(strip.detents) + 1) * LINE_MM)
        self._width = _LEFT_MM + plot + _RIGHT_MM
        self._x = Scale(*strip.span, _LEFT_MM, _LEFT_MM + plot)
        self._drawn: dict[tuple[bool, float], _Drawn] = {}

    def svg(self, rest: Rest | None = None) -> str:
        """Return it as SVG, with where a part rests."""
        strip, x, room = replace(self.strip, rest=rest), self._x, self._width - 8.0
        entries = _legend(strip)
        # It is as high as its legend needs, a line or two more or less.
        high = legend_height(entries, room)
        if (rest is not None, high) not in self._drawn:
            self._drawn[rest is not None, high] = _drawn(strip, x, self._width, high)
        drawn = self._drawn[rest is not None, high]
        legend = shapes_of("legend")
        draw_legend(legend, entries, (4.0, drawn.bottom + 12.0), room)
        told = {"legend": legend.text_of_part(1)}
        if rest is not None:
            marks = shapes_of("rest")
            _draw_rest(marks, strip, x, (drawn.top, drawn.bottom))
            told["rest"] = marks.text_of_part(1)
            lines = [(x(at), _DASH) for at in _rests(strip)]
            for name, (bar, rows) in drawn.covering.items():
                over = shapes_of(name)
                _draw_crossings(over, bar, x, rows, lines)
                told[name] = over.text_of_shapes(2)
        text = "".join(f"{piece}{told.get(name, '')}" for piece, name in drawn.pieces)
        if rest is None:
            return text
        offset = escape(one_line(f" Offset: {signed(rest.best, strip.unit)}."))
        return text.replace("</desc>", f"{offset}</desc>", 1)


@dataclass(frozen=True)
class _Drawn:
    """A strip without the marks of a part.

    Attributes
    ----------
    pieces : tuple of (str, str)
        The text, and the names of the places between.
    top, bottom : float
        Between which the rows stand, millimetres.
    covering : mapping of str to (Bar, (float, float))
        The black bars, which cover marks, and between what heights, by the place after each.
    """

    pieces: tuple[tuple[str, str], ...]
    top: float
    bottom: float
    covering: Mapping[str, tuple[Bar, Span]]


def _drawn(strip: Strip, x: Scale, width: float, legend: float) -> _Drawn:
    flags = Flags(
        tuple(_detent_words(name, at, strip.unit) for name, at in strip.detents),
        tuple(x.held(at) for _, at in strip.detents),
        x.at_low - 8.0,
        x.at_high + 2.0,
    )
    top = (14.0 if strip.note else 9.5) + flags.height
    heights = [_row_height(row) for row in strip.rows]
    first = top + (7.0 if strip.rest else 1.0)
    bottom = first + sum(heights) + 1.0

    drawing = Drawing(width, bottom + 12.0 + legend + 2.0, strip.title, _described(strip))
    drawing.group("title")
    drawing.text((4.0, 6.0), strip.title, size=4.2, bold=True, room=width - 8.0)
    drawing.text((4.0, 10.5), strip.note, size=SMALL_MM, fill=QUIET, room=width - 8.0)
    _draw_window(drawing, strip, x, (top, bottom))
    drawing.group("detents")
    flags.draw(drawing, top)
    for place in flags.at:
        drawing.line((place, top), (place, bottom), weight=_LINE)
    drawing.place("rest", whole=True)
    drawing.group("rows")
    hatch = drawing.hatching("strip-found", FOUND)
    lines = [(at, "") for at in flags.at]
    covering: dict[str, tuple[Bar, Span]] = {}
    y = first
    for row, high in zip(strip.rows, heights, strict=True):
        drawing.line((4.0, y), (width - 4.0, y), ink=QUIET, weight=0.1)
        _draw_row(drawing, row, x, y, hatch, lines, covering)
        y += high
    drawing.line((4.0, y), (width - 4.0, y), ink=QUIET, weight=0.1)
    if any(row.holds for row in strip.rows):
        drawing.text((x.at_high + 3.0, top - 1.2), "holds at offsets", size=SMALL_MM, fill=QUIET)
    _draw_axis(drawing, strip, x, bottom)
    drawing.place("legend", whole=True)
    return _Drawn(drawing.pieces(), top, bottom, covering)


def _detent_words(name: str, at: float, unit: str) -> tuple[str, str]:
    return name, f"{at:.4g}°" if unit == "deg" else ""


def _row_height(row: Row) -> float:
    return 13.0 if row.found or row.edges else 9.0


def _draw_window(drawing: Drawing, strip: Strip, x: Scale, rows: Span) -> None:
    if strip.window is None:
        return
    low, high = strip.window
    drawing.group("window")
    for _, at in strip.detents:
        left, right = x.held(at + low), x.held(at + high)
        drawing.rect((left, rows[0]), right - left, rows[1] - rows[0], fill=SHADE)
        for end in (left, right):
            drawing.line((end, rows[0]), (end, rows[1]), ink=QUIET, weight=0.15, dash="0.3 0.6")


def _draw_row(
    drawing: Drawing,
    row: Row,
    x: Scale,
    y: float,
    hatch: str,
    lines: Sequence[tuple[float, str]],
    covering: dict[str, tuple[Bar, Span]],
) -> None:
    """Draw a row, and leave a place after each bar for the marks that it covers."""
    pair_y = y + 4.2 if row.role else y + 5.5
    drawing.text((4.0, pair_y), row.pair, bold=True, room=_LEFT_MM - 6.0)
    drawing.text((4.0, y + 7.6), row.role, size=SMALL_MM, fill=QUIET, room=_LEFT_MM - 6.0)
    side = x.at_high + 3.0
    drawing.text((side, y + 5.4), row.holds, size=SMALL_MM, room=_RIGHT_MM - 5.0)
    for bar in row.expected:
        _draw_bar(drawing, bar, x, (y + 2.6, _BAR_MM), PAPER if bar.through else INK, INK)
        if not bar.through:
            rows = y + 2.6, y + 2.6 + _BAR_MM
            _draw_crossings(drawing, bar, x, rows, lines)
            name = f"over {len(covering)}"
            covering[name] = bar, rows
            drawing.place(name)
    below = y + 2.6 + _BAR_MM + 1.0
    for bar in row.found:
        _draw_bar(drawing, bar, x, (below, _FOUND_MM), PAPER if bar.through else hatch, FOUND)
    for edge in row.edges:
        if x.low <= edge.at <= x.high:
            _draw_edge(drawing, edge, x, below + _FOUND_MM / 2.0)


def _draw_bar(
    drawing: Shapes, bar: Bar, x: Scale, rows: tuple[float, float], fill: str, ink: str
) -> None:
    top, high = rows
    if bar.high <= x.low or bar.low >= x.high:
        return
    left, right = x.held(bar.low), x.held(bar.high)
    drawing.rect((left, top), right - left, high, fill=fill, ink=ink, weight=0.35)
    for beyond, end, way in ((bar.low < x.low, left, -1.0), (bar.high > x.high, right, 1.0)):
        if beyond:
            tip = [(end, top), (end + way * 1.6, top + high / 2.0), (end, top + high)]
            drawing.polygon(tip, fill=ink, ink=ink)
    bare = bar.through.replace("ohm", "").strip()
    for words in (bar.through, bare):
        if words and text_width(words, _IN_BAR_MM) < right - left - 0.6:
            at = ((left + right) / 2.0, top + high / 2.0 + _IN_BAR_MM * 0.36)
            drawing.text(at, words, size=_IN_BAR_MM, anchor="middle")
            break


def _draw_crossings(
    drawing: Shapes, bar: Bar, x: Scale, rows: Span, lines: Sequence[tuple[float, str]]
) -> None:
    """Draw in white, on a black bar, the lines that it covers."""
    for at, dash in lines:
        if x.held(bar.low) < at < x.held(bar.high):
            drawing.line((at, rows[0]), (at, rows[1]), ink=PAPER, weight=_LINE, dash=dash)


def _draw_edge(drawing: Shapes, edge: StripEdge, x: Scale, y: float) -> None:
    if not edge.found:
        at = x.held(edge.at)
        for way in (-1.0, 1.0):
            drawing.line((at - 1.1, y - way * 1.1), (at + 1.1, y + way * 1.1), weight=0.4)
        return
    _draw_whisker(drawing, (edge.at - 2.0 * edge.sd, edge.at + 2.0 * edge.sd), x, y)
    at = x.held(edge.at)
    drawing.line((at, y - 2.0), (at, y + 2.0), weight=0.6)


def _draw_whisker(drawing: Shapes, ends: Span, x: Scale, y: float) -> None:
    """Draw a whisker between two ends, over a ground that keeps it clear."""
    left, right = x.held(ends[0]), x.held(ends[1])
    drawing.line((left, y), (right, y), ink=PAPER, weight=1.0)
    drawing.line((left, y), (right, y), weight=0.35)
    for end in (left, right):
        drawing.line((end, y - 0.9), (end, y + 0.9), weight=0.35)


def _draw_rest(drawing: Shapes, strip: Strip, x: Scale, rows: Span) -> None:
    assert strip.rest is not None, "drawn of a part alone"
    y = rows[0] + 3.5
    drawing.text((4.0, y + 1.1), "rests at", bold=True)
    for at in _rests(strip):
        drawing.line((x(at), y), (x(at), rows[1]), weight=_LINE, dash=_DASH)
        for low, high in strip.rest.intervals:
            home = at - strip.rest.best
            _draw_whisker(drawing, (home + low, home + high), x, y)
        drawing.polygon(_diamond(x(at), y))


def _rests(strip: Strip) -> list[float]:
    """Return the angles at which the part rests, as far as they are on the strip."""
    if strip.rest is None:
        return []
    places = (at + strip.rest.best for _, at in strip.detents)
    return [at for at in places if strip.span[0] <= at <= strip.span[1]]


def _diamond(x: float, y: float) -> list[tuple[float, float]]:
    return [(x, y - 1.3), (x + 0.8, y), (x, y + 1.3), (x - 0.8, y)]


def _draw_axis(drawing: Drawing, strip: Strip, x: Scale, y: float) -> None:
    drawing.group("axis")
    drawing.line((x.at_low, y), (x.at_high, y), weight=0.35)
    for tick in ticks(*strip.span, 9):
        drawing.line((x(tick), y), (x(tick), y + 1.4), weight=0.35)
        drawing.text((x(tick), y + 4.8), plain(tick), size=SMALL_MM, anchor="middle")
    words = "shaft angle, degrees" if strip.unit == "deg" else "travel, detent gaps"
    drawing.text(((x.at_low + x.at_high) / 2.0, y + 9.0), words, size=SMALL_MM, anchor="middle")


def _sample(bar: Bar, fill: str, ink: str, high: float) -> Sample:
    def draw(drawing: Shapes, x: float, y: float) -> None:
        across = Scale(bar.low, bar.high, x, x + 7.0)
        _draw_bar(drawing, bar, across, (y - high / 2.0, high), fill, ink)

    return draw


def _detent_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x + 3.5, y - 2.0), (x + 3.5, y + 2.0), weight=0.3)


def _window_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.rect((x, y - 1.8), 7.0, 3.6, fill=SHADE)


def _rest_sample(drawing: Shapes, x: float, y: float) -> None:
    drawing.line((x + 3.5, y), (x + 3.5, y + 2.4), weight=_LINE, dash=_DASH)
    drawing.polygon(_diamond(x + 3.5, y - 0.8))


def _edge_sample(drawing: Shapes, x: float, y: float) -> None:
    _draw_edge(drawing, StripEdge(0.5, 0.2), Scale(0.0, 1.0, x, x + 7.0), y)


def _lost_sample(drawing: Shapes, x: float, y: float) -> None:
    _draw_edge(drawing, StripEdge(0.5, found=False), Scale(0.0, 1.0, x, x + 7.0), y)


def _legend(strip: Strip) -> list[tuple[Sample, str]]:
    """Return what the strip shows and how, only of what it does show."""
    full = Bar(0.0, 1.0)
    expected = [bar for row in strip.rows for bar in row.expected]
    edges = [edge for row in strip.rows for edge in row.edges]
    window = span_text(strip.window, strip.unit) if strip.window else ""
    rest = signed(strip.rest.best, strip.unit) if strip.rest else ""
    # What was found already stands where it is; the window is told of the part as it should be.
    against = ", against the black bars" if any(row.found for row in strip.rows) else ""
    return [
        entry
        for shown, entry in (
            (True, (_sample(full, INK, INK, _BAR_MM), "closed")),
            (
                any(bar.through for bar in expected),
                (_sample(full, PAPER, INK, _BAR_MM), "conducts through a resistance, ohm"),
            ),
            (
                any(row.found for row in strip.rows),
                (_sample(full, "url(#strip-found)", FOUND, _FOUND_MM), "closed as found"),
            ),
            (any(edge.found for edge in edges), (_edge_sample, "edge found ± 2 s.d.")),
            (not all(edge.found for edge in edges), (_lost_sample, "edge not found")),
            (True, (_detent_sample, "where the lever should rest")),
            (bool(rest), (_rest_sample, f"where it rests: offset {rest}")),
            (bool(window), (_window_sample, f"window {window}: where it may rest{against}")),
        )
        if shown
    ]


def _described(strip: Strip) -> str:
    """Return the strip in sentences, for those who cannot see it; where a part rests follows."""
    said = [
        "Angle across, one line a pair; bars show where it conducts, lines where the lever rests.",
        "Positions: "
        + ", ".join(f"{name} at {at:g} {strip.unit}" for name, at in strip.detents)
        + ".",
    ]
    for row in strip.rows:
        bars = ", ".join(
            f"{bar.low:.4g} to {bar.high:.4g}{f' through {bar.through}' if bar.through else ''}"
            for bar in row.expected
        )
        role = f" ({row.role})" if row.role else ""
        said.append(f"{row.pair}{role}: {f'conducts {bars}' if bars else 'open throughout'}.")
    if strip.window:
        said.append(f"Window: {span_text(strip.window, strip.unit)}.")
    return " ".join(said)
