"""The travel strip and the dial of a family.

A pair may conduct by more than one contact, or through resistors, so the arcs over which it
conducts are solved from the network and not taken from the branches.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import isfinite

import numpy as np

from benchproof.align.window import CellWindow, Window
from benchproof.family.expectation import FamilyLimits
from benchproof.family.model import Family, pair_text
from benchproof.family.ohms import format_ohms
from benchproof.network.branches.base import States, branches_of
from benchproof.network.states import pair_ohms
from benchproof.report.dial import Dial
from benchproof.report.layout import Rest, Span, signed, span_text
from benchproof.report.strip import Bar, Row, Strip

_BEYOND_GAPS = 0.6
"""How far the strip reaches beyond the outer detents, in parts of the mean gap."""


def strip_of(window: Window, rest: Rest | None = None) -> Strip:
    """Return the travel strip of a family.

    Parameters
    ----------
    window : Window
        The family's window, with its detents and dwells.
    rest : Rest or None
        The part's offset, in the window's unit.
    """
    family = window.family
    detents = family.detents_deg
    assert detents is not None, "a window has detents"
    arcs = conducting_arcs(family)
    across = len(family.positions)
    rows = tuple(
        Row(
            pair_text(row.pair),
            row.role.shown,
            bars,
            holds=_holds(window.cells[number * across : (number + 1) * across]),
        )
        for number, (row, bars) in enumerate(zip(family.chart, arcs, strict=True))
    )
    assumed = "Edges are assumed from the chart: the family file does not give them all."
    return Strip(
        title=f"Travel strip of {family.name}",
        unit=window.unit,
        span=_span(detents, arcs),
        detents=tuple(zip(family.positions, detents, strict=True)),
        rows=rows,
        window=_bounded(window),
        rest=rest,
        note=_joined(family.note, assumed if window.implied else "", _unbounded(window)),
    )


def dial_of(window: Window, rest: Rest | None = None) -> Dial:
    """Return the dial of a family.

    Parameters
    ----------
    window : Window
        The family's window, in degrees.
    rest : Rest or None
        The part's offset, degrees.

    Raises
    ------
    ValueError
        If the family does not tell the radius of its marks or its detents.
    """
    family = window.family
    if family.mark_radius_mm is None or family.detents_deg is None or window.unit != "deg":
        raise ValueError(f"{family.name} tells no mark_radius_mm or no detents_deg")
    home = next(iter(family.neutral), "")
    at_home = family.detents_deg[family.positions.index(home)] if home else 0.0
    return Dial(
        title=f"Marks of {family.name}",
        radius_mm=family.mark_radius_mm,
        line_mm=family.mark_line_mm,
        home=home,
        detents=tuple(
            (name, angle - at_home)
            for name, angle in zip(family.positions, family.detents_deg, strict=True)
        ),
        rest=rest,
        window=_bounded(window),
        viewed_from=family.viewed_from,
        offset_grows=family.offset_grows,
        note=_joined(family.note, _unbounded(window)),
    )


def _bounded(window: Window) -> Span | None:
    """Return the window's ends; None if it is empty or open to a side."""
    return None if window.centre is None else (window.low, window.high)


def _unbounded(window: Window) -> str:
    """Return why no window is shaded; empty if it is."""
    if window.empty:
        return "No window is shaded: at no offset does every cell hold."
    return "" if window.centre is not None else "No window is shaded: it has no end to a side."


def _joined(*sentences: str) -> str:
    return " ".join(sentence for sentence in sentences if sentence)


def _holds(cells: Sequence[CellWindow]) -> str:
    """Return the offsets at which all cells of a row hold, in words."""
    low = max(cell.low for cell in cells)
    high = min(cell.high for cell in cells)
    if low > high:
        return "none"
    if not isfinite(low) and not isfinite(high):
        return "all"
    if not isfinite(low):
        return f"up to {signed(high, '').strip()}"
    return (
        span_text((low, high), "").strip() if isfinite(high) else f"from {signed(low, '').strip()}"
    )


def _span(detents: tuple[float, ...], arcs: list[tuple[Bar, ...]]) -> Span:
    """Return the travel to show: somewhat past the outer detents, and past edges not far beyond."""
    gap = (detents[-1] - detents[0]) / (len(detents) - 1) if len(detents) > 1 else 1.0
    near = detents[0] - 1.2 * gap, detents[-1] + 1.2 * gap
    ends = [end for bars in arcs for bar in bars for end in (bar.low, bar.high)]
    shown = [end for end in ends if near[0] <= end <= near[1]]
    low = min([*shown, detents[0] - _BEYOND_GAPS * gap])
    high = max([*shown, detents[-1] + _BEYOND_GAPS * gap])
    return low - 0.05 * gap, high + 0.05 * gap


def conducting_arcs(family: Family) -> list[tuple[Bar, ...]]:
    """Return where each pair of a family's chart conducts, row by row, over all angles.

    Parameters
    ----------
    family : Family
        A family whose contacts have dwells. Contact resistance counts as closed up to the
        family's limit; arcs that never end have infinite ends.
    """
    edges = sorted(
        {
            end
            for branch in branches_of(family)
            for dwell in branch.dwells
            for end in (dwell.from_deg, dwell.to_deg)
        }
    )
    cuts = [float("-inf"), *edges, float("inf")]
    inside = [
        edges[0] - 1.0 if edges else 0.0,
        *((a + b) / 2.0 for a, b in pairwise(edges)),
        *([edges[-1] + 1.0] if edges else []),
    ]
    states = States(np.zeros(len(inside), dtype=np.intp), np.array(inside))
    ohms = pair_ohms(family, [row.pair for row in family.chart], states)
    return [_bars([_told(float(ohm), family.limits) for ohm in column], cuts) for column in ohms.T]


def _told(ohm: float, limits: FamilyLimits) -> str | None:
    """Return what a pair conducts through, empty if it is closed; None if it is open."""
    if ohm <= limits.closed_at_most_ohm:
        return ""
    return None if ohm >= limits.open_at_least_ohm else format_ohms(ohm, digits=3)


def _bars(told: list[str | None], cuts: list[float]) -> tuple[Bar, ...]:
    """Return a bar for each run of arcs alike."""
    bars: list[Bar] = []
    for through, low, high in zip(told, cuts, cuts[1:], strict=False):
        if through is None:
            continue
        if bars and bars[-1].high == low and bars[-1].through == through:
            bars[-1] = Bar(bars[-1].low, high, through)
        else:
            bars.append(Bar(low, high, through))
    return tuple(bars)
