"""The connector as somebody sees it who holds it, the two pins of a reading ringed.

The asked pins are filled and ringed, the others hollow and quiet: black and white carry it, the one
colour repeats it. What is too small to be read inside a pin is written large above it as well.
"""

from collections.abc import Sequence
from math import cos, pi, sin

from benchproof.family.branches import CASE
from benchproof.family.model import Pin
from benchproof.report.connector import Seat, is_told, seats
from benchproof.report.layout import spread
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

HIGH_MM = 62.0
"""Of this picture and its neighbors."""
MOST_WIDE_MM = 150.0
MOST_PINS = 80
"""A connector of more pins than these nobody finds a pin on, on a screen."""
_WORDS_MM = 5.6
_CAPTION_MM = 9.5
_PITCH_MM = 24.0
_LEAST_READ_MM = 3.6
"""Letters smaller than this in a pin are not read at arm's length."""
_FLAG_MM = 9.0
_EDGE_MM = 2.0
FROM = ("Looking into the connector", "From the wire side")
"""What stands below the picture; first from the mating side, then mirrored."""


def draw_connector(
    pins: Sequence[Pin],
    asked: Sequence[str] = (),
    *,
    mirrored: bool = False,
    has_case: bool = False,
) -> str:
    """Return the connector as SVG with two of its pins ringed; empty if that cannot be drawn.

    Parameters
    ----------
    pins : sequence of Pin
        The connector's pins.
    asked : pair
        The pins to put the probes on; the housing may be one. Empty for the connector by itself.
    mirrored : bool
        Whether it is seen from the wire side.
    has_case : bool
        Whether the housing is a terminal of the chart; it is drawn in any picture then, so that
        nothing moves from one to the next.
    """
    found = seats(pins, mirrored=mirrored)
    known = {seat.name for seat in found} | {CASE}
    if not found or len(found) > MOST_PINS or not known.issuperset(asked):
        return ""
    plan = _Plan(found, has_case=has_case or CASE in asked, mirrored=mirrored)
    drawing = Drawing(
        plan.wide,
        HIGH_MM,
        f"Pins {' and '.join(asked)} of the connector" if asked else "The connector",
        _described(found, asked, is_told(pins), mirrored=mirrored),
    )
    drawing.group("shell")
    drawing.polygon(
        _rounded(*plan.shell, min(4.5, 0.3 * plan.pitch)), fill="#f1f1ee", ink=INK, weight=0.9
    )
    if plan.has_case:
        _lug(drawing, plan, ringed=CASE in asked)
    drawing.group("pins")
    for seat in found:
        if seat.name not in asked:
            at = plan.at(seat)
            drawing.circle(at, plan.radius, fill=PAPER, ink=QUIET, weight=0.5)
            _named(drawing, at, seat.name, plan, QUIET)
    drawing.group("ringed")
    ringed = [seat for seat in found if seat.name in asked]
    for seat in ringed:
        at = plan.at(seat)
        drawing.circle(at, plan.radius, fill=INK, ink=INK, weight=0.5)
        drawing.circle(at, plan.ring, ink=FOUND, weight=plan.ring_weight)
        _named(drawing, at, seat.name, plan, PAPER, bold=True)
    if plan.flagged:
        _flags(drawing, plan, ringed)
    drawing.group("caption")
    words = FROM[mirrored] if is_told(pins) else "In a row as listed: places not told"
    drawing.text(
        (plan.wide / 2.0, HIGH_MM - 1.8),
        words,
        anchor="middle",
        fill=QUIET,
        size=fitting(words, _WORDS_MM, plan.wide - 2.0),
    )
    return drawing.svg()


class _Plan:
    """Where everything stands: as large as the height allows, or the width."""

    def __init__(self, found: Sequence[Seat], *, has_case: bool, mirrored: bool) -> None:
        rows = max(seat.row for seat in found)
        columns = max(seat.column for seat in found)
        self.has_case, self._mirrored = has_case, mirrored
        lug = 30.0 if has_case else 0.0
        room = MOST_WIDE_MM - 2 * _EDGE_MM - lug
        high = HIGH_MM - _CAPTION_MM - 2 * _EDGE_MM
        longest = max((seat.name for seat in found), key=lambda name: text_width(name, 1.0))
        pitch = min(_PITCH_MM, high / rows, room / columns)
        self.flagged = fitting(longest, 0.42 * pitch, 0.6 * pitch) < _LEAST_READ_MM
        if self.flagged:
            pitch = min(pitch, (high - _FLAG_MM - 3.0) / rows)
        self.pitch = pitch
        # A name of one letter is centred in a wide shell; flags need room of their own.
        shell_wide = max(columns * pitch, 24.0)
        self.wide = max(shell_wide + lug, 60.0) + 2 * _EDGE_MM
        left = (self.wide - shell_wide - lug) / 2.0 + (lug if mirrored else 0.0)
        flag = _FLAG_MM + 3.0 if self.flagged else 0.0
        top = _EDGE_MM + flag + (high - flag - rows * pitch) / 2.0
        self.shell = (left, top, left + shell_wide, top + rows * pitch)
        self._first = (left + (shell_wide - columns * pitch) / 2.0, top)
        self.radius = 0.31 * pitch
        self.ring_weight = max(0.075 * pitch, 0.35)
        self.ring = 0.42 * pitch

    def at(self, seat: Seat) -> Point:
        """Return where a pin's middle is."""
        x, y = self._first
        return x + (seat.column - 0.5) * self.pitch, y + (seat.row - 0.5) * self.pitch

    @property
    def lug(self) -> Point:
        """The middle of the housing's lug."""
        left, top, right, bottom = self.shell
        x = left - 18.5 if self._mirrored else right + 18.5
        return x, (top + bottom) / 2.0


