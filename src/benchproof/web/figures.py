"""The bar of a scale: where the window lies on it, where to set the body, and where it is now."""

from dataclasses import dataclass

from benchproof.report.layout import Scale, plain, ticks
from benchproof.report.svg import INK, PAPER, SHADE, Drawing

_WIDE_MM, _HIGH_MM, _EDGE_MM = 180.0, 48.0, 12.0
_TOP_MM, _BAR_MM = 17.0, 12.0


@dataclass(frozen=True)
class ScaleBar:
    """What is drawn.

    Attributes
    ----------
    unit : str
        Of the scale.
    window : (float, float)
        Its ends on the scale.
    set_at : float
        Where to set the body.
    likely : (float, float)
        Where the centre lies with 95 %.
    now : float or None
        Where the body is; None if that was not told.
    """

    unit: str
    window: tuple[float, float]
    set_at: float
    likely: tuple[float, float]
    now: float | None = None


def draw_scale(bar: ScaleBar) -> str:
    """Return the figure as SVG."""
    low, high = bar.window
    beyond = (high - low) / 2.0 or 1.0
    scale = Scale(low - beyond, high + beyond, _EDGE_MM, _WIDE_MM - _EDGE_MM)
    said = f"The window reaches from {plain(low)} to {plain(high)} {bar.unit}; set the body at "
    said += f"{plain(float(f'{bar.set_at:.3g}'))}."
    if bar.now is not None:
        said += f" It is at {plain(bar.now)} now."
    drawing = Drawing(_WIDE_MM, _HIGH_MM, "Where to set the body", said)
    below = _TOP_MM + _BAR_MM
    drawing.rect((_EDGE_MM, _TOP_MM), _WIDE_MM - 2 * _EDGE_MM, _BAR_MM, ink=INK, weight=0.5)
    wide = scale.held(high) - scale.held(low)
    drawing.rect((scale(low), _TOP_MM), wide, _BAR_MM, fill=SHADE, ink=INK, weight=0.9)
    left, right = scale.held(bar.likely[0]), scale.held(bar.likely[1])
    drawing.rect((left, _TOP_MM + 4.0), max(right - left, 0.6), 4.0, fill=INK)
    at = scale.held(bar.set_at)
    drawing.line((at, _TOP_MM - 1.0), (at, below + 1.0), weight=1.2)
    drawing.text((at, below + 6.0), "set here", anchor="middle", bold=True, size=4.2)
    for value in ticks(scale.low, scale.high, 8):
        x = scale(value)
        drawing.line((x, below), (x, below + 1.5), weight=0.4)
        drawing.text((x, below + 12.0), plain(value), anchor="middle", size=3.6)
    drawing.text((_WIDE_MM - 1.0, below + 17.0), bar.unit, anchor="end", size=3.6)
    if bar.now is not None:
        x = scale.held(bar.now)
        drawing.polygon(
            [(x, _TOP_MM - 0.5), (x - 4.0, _TOP_MM - 8.0), (x + 4.0, _TOP_MM - 8.0)],
            fill=PAPER,
            weight=0.9,
        )
        drawing.text((x, _TOP_MM - 10.0), "now", anchor="middle", bold=True, size=4.6)
    return drawing.svg()
