"""What the hands do for a reading: the lever where it goes, and the probes lifted and set again."""

from collections.abc import Sequence
from math import cos, pi, sin

from benchproof.report.connectorview import HIGH_MM
from benchproof.report.svg import (
    FOUND,
    INK,
    PAPER,
    QUIET,
    Drawing,
    Point,
    Shapes,
    fitting,
    text_width,
)

WIDE_MM = 110.0
MOST_POSITIONS = 16
"""A lever of more positions than these has no picture: their names could not be read."""
_AT: Point = (55.0, 61.0)
_REACH_DEG = 66.0
_HUB, _KNOB, _GATE, _NAMES = 5.0, 30.0, 40.0, 48.5
_QUIET_MM, _LOUD_MM = 6.4, 11.5
_LEAN = 0.36
"""How far a leaned lever is drawn from its notch, of the way to the next."""


Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def draw_lever(positions: Sequence[str], to: str, lean: str = "", before: str = "") -> str:
    """Return the lever as SVG, in the position to read in; empty if that cannot be drawn.

    Parameters
    ----------
    positions : sequence of str
        Lever positions in lever order, drawn from left to right.
    to : str
        Where it goes.
    lean : str
        The neighbor toward which it is held; empty if it rests in its notch.
    before : str
        Where it stood for the reading before; empty if that is not known.
    """
    if to not in positions or len(positions) > MOST_POSITIONS:
        return ""
    held = f"Held toward {lean}" if lean else ""
    moved = before if before in positions and before != to else ""
    drawing = Drawing(
        WIDE_MM, HIGH_MM, f"Lever in {to}", _described(positions, to, held=held, moved=moved)
    )
    angles = dict(zip(positions, _angles(len(positions)), strict=True))
    gap = 2.0 * _REACH_DEG / max(len(positions) - 1, 1)
    drawing.group("gate")
    ends = (-_REACH_DEG - 6.0, _REACH_DEG + 6.0)
    ring = [*_arc(ends, _GATE), *reversed(_arc(ends, _GATE - 4.0))]
    drawing.polygon(ring, fill="#f1f1ee", ink=INK, weight=0.7)
    for angle in angles.values():
        drawing.circle(_around(angle, _GATE - 2.0), 1.0, fill=PAPER, ink=QUIET, weight=0.5)
    drawing.group("names")
    _names(drawing, angles, gap, to)
    at = angles[to]
    drawing.group("lever")
    if moved:
        _ghost(drawing, angles[moved], at)
    if lean in angles:
        way = 1.0 if angles[lean] > at else -1.0
        tilt = min(_LEAN * gap, 9.0)
        _stick(drawing, at + way * tilt)
        start = at + way * (tilt + 15.0)
        _arrow(drawing, (start, start + way * 17.0), _KNOB, FOUND)
    else:
        _stick(drawing, at)
    return drawing.svg()


def draw_again() -> str:
    """Return the picture of probes that are lifted and set again, as SVG."""
    drawing = Drawing(
        WIDE_MM,
        HIGH_MM,
        "Probes off, and on again",
        "Lift both probes off the pins, then set them on the same pins anew.",
    )
    for name, middle, lift, words in (("off", 27.0, 9.0, "off"), ("on", 83.0, 0.0, "on again")):
        drawing.group(name)
        for side in (-1.0, 1.0):
            x = middle + side * 9.0
            drawing.circle((x, 43.0), 4.6, fill=PAPER, ink=INK, weight=0.9)
            _probe(drawing, (x, 42.0 - lift), side)
        if lift:
            _straight(drawing, (middle, 40.0), (middle, 20.0))
        else:
            _straight(drawing, (middle, 17.0), (middle, 37.0))
        drawing.text((middle, 58.5), words, anchor="middle", size=8.0, bold=True)
    drawing.group("then")
    drawing.polyline([(50.5, 24.0), (57.0, 32.0), (50.5, 40.0)], ink=QUIET, weight=1.4)
    return drawing.svg()


def _angles(many: int) -> list[float]:
    if many == 1:
        return [0.0]
    return [_REACH_DEG * (2.0 * n / (many - 1) - 1.0) for n in range(many)]


def _around(angle_deg: float, radius: float) -> Point:
    angle = angle_deg * pi / 180.0
    return _AT[0] + radius * sin(angle), _AT[1] - radius * cos(angle)


def _arc(ends: tuple[float, float], radius: float) -> list[Point]:
    steps = max(2, int(abs(ends[1] - ends[0]) / 3.0) + 1)
    return [_around(ends[0] + (ends[1] - ends[0]) * n / steps, radius) for n in range(steps + 1)]