def _named(
    drawing: Shapes, at: Point, name: str, plan: _Plan, ink: str, *, bold: bool = False
) -> None:
    """Write a pin's name in it, as large as it allows; nothing if that could not be read at all."""
    size = fitting(name, 0.42 * plan.pitch, (1.6 if bold else 1.7) * plan.radius, bold=bold)
    if size >= 1.2:
        drawing.text(
            (at[0], at[1] + 0.36 * size), name, anchor="middle", size=size, fill=ink, bold=bold
        )


def _flags(drawing: Shapes, plan: _Plan, ringed: Sequence[Seat]) -> None:
    """Write the ringed pins' names large above the connector, a line to each."""
    ordered = sorted(ringed, key=lambda seat: (seat.column, seat.row))
    room = (plan.wide - 2 * _EDGE_MM) / max(len(ordered), 1)
    sizes = [fitting(seat.name, _FLAG_MM, room - 3.0, bold=True) for seat in ordered]
    half = max(text_width(s.name, z, bold=True) for s, z in zip(ordered, sizes, strict=True)) / 2.0
    wanted = [plan.at(seat)[0] for seat in ordered]
    places = spread(wanted, 2 * half + 3.0, _EDGE_MM + half, plan.wide - _EDGE_MM - half)
    y = _EDGE_MM + _FLAG_MM
    for seat, place, size in zip(ordered, places, sizes, strict=True):
        x, row = plan.at(seat)
        elbow = [(place, y), (place, y + 0.6), (x, plan.shell[1] - 0.4), (x, row - plan.ring)]
        drawing.polyline(elbow, ink=FOUND, weight=0.7)
        drawing.text((place, y - 1.0), seat.name, anchor="middle", size=size, bold=True)


def _lug(drawing: Shapes, plan: _Plan, *, ringed: bool) -> None:
    """Draw the housing's lug beside the shell: what ``case`` is measured on."""
    x, y = plan.lug
    left, _, right, _ = plan.shell
    near = left if x < left else right
    drawing.polygon(
        [(near, y - 4.0), (x, y - 7.0), (x, y + 7.0), (near, y + 4.0)], fill="#f1f1ee", weight=0.9
    )
    drawing.circle((x, y), 8.4, fill=INK if ringed else PAPER, weight=0.7)
    if ringed:
        drawing.circle((x, y), 10.4, ink=FOUND, weight=1.6)
    size = fitting(CASE, 6.0, 14.0, bold=True)
    drawing.text(
        (x, y + 0.3 * size),
        CASE,
        anchor="middle",
        size=size,
        fill=PAPER if ringed else QUIET,
        bold=ringed,
    )


def _rounded(left: float, top: float, right: float, bottom: float, radius: float) -> list[Point]:
    """Return a rectangle with round corners."""
    corners = (
        (right - radius, top + radius, -90.0),
        (right - radius, bottom - radius, 0.0),
        (left + radius, bottom - radius, 90.0),
        (left + radius, top + radius, 180.0),
    )
    return [
        (x + radius * cos(angle * pi / 180.0), y + radius * sin(angle * pi / 180.0))
        for x, y, start in corners
        for angle in (start, start + 30.0, start + 60.0, start + 90.0)
    ]


def _described(found: Sequence[Seat], asked: Sequence[str], told: bool, *, mirrored: bool) -> str:
    said = [f"{FROM[mirrored]}." if told else "In a row as listed: the family tells no places."]
    by_name = {seat.name: seat for seat in found}
    for name in asked or by_name:
        seat = by_name.get(name)
        if seat is None:
            said.append("The other probe goes on the bare housing.")
        elif told:
            said.append(f"{name} is in row {seat.row} from the top, {seat.column} from the left.")
        else:
            said.append(f"{name} is number {seat.column} of {len(found)}.")
    return " ".join(said)
