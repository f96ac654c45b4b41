"""The dial of a body to be turned: its mark, the rotor's mark, and the range that is good.

The outer ring is the body, the inner one the rotor. The body's mark stands where it is now; turned
until it meets the rotor's, every cell is in the middle of its window. Angles are drawn larger than
they are, so that a degree can be seen from a distance.
"""

from dataclasses import dataclass
from math import cos, pi, sin

from benchproof.report.layout import Span, plain, ticks
from benchproof.report.svg import INK, PAPER, QUIET, Drawing, Point, Shapes

GOOD = "#b9d2ef"
_WIDE_MM, _HIGH_MM = 164.0, 84.0
_AT: Point = (82.0, 115.0)
_BODY, _SEAM, _ROTOR = 96.0, 76.0, 50.0
_REACH_DEG = 46.0
"""How far to either side of the top the dial is drawn."""
_MOST_TICKS = 9


@dataclass(frozen=True)
class TurnDial:
    """What is drawn.

    Attributes
    ----------
    unit : str
        Of all its numbers, as people read it: ``°``, ``mm``, ``turns``.
    set_at : float
        Where the marks meet.
    good : (float, float) or None
        The range that is good.
    now : float or None
        Where the body is; None if that is not known.
    within : tuple of (float, float)
        Where that lies with 95 %; where the set point does, if `now` is not known.
    clockwise : bool
        Whether the numbers grow clockwise on the dial.
    is_known : bool
        Whether the side is known on which the body is.
    """

    unit: str
    set_at: float
    good: Span | None
    now: float | None = None
    within: tuple[Span, ...] = ()
    clockwise: bool = True
    is_known: bool = True


def draw_turn_dial(dial: TurnDial) -> str:
    """Return the dial as SVG."""
    drawing = Drawing(_WIDE_MM, _HIGH_MM, "Where it is, and where to set it", _described(dial))
    scale = _Angles(dial)
    drawing.group("rings")
    _band(drawing, (-_REACH_DEG, _REACH_DEG), (_SEAM, _BODY), PAPER)
    _band(drawing, (-_REACH_DEG, _REACH_DEG), (_ROTOR, _SEAM), "#f1f1ee")
    if dial.good is not None:
        low, high = sorted(scale(end) for end in dial.good)
        _band(drawing, (low, high), (_SEAM, _BODY), GOOD)
    for value in scale.ticks():
        angle = scale(value)
        drawing.line(_around(angle, _BODY), _around(angle, _BODY - 4.0), weight=0.7)
        at = _around(angle, _BODY + 4.5)
        drawing.text((at[0], at[1] + 1.4), plain(value), anchor="middle", size=5.0)
    drawing.group("standing")
    if dial.good is not None:
        at = _around(0.0, _SEAM + 6.5)
        drawing.text(at, "good", anchor="middle", size=6.0)
    _rotor(drawing)
    if dial.now is not None:
        _body(drawing, dial, scale)
    return drawing.svg()


class _Angles:
    """Where on the dial a number is drawn, degrees to the right of the top."""

    def __init__(self, dial: TurnDial) -> None:
        ends = [end for pair in (*dial.within, *filter(None, (dial.good,))) for end in pair]
        ends += [] if dial.now is None else [dial.now]
        reach = max((abs(end - dial.set_at) for end in ends), default=1.0) or 1.0
        self.reach = 1.15 * reach
        self._dial = dial
        self._per_unit = (_REACH_DEG / self.reach) * (1.0 if dial.clockwise else -1.0)

    def __call__(self, value: float) -> float:
        angle = (value - self._dial.set_at) * self._per_unit
        return min(max(angle, -_REACH_DEG), _REACH_DEG)

    def ticks(self) -> list[float]:
        """Return the round numbers on it."""
        middle = self._dial.set_at
        return ticks(middle - self.reach, middle + self.reach, _MOST_TICKS)


def _around(angle_deg: float, radius: float) -> Point:
    angle = angle_deg * pi / 180.0
    return _AT[0] + radius * sin(angle), _AT[1] - radius * cos(angle)


def _arc(span: Span, radius: float) -> list[Point]:
    steps = max(2, int(abs(span[1] - span[0])) + 1)
    return [_around(span[0] + (span[1] - span[0]) * n / steps, radius) for n in range(steps + 1)]


def _band(drawing: Shapes, span: Span, radii: Span, fill: str) -> None:
    inner, outer = radii
    ring = [*_arc(span, outer), *reversed(_arc(span, inner))]
    drawing.polygon(ring, fill=fill, ink=INK, weight=0.7)


def _rotor(drawing: Shapes) -> None:
    """Draw the rotor's mark, a notch at the top, and what it stands for."""
    drawing.polygon([_around(0.0, _SEAM), _around(-3.2, _SEAM - 9.0), _around(3.2, _SEAM - 9.0)])
    at = _around(0.0, _SEAM - 15.5)
    drawing.text(at, "set here", anchor="middle", bold=True, size=6.0)


def _body(drawing: Shapes, dial: TurnDial, scale: _Angles) -> None:
    """Draw the body's mark where it is, how well that is known, and the way to the rotor's."""
    assert dial.now is not None, "asked only if it is known"
    sides = [dial.now] if dial.is_known else [dial.now, 2.0 * dial.set_at - dial.now]
    for pair in dial.within:
        span = scale(pair[0]), scale(pair[1])
        drawing.polyline(_arc(span, _SEAM + 6.0), ink=QUIET, weight=1.6)
    for side in sides:
        angle = scale(side)
        half = 1.15
        mark = [
            _around(angle - half, _BODY),
            _around(angle + half, _BODY),
            _around(angle + half, _SEAM),
            _around(angle - half, _SEAM),
        ]
        drawing.polygon(mark, fill=INK if dial.is_known else PAPER, weight=0.9)
        at = _around(angle, _BODY + 10.5)
        words = "now" if dial.is_known else "now?"
        drawing.text((at[0], at[1] + 1.5), words, anchor="middle", bold=True, size=6.0)
        if abs(angle) > 9.0:
            _way(drawing, angle)


def _way(drawing: Shapes, angle: float) -> None:
    """Draw the arrow from the body's mark to the rotor's."""
    sign = 1.0 if angle > 0.0 else -1.0
    radius, end = _SEAM - 5.0, sign * 5.5
    drawing.polyline(_arc((angle, end + sign * 3.0), radius), weight=2.2)
    drawing.polygon(
        [
            _around(end, radius),
            _around(end + sign * 4.2, radius + 3.6),
            _around(end + sign * 4.2, radius - 3.6),
        ]
    )


def _described(dial: TurnDial) -> str:
    said = [f"The marks meet at {plain(float(f'{dial.set_at:.3g}'))} {dial.unit}."]
    if dial.good is not None:
        low, high = (plain(float(f"{end:.3g}")) for end in dial.good)
        said.append(f"The range from {low} to {high} {dial.unit} is good.")
    if dial.now is not None:
        side = "" if dial.is_known else ", or as far to the other side"
        said.append(f"The body is at {plain(float(f'{dial.now:.3g}'))} {dial.unit} now{side}.")
    said.append("Angles are drawn larger than they are.")
    return " ".join(said)