def _names(drawing: Shapes, angles: dict[str, float], gap: float, to: str) -> None:
    """Write the positions around the gate, all of one size but where it goes, which is large."""
    room = 2.0 * _NAMES * sin(min(gap, 60.0) * pi / 360.0)
    places = {name: _around(angle, _NAMES) for name, angle in angles.items()}
    within = {name: 2.0 * min(x, WIDE_MM - x) - 1.0 for name, (x, _) in places.items()}
    quiet = min(fitting(name, _QUIET_MM, min(0.85 * room, within[name])) for name in angles)
    boxes = [_box(name, places[name], quiet) for name in angles if name != to]
    loud = fitting(to, _LOUD_MM, within[to], bold=True)
    # As large as its neighbors leave room for.
    while loud > quiet and any(_touch(_box(to, places[to], loud), one) for one in boxes):
        loud -= 0.25
    for name, (x, y) in places.items():
        size, ink = (loud, INK) if name == to else (quiet, QUIET)
        drawing.text(
            (x, y + 0.36 * size), name, anchor="middle", size=size, bold=name == to, fill=ink
        )


def _box(name: str, at: Point, size: float) -> Box:
    """Return about where a name's letters lie: left, top, right, bottom."""
    half = text_width(name, size, bold=True) / 2.0 + 0.4
    return at[0] - half, at[1] - 0.45 * size, at[0] + half, at[1] + 0.45 * size


def _touch(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _stick(drawing: Shapes, angle: float) -> None:
    """Draw the lever: a hub, a stick that grows narrower, its knob."""
    half = 5.0
    drawing.polygon(
        [
            _around(angle - 28.0, _HUB),
            _around(angle - half / 2.6, _KNOB),
            _around(angle + half / 2.6, _KNOB),
            _around(angle + 28.0, _HUB),
        ]
    )
    drawing.circle(_AT, _HUB, fill=PAPER, weight=1.2)
    drawing.circle(_around(angle, _KNOB - 1.0), 5.2, fill=INK)
    drawing.circle(_around(angle, _KNOB - 1.0), 2.2, fill=PAPER, ink=PAPER)
    drawing.line(_around(angle, _KNOB + 4.2), _around(angle, _GATE - 1.0), weight=1.4)


def _ghost(drawing: Shapes, start: float, end: float) -> None:
    """Draw where the lever stood, and the way from there."""
    drawing.line(_around(start, _HUB), _around(start, _KNOB - 5.0), ink=QUIET, dash="1.6 1.4")
    drawing.circle(_around(start, _KNOB - 1.0), 4.0, fill=PAPER, ink=QUIET, weight=0.6)
    way = 1.0 if end > start else -1.0
    if abs(end - start) > 30.0:
        _arrow(drawing, (start + way * 12.0, end - way * 13.0), _KNOB - 6.0, QUIET)


def _arrow(drawing: Shapes, ends: tuple[float, float], radius: float, ink: str) -> None:
    """Draw an arrow round the pivot."""
    start, end = ends
    way = 1.0 if end > start else -1.0
    head = 420.0 / (radius + 10.0) * 0.9
    neck = end - way * head * 0.8
    drawing.polyline(_arc((start, neck), radius), ink=ink, weight=2.0)
    points = [_around(end, radius), _around(neck, radius + 3.2), _around(neck, radius - 3.2)]
    drawing.polygon(points, fill=ink, ink=ink)


def _straight(drawing: Shapes, start: Point, end: Point) -> None:
    way = 1.0 if end[1] > start[1] else -1.0
    neck = end[1] - way * 6.0
    drawing.line(start, (start[0], neck), ink=FOUND, weight=2.2)
    points = [end, (end[0] - 3.6, neck), (end[0] + 3.6, neck)]
    drawing.polygon(points, fill=FOUND, ink=FOUND)


def _probe(drawing: Shapes, tip: Point, side: float) -> None:
    """Draw a probe that leans outward, its needle on a point."""
    x, y = tip
    slope = side * 0.22

    def along(up: float, across: float) -> Point:
        return x + slope * up + across, y - up

    drawing.polygon([along(0.0, 0.0), along(11.0, -0.7), along(11.0, 0.7)])
    drawing.polygon(
        [along(10.0, -2.0), along(10.0, 2.0), along(29.0, 2.8), along(29.0, -2.8)], weight=0.5
    )
    drawing.line(along(13.0, -2.6), along(13.0, 2.6), ink=PAPER, weight=0.6)


def _described(positions: Sequence[str], to: str, *, held: str, moved: str) -> str:
    number = positions.index(to) + 1
    said = [f"The lever goes in {to}, position {number} of {len(positions)}."]
    if moved:
        said.append(f"It stood in {moved}.")
    if held:
        said.append(f"{held}.")
    return " ".join(said)
