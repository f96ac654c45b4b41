"""The dial: rotor, marks and offset to scale, with the marks magnified.

Lengths are true: printed at its own size, a figure that says ×8 is eight times the part. Where the
family tells which way its angles grow, the dial shows the part as seen from the side it names; else
angles grow to the right at the top.
"""

from dataclasses import dataclass
from math import cos, floor, isfinite, log10, pi, radians, sin

from benchproof.report.layout import LINE_MM, Rest, Span, plain, round_step, signed, span_text
from benchproof.report.svg import (
    INK,
    PAPER,
    QUIET,
    SHADE,
    SMALL_MM,
    TEXT_MM,
    Drawing,
    Point,
    shortened,
    text_width,
    wrapped,
)

_WIDTH_MM = 180.0
_CENTRE = (47.0, 64.0)
_RING_MM = 26.0
"""The largest radius at which the mark circle is drawn."""
_INSET = (94.0, 26.0)
_INSET_MM = (82.0, 57.0)
_WAYS_Y = 22.0
_MARK_MM = 12.0
_NAME_MM = 12.0
_FILL_MM = 27.0
"""How far from the middle of the inset the farthest of what it shows may be drawn."""
_ROUND = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


@dataclass(frozen=True)
class Dial:
    """A dial.

    Attributes
    ----------
    title : str
        What it shows.
    radius_mm : float
        Radius of the circle on which the marks lie, above zero.
    line_mm : float
        Width of a mark's line, above zero.
    home : str
        The position in which the marks should meet; empty if it is not known.
    detents : tuple of (str, float)
        Positions and their angles from the home position, degrees, rising; may be empty.
    rest : Rest or None
        The part's offset, degrees; None draws the marks in line.
    window : (float, float) or None
        The offsets at which every cell still holds, degrees.
    viewed_from : str
        The side it is seen from; empty if none is named.
    offset_grows : str
        Which way to turn the body, seen from there, so that the offset grows: ``clockwise`` or
        ``counter-clockwise``; empty if it is not known.
    note : str
        A sentence under the title.
    """

    title: str
    radius_mm: float
    line_mm: float
    home: str = ""
    detents: tuple[tuple[str, float], ...] = ()
    rest: Rest | None = None
    window: Span | None = None
    viewed_from: str = ""
    offset_grows: str = ""
    note: str = ""

    def arc_mm(self, angle_deg: float) -> float:
        """Return the length of an arc of the mark circle."""
        return self.radius_mm * radians(angle_deg)

    @property
    def offset_deg(self) -> float:
        """The offset that is drawn."""
        return self.rest.best if self.rest else 0.0

    @property
    def way(self) -> float:
        """1 if angles grow to the right at the top, -1 if to the left.

        The offset grows as the body turns back under the rotor: where the body must turn
        clockwise, the rotor's angles grow counter-clockwise, which is to the left.
        """
        return -1.0 if self.offset_grows == "clockwise" else 1.0

    @property
    def toward(self) -> str:
        """Where positive angles lead, in words."""
        return f"toward {self.detents[-1][0] if self.detents else 'the last position'}"

    @property
    def away(self) -> str:
        """Where negative angles lead, in words."""
        return f"toward {self.detents[0][0] if self.detents else 'the first position'}"

    @property
    def across_mm(self) -> float:
        """Millimetres to the right along the mark circle for each degree."""
        return self.way * self.arc_mm(1.0)


def draw_dial(dial: Dial) -> str:
    """Return a dial as SVG.

    Raises
    ------
    ValueError
        If a number is not finite, or a length is not above zero.
    """
    if not (dial.radius_mm > 0.0 and dial.line_mm > 0.0):
        raise ValueError("a dial's radius and its marks' width are above zero")
    farthest_mm = _farthest_mm(dial)
    times = _rounded_down(_RING_MM / dial.radius_mm)
    inset_times = _rounded_down(_FILL_MM / max(farthest_mm, 1.5 * dial.line_mm))
    words = wrapped(" ".join(_words(dial)), SMALL_MM, _INSET_MM[0])
    below = _INSET[1] + _INSET_MM[1] + 5.0
    height = max(below + LINE_MM * len(words), _CENTRE[1] + _RING_MM + 18.0)
    drawing = Drawing(_WIDTH_MM, height, dial.title, _described(dial))
    drawing.group("title")
    drawing.text((4.0, 6.0), dial.title, size=4.2, bold=True, room=_WIDTH_MM - 8.0)
    drawing.text((4.0, 10.5), dial.note, size=SMALL_MM, fill=QUIET, room=_WIDTH_MM - 8.0)
    hatch = drawing.hatching("dial-rotor")
    _draw_ring(drawing, dial, times)
    _draw_inset(drawing, dial, inset_times, hatch)
    drawing.group("words")
    for line, said in enumerate(words):
        at = (_INSET[0], below + LINE_MM * line)
        drawing.text(at, said, size=SMALL_MM, room=_INSET_MM[0])
    return drawing.svg()


