"""Where things stand on a figure: scales, ticks, labels that keep clear, a legend."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from benchproof.report.svg import INK, QUIET, SMALL_MM, TEXT_MM, Shapes, text_width

LINE_MM = 4.2
"""From one line of text to the next."""
_ELBOW_MM = 4.0
_LABEL_ROOM_MM = 30.0


Span = tuple[float, float]
"""A lower and a higher value."""


@dataclass(frozen=True)
class Rest:
    """Where the part rests: its offset, and the intervals in which it lies."""

    best: float
    intervals: tuple[Span, ...] = ()


@dataclass(frozen=True)
class Scale:
    """A straight scale: `low` is drawn at `at_low`, `high` at `at_high`."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, value: float) -> float:
        """Return where a value is drawn, millimetres."""
        part = (value - self.low) / (self.high - self.low)
        return self.at_low + part * (self.at_high - self.at_low)

    def held(self, value: float) -> float:
        """Return where a value is drawn, or the end of the scale that it lies beyond."""
        return self(min(max(value, self.low), self.high))


def plain(value: float) -> str:
    """Return a number as a figure shows it, with a true minus.

    Examples
    --------
    >>> plain(-3.25)
    '−3.25'
    """
    return f"{value + 0.0:.6g}".replace("-", "−")


def signed(value: float, unit: str) -> str:
    """Return a number with its sign and unit.

    Examples
    --------
    >>> signed(2.5, "deg"), signed(0.0, "deg")
    ('+2.5 deg', '0 deg')
    """
    return f"{'+' if value > 0 else ''}{plain(float(f'{value:.3g}'))} {unit}"


def span_text(span: Span, unit: str) -> str:
    """Return two signed numbers with their unit."""
    return f"{signed(span[0], unit).removesuffix(f' {unit}')} to {signed(span[1], unit)}"


def round_step(about: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at least `about`.

    Examples
    --------
    >>> round_step(7.0), round_step(0.3), round_step(10.0)
    (10.0, 0.5, 10.0)
    """
    power = 10.0 ** floor(log10(about))
    return next(power * n for n in (1.0, 2.0, 5.0, 10.0) if power * n >= about * (1.0 - 1e-9))


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return at most about `most` round values between two."""
    step = round_step((high - low) / most)
    return [n * step for n in range(ceil(low / step), floor(high / step) + 1)]


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places in the order wanted, each a gap from the next, as near as can be.

    Parameters
    ----------
    wanted : sequence of float
        Where each would stand, rising.
    gap : float
        How far apart they must be.
    low, high : float
        Between which they stand; wide enough for all.

    Examples
    --------
    >>> spread([0.0, 1.0, 9.0], 2.0, 0.0, 10.0)
    [0.0, 2.0, 9.0]
    """
    # Without the gaps it is a fit by a rising function: pool neighbours that fall.
    pools: list[tuple[float, int]] = []
    for number, place in enumerate(wanted):
        mean, count = place - number * gap, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        pools.append((mean, count))
    most = high - (len(wanted) - 1) * gap
    level = [min(max(mean, low), most) for mean, count in pools for _ in range(count)]
    return [place + number * gap for number, place in enumerate(level)]


@dataclass(frozen=True)
class Flags:
    """Labels above vertical lines: level where there is room, else upright and fanned out.

    Attributes
    ----------
    words : tuple of (str, str)
        A name and a detail, one a line.
    at : tuple of float
        Where the lines stand, rising, millimetres.
    low, high : float
        Between which the labels stand, millimetres.
    """

    words: tuple[tuple[str, str], ...]
    at: tuple[float, ...]
    low: float
    high: float

    @property
    def level(self) -> bool:
        """Whether all labels stand level over their lines without touching."""
        halves = [0.5 * _level_width(name, detail) + 0.6 for name, detail in self.words]
        ends = [self.low, *(x + half for x, half in zip(self.at, halves, strict=True))]
        starts = [*(x - half for x, half in zip(self.at, halves, strict=True)), self.high]
        return all(end <= start for end, start in zip(ends, starts, strict=True))

    @property
    def height(self) -> float:
        """How much room the labels take above their lines, millimetres."""
        if self.level:
            return 2.0 * LINE_MM
        longest = max(text_width(_upright(*words), TEXT_MM) for words in self.words)
        return min(longest, _LABEL_ROOM_MM) + _ELBOW_MM + 1.0

    def draw(self, drawing: Shapes, y: float) -> None:
        """Draw them on a drawing; the lines begin at `y`."""
        if self.level:
            for (name, detail), x in zip(self.words, self.at, strict=True):
                above = y - 4.6 if detail else y - 1.2
                drawing.text((x, above), name, anchor="middle", bold=True)
                drawing.text((x, y - 1.2), detail, size=SMALL_MM, anchor="middle")
            return
        places = spread(self.at, LINE_MM, self.low + LINE_MM / 2, self.high - LINE_MM / 2)
        for words, x, place in zip(self.words, self.at, places, strict=True):
            top = y - _ELBOW_MM
            drawing.polyline([(x, y), (x, y - 1.0), (place, top + 1.0), (place, top)], ink=QUIET)
            # The baseline lies right of the letters' middle when the text runs upward.
            at = (place + TEXT_MM * 0.36, top - 0.6)
            drawing.text(at, _upright(*words), turned=True, room=_LABEL_ROOM_MM)


def _level_width(name: str, detail: str) -> float:
    return max(text_width(name, TEXT_MM, bold=True), text_width(detail, SMALL_MM))


def _upright(name: str, detail: str) -> str:
    # The detail stands first, where shortening leaves it.
    return f"{detail}  {name}" if detail else name


Sample = Callable[[Shapes, float, float], None]
"""Draws a sample 7 mm wide, its left end and middle height given."""


def legend_height(entries: Sequence[tuple[Sample, str]], width: float) -> float:
    """Return how high a legend of a width is, millimetres."""
    return LINE_MM * 1.15 * (1 + max((row for row, _ in _places(entries, width)), default=-1))


def draw_legend(
    drawing: Shapes,
    entries: Sequence[tuple[Sample, str]],
    corner: tuple[float, float],
    width: float,
) -> None:
    """Draw samples with their meanings, in as many lines as they need."""
    for (sample, words), (row, x) in zip(entries, _places(entries, width), strict=True):
        middle = corner[1] + LINE_MM * 1.15 * (row + 0.5)
        sample(drawing, corner[0] + x, middle)
        drawing.text((corner[0] + x + 9.0, middle + 1.0), words, size=SMALL_MM, fill=INK)


def _places(entries: Sequence[tuple[Sample, str]], width: float) -> list[tuple[int, float]]:
    places = []
    row, x = 0, 0.0
    for _, words in entries:
        needed = 9.0 + text_width(words, SMALL_MM) + 4.0
        if x and x + needed > width:
            row, x = row + 1, 0.0
        places.append((row, x))
        x += needed
    return places
