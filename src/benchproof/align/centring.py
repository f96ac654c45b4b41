"""Electrical centring: where on the scale to set the body, and how good that is.

Parts that agree with the approaches are drawn from the fit; each has a window of its own on the
scale, and the body is set to the mean of their centres. The edges that were found are known but for
noise; those of other cells deviate as any part's do.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt

import numpy as np

from benchproof.align.band import stops
from benchproof.align.edges import Approach, rises_with_offset
from benchproof.align.fit import (
    DEVIATIONS,
    LASH,
    SLOPE,
    ZERO,
    Fit,
    ScaledApproaches,
    draws_of,
    fit,
    found_of,
    normal_scores,
)
from benchproof.align.practice import SCALE_SD, TurningScale
from benchproof.align.window import CellWindow, DwellEnd, Spreads, Window
from benchproof.diagnose.evidence.offset import marks_sd
from benchproof.diagnose.priors import Priors
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats

DRAWS = 2048
"""Enough for an end of a 95 % interval to be good to a few hundredths of its width (measured)."""
NEAR_SD = 8.0
"""A cell that ends further than this beyond the nearest of its position never ends first."""
SURE = 0.95
"""From here on which way the scale runs counts as known."""


@dataclass(frozen=True)
class FoundCell:
    """The dwell of one cell as it was found, on the scale.

    Attributes
    ----------
    cell : CellWindow
        As the family has it.
    lower, upper, middle : float
        Its ends and its middle, in the scale's unit.
    lower_sd, upper_sd, middle_sd : float
        Their standard uncertainties.
    width : float
        Its width, in the family's unit of angle.
    off : float
        By how many standard deviations the width differs from the family's.
    """

    cell: CellWindow
    lower: float
    upper: float
    middle: float
    lower_sd: float
    upper_sd: float
    middle_sd: float
    width: float
    off: float


@dataclass(frozen=True)
class Margin:
    """How far one position is from failing once the body is set, degrees or gaps.

    Attributes
    ----------
    position : str
        The lever position.
    margin : float
        The mean distance to the nearer end of the position's window.
    at_least : float
        Which 95 % of such parts exceed.
    holds : float
        Probability that every cell of the position holds.
    """

    position: str
    margin: float
    at_least: float
    holds: float


@dataclass(frozen=True)
class Centring:
    """Where to set the body, and how good that is.

    Attributes
    ----------
    found : ScaledApproaches
        What it is made from.
    scale : TurningScale
        What the body's turning is read on.
    cells : tuple of FoundCell
        The dwells that were found.
    set_at, set_sd : float
        Where the window's centre lies on the scale, and its standard uncertainty.
    interval95 : tuple of float
        Where it lies with 95 %, on the scale.
    lash, lash_sd : float
        By how much the scale must lead, from falling to rising, and its standard uncertainty.
    per_unit, per_unit_sd : float
        Units of the scale to one of angle, and its standard uncertainty.
    rises : float
        Probability that the scale rises with the offset.
    margins : tuple of Margin
        One a position, once set.
    holds : float
        Probability that every cell of the chart holds once set.
    """

    found: ScaledApproaches
    scale: TurningScale
    cells: tuple[FoundCell, ...]
    set_at: float
    set_sd: float
    interval95: tuple[float, float]
    lash: float
    lash_sd: float
    per_unit: float
    per_unit_sd: float
    rises: float
    margins: tuple[Margin, ...]
    holds: float

    @property
    def angle_sd(self) -> float:
        """Standard uncertainty of the centre, in the family's unit of angle."""
        return self.set_sd / self.found.per_unit

    @property
    def coming_up(self) -> float:
        """What the scale reads at the centre if it was rising."""
        return self.set_at + self.lash / 2.0

    @property
    def coming_down(self) -> float:
        """What the scale reads at the centre if it was falling."""
        return self.set_at - self.lash / 2.0


@dataclass(frozen=True)
class ByMarks:
    """How good setting by the marks is.

    Attributes
    ----------
    rms : float
        Root mean square distance from the part's own best centre, degrees or gaps.
    holds : float
        Share of parts of which every cell then holds.
    """

    rms: float
    holds: float


@dataclass(frozen=True)
class _Ends:
    """The ends of every position's window in some parts, each of shape (draws, positions)."""

    lower: Floats
    upper: Floats

    @property
    def centre(self) -> Floats:
        """The centre of each part's window, shape (draws,)."""
        centre: Floats = (self.lower.max(axis=1) + self.upper.min(axis=1)) / 2.0
        return centre

    def margin(self, at: Floats) -> Floats:
        """Return each position's distance to its nearer end, shape (draws, positions)."""
        where = at[:, np.newaxis]
        margin: Floats = np.minimum(where - self.lower, self.upper - where)
        return margin