def _farthest_mm(dial: Dial) -> float:
    intervals = dial.rest.intervals if dial.rest else ()
    angles = [dial.offset_deg, *(dial.window or ()), *(end for pair in intervals for end in pair)]
    if not all(isfinite(angle) for angle in angles):
        raise ValueError("a dial's offset and window are finite")
    return max(abs(dial.arc_mm(angle)) for angle in angles)


def _rounded_down(times: float) -> float:
    """Return the largest round magnification that is no larger.

    Examples
    --------
    >>> _rounded_down(9.7), _rounded_down(0.87), _rounded_down(13.0)
    (8.0, 0.8, 12.0)
    """
    power = 10.0 ** floor(log10(times))
    return max(power * n for n in _ROUND if n == 1.0 or power * n <= times * (1.0 + 1e-9))


def _draw_ring(drawing: Drawing, dial: Dial, times: float) -> None:
    drawing.group("dial")
    ring = dial.radius_mm * times
    drawing.circle(_CENTRE, ring + 5.0, ink=QUIET, weight=0.35)
    if dial.window is not None:
        low, high = (dial.way * min(max(end, -170.0), 170.0) for end in dial.window)
        steps = [low + (high - low) * n / 24 for n in range(25)]
        sector = [_around(angle, ring) for angle in steps]
        sector += [_around(angle, ring * 0.62) for angle in reversed(steps)]
        drawing.polygon(sector, fill=SHADE, ink=QUIET, weight=0.15)
    drawing.circle(_CENTRE, ring, weight=0.5)
    drawing.circle(_CENTRE, ring * 0.3, weight=0.5)
    drawing.line(_around(-90.0, ring * 0.3), _around(90.0, ring * 0.3), ink=QUIET, weight=0.15)
    drawing.line(_around(0.0, ring * 0.3), _around(180.0, ring * 0.3), ink=QUIET, weight=0.15)
    _draw_positions(drawing, dial, ring)
    width = dial.line_mm * times
    drawing.line(_around(0.0, ring), _around(0.0, ring + 5.0), weight=width)
    _draw_rotor_mark(drawing, dial, ring, width)
    drawing.text((_CENTRE[0], _CENTRE[1] + ring * 0.62), "rotor", size=SMALL_MM, anchor="middle")
    drawing.text((_CENTRE[0], _CENTRE[1] + ring + 3.4), "body", size=SMALL_MM, anchor="middle")
    below = _CENTRE[1] + _RING_MM + 14.5
    scale = f"Drawn ×{times:g}; mark circle radius {dial.radius_mm:g} mm"
    drawing.text((_CENTRE[0], below), scale, size=SMALL_MM, anchor="middle")
    _draw_ways(drawing, dial, (4.0, 88.0), _WAYS_Y)


def _around(angle_deg: float, radius: float) -> Point:
    """Return a point of the dial, angles told from the top to the right."""
    angle = angle_deg * pi / 180.0
    return _CENTRE[0] + radius * sin(angle), _CENTRE[1] - radius * cos(angle)


def _draw_rotor_mark(drawing: Drawing, dial: Dial, ring: float, width: float) -> None:
    angle = dial.way * dial.offset_deg
    drawing.line(_around(angle, ring * 0.62), _around(angle, ring), weight=width)
    # A small arrowhead tells the rotor's mark from the body's, which has none.
    tip, foot = ring * 0.62, ring * 0.5
    spread = 2.0 * 180.0 / pi / foot
    drawing.polygon(
        [_around(angle, tip), _around(angle - spread, foot), _around(angle + spread, foot)]
    )


