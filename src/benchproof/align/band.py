"""The window of one part differs from that of the next: what the spread of edges makes of it.

Each edge lies where the family has it, give or take a normal deviation of its own. The lower end of
a part's window is the highest of its cells' lower ends, so its distribution function is the product
of theirs, one factor an edge; the upper end likewise. Each cell ends where its nearest edge lies:
that another edge may come to lie nearer is left out.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import inf, prod
from statistics import NormalDist

from benchproof.align.window import CellWindow, DwellEnd, Window

TAIL = 0.05
"""The band leaves out so many of the parts at either side."""
_CDF = NormalDist().cdf
_HALVINGS = 60


@dataclass(frozen=True)
class WindowBand:
    """Where the ends of the window lie from part to part.

    Attributes
    ----------
    low, high : tuple of float
        The 5 % and 95 % points of each end, degrees or gaps; infinite where nothing ends it.
    share : float
        Share of parts of which every cell holds if set to the window's centre; to offset 0 if it
        has none.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    share: float


def stops(cells: Iterable[CellWindow]) -> tuple[dict[DwellEnd, float], dict[DwellEnd, float]]:
    """Return the offset at which each edge ends the window: lower ends, and upper ends.

    An edge may end cells of several positions; the one that ends first counts.
    """
    lows: dict[DwellEnd, float] = {}
    highs: dict[DwellEnd, float] = {}
    for cell in cells:
        for edge in cell.low_edges:
            lows[edge] = max(lows.get(edge, -inf), cell.low)
        for edge in cell.high_edges:
            highs[edge] = min(highs.get(edge, inf), cell.high)
    return lows, highs


def band_of(window: Window) -> WindowBand:
    """Return where the ends of a family's window lie from part to part.

    Notes
    -----
    A deviation moves both cells that one edge ends, so the share counts each edge once: it holds
    where its deviation is below what its lower end bears and above what its upper end does.
    """
    lows, highs = stops(window.cells)
    sd = window.edge_sd

    def below(x: float) -> float:
        return prod(_CDF((x - low) / sd) for low in lows.values())

    def above(x: float) -> float:
        return 1.0 - prod(_CDF((high - x) / sd) for high in highs.values())

    centre = window.centre or 0.0
    return WindowBand(
        _band(below, lows.values(), sd, -inf),
        _band(above, highs.values(), sd, inf),
        share(window, centre),
    )


def share(window: Window, offset: float) -> float:
    """Return the share of parts of which every cell holds at an offset."""
    if any(cell.never for cell in window.cells):
        return 0.0
    lows, highs = stops(window.cells)
    sd = window.edge_sd
    return prod(
        max(
            _CDF((offset - lows.get(edge, -inf)) / sd) - _CDF((offset - highs.get(edge, inf)) / sd),
            0.0,
        )
        for edge in lows.keys() | highs.keys()
    )


def _band(
    rising: Callable[[float], float], ends: Iterable[float], sd: float, otherwise: float
) -> tuple[float, float]:
    """Return the 5 % and 95 % points of a distribution function of ends that spread by `sd`."""
    known = list(ends)
    if not known:
        return otherwise, otherwise
    # Ten standard deviations out nothing is left, of any number of edges.
    span = min(known) - 10.0 * sd, max(known) + 10.0 * sd
    return _where(rising, TAIL, span), _where(rising, 1.0 - TAIL, span)


def _where(rising: Callable[[float], float], level: float, span: tuple[float, float]) -> float:
    """Return where a rising function reaches a level, by halving."""
    low, high = span
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if rising(middle) < level:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