def centre(
    window: Window,
    shape: Geometry,
    approaches: Sequence[Approach],
    scale: TurningScale,
    spreads: Spreads | None = None,
) -> Centring:
    """Return where to set the body.

    Parameters
    ----------
    window : Window
        The family's window: not empty, and ending on both sides.
    shape : Geometry
        The family, with dwells.
    approaches : sequence of Approach
        The edges that were found, at least both of one cell.
    scale : TurningScale
        What they were read on.
    spreads : sequence of (float, float)
        By what the spread of edges may differ from the family's, and how likely that is, relative;
        None for what the window's priors say.

    Raises
    ------
    ValueError
        With one sentence, if a dwell is narrower than the scale's step.
    """
    found = found_of(window, shape, approaches, scale)
    rises, fits = _ways(found, window.spreads if spreads is None else spreads)
    parts = [_part_ends(found, fitted, scores) for fitted, scores in fits]
    ends = _Ends(*(np.concatenate(both) for both in zip(*(p[0] for p in parts), strict=True)))
    drawn = [p[1] for p in parts]
    slope = np.concatenate([np.abs(d[:, SLOPE]) for d in drawn])
    lash = np.concatenate([d[:, LASH] for d in drawn])
    centres = ends.centre
    set_at, set_sd = float(centres.mean()), float(centres.std())
    spare = np.concatenate([scores[:, -1] for _, scores in fits])
    # The body is set once, read with noise, the mean lash taken out.
    body = set_at + found.noise * spare + (lash.mean() - lash) / 2.0
    margin = ends.margin(body) / slope[:, np.newaxis]
    low, high = np.quantile(centres, (0.025, 0.975)).tolist()

    def on_scale(angle: float) -> float:
        return found.origin + found.per_unit * angle

    return Centring(
        found,
        scale,
        tuple(_found_cell(found, cell, fits, drawn) for cell in found.cells),
        on_scale(set_at),
        found.per_unit * set_sd,
        (on_scale(low), on_scale(high)),
        found.per_unit * float(lash.mean()),
        found.per_unit * float(lash.std()),
        found.per_unit * float(slope.mean()),
        found.per_unit * float(slope.std()),
        rises,
        tuple(
            Margin(
                position,
                float(margin[:, column].mean()),
                # Of infinite margins nothing lies between: the next lower one is taken.
                float(np.quantile(margin[:, column], 0.05, method="lower")),
                float((margin[:, column] >= 0.0).mean()),
            )
            for column, position in enumerate(window.family.positions)
        ),
        float((margin >= 0.0).all(axis=1).mean()),
    )


def by_marks(window: Window, shape: Geometry, priors: Priors) -> ByMarks:
    """Return how good setting by the marks is, of parts of a family."""
    edges = _edges_of(window)
    scores = normal_scores(DRAWS, len(edges) + 1)
    lows, highs = _near(window)
    deviations = {edge: window.edge_sd * scores[:, n] for n, edge in enumerate(edges)}
    ends = _ends_at(lows, highs, deviations, np.zeros(DRAWS), np.ones(DRAWS))
    offset = marks_sd(shape, priors) * scores[:, -1]
    wrong = offset - ends.centre
    holds = (ends.margin(offset) >= 0.0).all(axis=1)
    return ByMarks(sqrt(float((wrong**2).mean())), float(holds.mean()))


_Stops = list[dict[DwellEnd, float]]
"""By position, the offsets at which edges end its window."""


def _near(window: Window) -> tuple[_Stops, _Stops]:
    """Return what ends each position's window, left out what never ends it first."""
    reach = NEAR_SD * window.edge_sd
    lows: _Stops = []
    highs: _Stops = []
    for position in window.family.positions:
        low, high = stops(cell for cell in window.cells if cell.position == position)
        top, bottom = max(low.values(), default=0.0), min(high.values(), default=0.0)
        lows.append({edge: at for edge, at in low.items() if at > top - reach})
        highs.append({edge: at for edge, at in high.items() if at < bottom + reach})
    return lows, highs


def _edges_of(window: Window) -> list[DwellEnd]:
    lows, highs = _near(window)
    return sorted({edge for ends in (*lows, *highs) for edge in ends})