def _draw_positions(drawing: Drawing, dial: Dial, ring: float) -> None:
    """Tick where the rotor's mark stands in each position; label as many as keep clear."""
    taken: list[tuple[float, float, float]] = []
    last = len(dial.detents) - 1
    # Those that are named elsewhere on the dial come first.
    order = sorted(
        range(last + 1), key=lambda n: (dial.detents[n][0] != dial.home, n not in (0, last), n)
    )
    for number in order:
        name, angle = dial.detents[number][0], dial.way * dial.detents[number][1]
        drawing.line(_around(angle, ring), _around(angle, ring + 2.0), weight=0.35)
        words = shortened(name, TEXT_MM, _NAME_MM, bold=True)
        half = text_width(words, TEXT_MM, bold=True) / 2.0
        x, y = _around(angle, ring + 8.3 + (half - 1.2) * abs(sin(radians(angle))))
        clear = all(
            abs(x - other) >= half + wide + 0.5 or abs(y - high) >= TEXT_MM
            for other, high, wide in taken
        )
        if clear:
            taken.append((x, y, half))
            at = (x, y + TEXT_MM * 0.36)
            drawing.text(at, name, anchor="middle", bold=True, room=_NAME_MM)


def _draw_ways(drawing: Drawing, dial: Dial, between: Span, y: float) -> None:
    """Draw an arrow to either side with where it leads."""
    room = (between[1] - between[0]) / 2.0 - 10.0
    left, right = (dial.away, dial.toward) if dial.way > 0.0 else (dial.toward, dial.away)
    for words, x, way, anchor in (
        (left, between[0], 1.0, "start"),
        (right, between[1], -1.0, "end"),
    ):
        drawing.line((x, y), (x + way * 6.0, y), weight=0.35)
        drawing.polygon([(x, y), (x + way * 2.2, y - 1.0), (x + way * 2.2, y + 1.0)])
        drawing.text((x + way * 7.5, y + 1.0), words, size=SMALL_MM, anchor=anchor, room=room)


def _draw_inset(drawing: Drawing, dial: Dial, times: float, hatch: str) -> None:
    drawing.group("inset")
    left, top = _INSET
    wide, high = _INSET_MM
    middle, joint = left + wide / 2.0, top + 25.0
    heading = f"Marks ×{times:g}, unrolled along their circle"
    drawing.text((left, 17.0), heading, bold=True, room=wide)
    _draw_ways(drawing, dial, (left, left + wide), _WAYS_Y)
    drawing.rect((left, top), wide, high, ink=QUIET, weight=0.35)
    if dial.window is not None:
        _draw_window(drawing, dial, dial.window, (middle, joint), times)
    drawing.line((left, joint), (left + wide, joint), weight=0.5)
    drawing.text((left + 1.5, joint - 1.5), "body", size=SMALL_MM)
    drawing.text((left + 1.5, joint + 3.6), "rotor", size=SMALL_MM)
    width = dial.line_mm * times
    offset = middle + dial.offset_deg * dial.across_mm * times
    drawing.rect((middle - width / 2.0, joint - _MARK_MM), width, _MARK_MM, fill=INK)
    drawing.rect((offset - width / 2.0, joint), width, _MARK_MM, fill=hatch, ink=INK, weight=0.35)
    if dial.rest is not None:
        _draw_offset(drawing, dial, dial.rest, (middle, joint), times)
    _draw_length(drawing, (left + wide - 2.0, top + high - 3.0), times)


def _draw_window(drawing: Drawing, dial: Dial, window: Span, at: Point, times: float) -> None:
    middle, joint = at
    window = window if dial.way > 0.0 else (window[1], window[0])
    ends = [middle + end * dial.across_mm * times for end in window]
    drawing.rect((ends[0], joint), ends[1] - ends[0], _MARK_MM, fill=SHADE)
    labels = [(signed(end, "deg"), signed(dial.arc_mm(end), "mm")) for end in window]
    widest = max(text_width(words, SMALL_MM) for pair in labels for words in pair)
    apart = ends[1] - ends[0] > widest + 2.0
    for x, words, outward in zip(ends, labels, ("end", "start"), strict=True):
        drawing.line((x, joint), (x, joint + _MARK_MM + 4.5), weight=0.35)
        for line, said in enumerate(words):
            y = joint + _MARK_MM + 8.0 + 3.6 * line
            anchor = "middle" if apart else outward
            drawing.text((x, y), said, size=SMALL_MM, anchor=anchor)


def _draw_offset(drawing: Drawing, dial: Dial, rest: Rest, at: Point, times: float) -> None:
    middle, joint = at
    x = middle + rest.best * dial.across_mm * times
    y = joint - _MARK_MM - 4.0
    for place, foot in ((middle, joint - _MARK_MM), (x, joint)):
        drawing.line((place, y - 1.5), (place, foot - 0.3), ink=QUIET, weight=0.2)
    drawing.line((middle, y), (x, y), weight=0.35)
    way = 1.0 if x > middle else -1.0
    if abs(x - middle) > 2.5:
        drawing.polygon([(x, y), (x - way * 2.0, y - 0.9), (x - way * 2.0, y + 0.9)])
    words = f"offset {signed(rest.best, 'deg')} = {signed(dial.arc_mm(rest.best), 'mm')}"
    half = text_width(words, TEXT_MM, bold=True) / 2.0
    low, high = _INSET[0] + half + 1.0, _INSET[0] + _INSET_MM[0] - half - 1.0
    centre = min(max((middle + x) / 2.0, low), high)
    drawing.text((centre, y - 3.0), words, anchor="middle", bold=True)
    for interval in rest.intervals:
        ends = [middle + end * dial.across_mm * times for end in interval]
        line = joint + _MARK_MM + 2.2
        drawing.line((ends[0], line), (ends[1], line), ink=PAPER, weight=1.2)
        drawing.line((ends[0], line), (ends[1], line), weight=0.35)
        for end in ends:
            drawing.line((end, line - 1.0), (end, line + 1.0), weight=0.35)


def _draw_length(drawing: Drawing, end: Point, times: float) -> None:
    """Draw a length of the part, as large as the inset shows it."""
    length = round_step(8.0 / times)
    x, y = end
    start = x - length * times
    drawing.line((start, y), (x, y), weight=0.5)
    for place in (start, x):
        drawing.line((place, y - 1.0), (place, y + 1.0), weight=0.5)
    drawing.text((start - 1.5, y + 1.0), f"{plain(length)} mm", size=SMALL_MM, anchor="end")


def _words(dial: Dial) -> list[str]:
    """Return what must be said beside the drawing."""
    meet = f"The marks meet in {dial.home}" if dial.home else "The marks meet"
    shaded = f"; shaded: window {span_text(dial.window, 'deg')}" if dial.window else ""
    whisker = dial.rest is not None and bool(dial.rest.intervals)
    side = f"Seen from the {dial.viewed_from}" if dial.viewed_from else ""
    turning = (
        f"{side}; turning the body {dial.offset_grows} makes the offset grow."
        if side and dial.offset_grows
        else f"Positive is drawn to the right; check on the part which way it is {dial.toward}."
    )
    said = [
        f"{meet} at offset 0{shaded}.",
        "Whisker: interval in which the offset lies." if whisker else "",
        turning,
        f"Solid: the body's mark; hatched: the rotor's; each {plain(dial.line_mm)} mm wide.",
        f"The magnifications are true where this is printed {_WIDTH_MM:g} mm wide.",
    ]
    return [line for line in said if line]


def _described(dial: Dial) -> str:
    """Return the dial in sentences, for those who cannot see it."""
    offset = dial.offset_deg
    said = [
        f"Rotor and body with their marks on a circle of radius {dial.radius_mm:g} mm.",
        f"Offset {signed(offset, 'deg')}, {signed(dial.arc_mm(offset), 'mm')} at the marks.",
    ]
    if dial.window:
        arcs = (dial.arc_mm(dial.window[0]), dial.arc_mm(dial.window[1]))
        said.append(f"Window {span_text(dial.window, 'deg')}, {span_text(arcs, 'mm')}.")
    return " ".join([*said, *_words(dial)])