def _ends_at(
    lows: _Stops, highs: _Stops, deviations: dict[DwellEnd, Floats], zero: Floats, slope: Floats
) -> _Ends:
    """Return the ends of every position's window on the scale, in each draw."""

    def ends(stops: _Stops, outermost: float, *, highest: bool) -> Floats:
        columns = []
        for at in stops:
            values = [zero + slope * offset + deviations[edge] for edge, offset in at.items()]
            if not values:
                columns.append(np.full(len(zero), outermost))
            else:
                columns.append(np.max(values, axis=0) if highest else np.min(values, axis=0))
        return np.array(columns).T

    return _Ends(ends(lows, -np.inf, highest=True), ends(highs, np.inf, highest=False))


def _ways(found: ScaledApproaches, spreads: Spreads) -> tuple[float, list[tuple[Fit, Floats]]]:
    """Return how likely the scale rises with the offset, and the likely fits with their scores."""
    told = {rises_with_offset(a, found.window.family) for a in found.approaches} - {None}
    ways = (bool(told.pop()),) if told else (True, False)
    fits = [
        (fit(found, found.window.edge_sd * factor, rises=rises), share)
        for rises in ways
        for factor, share in spreads
    ]
    logs = np.array([one.log_evidence + log(share) for one, share in fits])
    odds = np.exp(logs - logs.max())
    odds /= odds.sum()
    rises = float(odds[[one.rises for one, _ in fits]].sum()) if len(ways) > 1 else float(ways[0])
    size = DEVIATIONS + len(_edges_of(found.window)) + len(fits[0][0].edges) + 1
    scores = normal_scores(DRAWS, size)
    ends = np.rint(np.cumsum(odds) * DRAWS).astype(int)
    parts = np.split(scores, ends[:-1])
    return rises, [(one, own) for (one, _), own in zip(fits, parts, strict=True) if len(own)]


def _part_ends(
    found: ScaledApproaches, fitted: Fit, scores: Floats
) -> tuple[tuple[Floats, Floats], Floats]:
    """Return parts that agree with the approaches: the ends of their windows, and the unknowns."""
    window = found.window
    drawn = draws_of(fitted, scores)
    deviations = {edge: drawn[:, DEVIATIONS + n] for n, edge in enumerate(fitted.edges)}
    others = [edge for edge in _edges_of(window) if edge not in deviations]
    for number, edge in enumerate(others, len(fitted.mean)):
        deviations[edge] = fitted.edge_sd * scores[:, number]
    lows, highs = _near(window)
    if not fitted.rises:
        # What ends the window at the greatest offset now lies lowest on the scale.
        lows, highs = highs, lows
    ends = _ends_at(lows, highs, deviations, drawn[:, ZERO], drawn[:, SLOPE])
    return (ends.lower, ends.upper), drawn


def _found_cell(
    found: ScaledApproaches,
    cell: CellWindow,
    fits: Sequence[tuple[Fit, Floats]],
    drawn: Sequence[Floats],
) -> FoundCell:
    lower, upper = [], []
    for (fitted, _), unknowns in zip(fits, drawn, strict=True):
        both = []
        for edge, offset in ((cell.low_edges[0], cell.low), (cell.high_edges[0], cell.high)):
            deviation = unknowns[:, DEVIATIONS + fitted.edges.index(edge)]
            both.append(unknowns[:, ZERO] + unknowns[:, SLOPE] * offset + deviation)
        if not fitted.rises:
            both.reverse()
        lower.append(both[0])
        upper.append(both[1])
    low, high = np.concatenate(lower), np.concatenate(upper)
    slope = float(np.concatenate([np.abs(d[:, SLOPE]) for d in drawn]).mean())
    middle = (low + high) / 2.0

    def on_scale(angle: Floats) -> float:
        return found.origin + found.per_unit * float(angle.mean())

    expected = cell.high - cell.low
    # The noise of the four approaches, at most, that a width is made of.
    spread = hypot(sqrt(2.0) * found.window.edge_sd, found.noise, SCALE_SD * expected)
    width = _plain_width(found, cell) / (1.0 if found.slope_sd is not None else slope)
    return FoundCell(
        cell,
        on_scale(low),
        on_scale(high),
        on_scale(middle),
        found.per_unit * float(low.std()),
        found.per_unit * float(high.std()),
        found.per_unit * float(middle.std()),
        width,
        (width - expected) / spread,
    )


def _plain_width(found: ScaledApproaches, cell: CellWindow) -> float:
    """Return a dwell's width by its approaches alone; lash shows if they came one way only."""
    own = [
        (a, float(at))
        for a, at in zip(found.approaches, found.at, strict=True)
        if (a.position, a.pair) == (cell.position, cell.pair)
    ]
    lower = [at for a, at in own if a.at_lower]
    upper = [at for a, at in own if not a.at_lower]
    return sum(upper) / len(upper) - sum(lower) / len(lower)
