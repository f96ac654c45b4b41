"""The window: between which offsets every cell of the chart holds, exactly.

The network changes only where an edge of a dwell passes the lever's detent, so a cell can stop
holding at an edge and nowhere else. The network is solved between every two neighbouring edges
and at each of them; a cell holds over a run of these states.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf, isclose, isfinite, nan, radians

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import edge_sd_of
from benchproof.diagnose.priors import Priors
from benchproof.family.model import Family, Pair, cell_text
from benchproof.family.names import need_lever
from benchproof.family.problems import TooLarge
from benchproof.network.branches.base import States, branches_of
from benchproof.network.geometry import Geometry, geometry
from benchproof.network.resistance import Floats
from benchproof.network.states import conductances_s, ohms_between

MOST_WORK = 2e11
"""States times the cube of nodes times pins: about half a minute."""
MOST_CONDUCTANCES = 2e7
"""States times branches: about 160 MB."""
_SAME = 1e-9
"""Ends nearer than this are one end but for rounding."""


@dataclass(frozen=True, order=True)
class DwellEnd:
    """One end of one dwell, by number in its family; `end` is 0 for where it begins, else 1."""

    branch: int
    dwell: int
    end: int


@dataclass(frozen=True)
class CellWindow:
    """The offsets at which one cell holds.

    Attributes
    ----------
    pair : tuple of str
        The two pins.
    position : str
        The lever position.
    low, high : float
        Ends of the run of offsets, degrees or gaps; infinite where it never stops holding. A
        cell that holds at no offset has `low` above `high`.
    low_sd, high_sd : float
        Part-to-part spread of each end, standard deviation; zero where it is infinite.
    low_edges, high_edges : tuple of DwellEnd
        The edges that end it, each of them alone; several only if they lie at one angle.
    low_ohm, high_ohm : float
        What the pair reads just beyond each end, ohms; nan where it is infinite.
    at_zero : bool
        Whether it holds at offset 0; if not, this is the run that lies nearest.
    """

    pair: Pair
    position: str
    low: float
    high: float
    low_sd: float
    high_sd: float
    low_edges: tuple[DwellEnd, ...]
    high_edges: tuple[DwellEnd, ...]
    low_ohm: float
    high_ohm: float
    at_zero: bool

    @property
    def name(self) -> str:
        """As "G-H in N"."""
        return cell_text(self.pair, self.position)

    @property
    def never(self) -> bool:
        """Whether it holds at no offset."""
        return self.low > self.high


@dataclass(frozen=True)
class Window:
    """The offsets at which every cell holds.

    Attributes
    ----------
    family : Family
        The family, with a dwell for every contact.
    unit : str
        ``deg``, or ``gap`` for fractions of a detent gap.
    implied : bool
        Whether any edge is implied by the chart rather than given.
    low, high : float
        The ends; `low` above `high` if there is no such offset.
    low_cells, high_cells : tuple of CellWindow
        The cells that limit each side; empty where nothing does.
    cells : tuple of CellWindow
        Every cell of the chart, row by row in lever order.
    edge_sd : float
        Part-to-part spread of every edge, standard deviation.
    """

    family: Family
    unit: str
    implied: bool
    low: float
    high: float
    low_cells: tuple[CellWindow, ...]
    high_cells: tuple[CellWindow, ...]
    cells: tuple[CellWindow, ...]
    edge_sd: float

    @property
    def empty(self) -> bool:
        """Whether there is no offset at which every cell holds."""
        return self.low > self.high

    @property
    def centre(self) -> float | None:
        """The middle; None if it is empty or open to a side."""
        bounded = isfinite(self.low) and isfinite(self.high) and not self.empty
        return (self.low + self.high) / 2.0 if bounded else None

    def mm(self, angle: float) -> float | None:
        """Return an angle as an arc of the mark circle, millimetres; None if that is not known."""
        radius_mm = self.family.mark_radius_mm
        return None if radius_mm is None or self.unit != "deg" else arc_mm(angle, radius_mm)

    def lines(self, angle: float) -> float | None:
        """Return an angle in widths of a mark's line on its circle; None if not known."""
        mm = self.mm(angle)
        return None if mm is None else mm / self.family.mark_line_mm


def arc_mm(angle_deg: float, radius_mm: float) -> float:
    """Return the arc that an angle spans on a circle, millimetres.

    Examples
    --------
    >>> f"{arc_mm(1.0, 30.0):.3f}"
    '0.524'
    """
    return radians(angle_deg) * radius_mm


def shape_of(family: Family, priors: Priors) -> Geometry:
    """Return a family with a dwell for every contact, implied as the priors say where not given."""
    return geometry(family, priors.margins)


def window_of(shape: Geometry, priors: Priors) -> Window:
    """Return the window of a family.

    Parameters
    ----------
    shape : Geometry
        A family with dwells and a completed chart.
    priors : Priors
        How far edges spread from part to part.

    Raises
    ------
    TooLarge
        If the chart is too large to be solved in reasonable time.
    BadFile
        If the part has no lever.
    """
    need_lever(shape.family, "align")
    edge_sd = edge_sd_of(shape, priors)
    cells = cell_windows(shape.family, edge_sd)
    low = max((cell.low for cell in cells), default=-inf)
    high = min((cell.high for cell in cells), default=inf)
    return Window(
        shape.family,
        shape.unit,
        shape.implied,
        low,
        high,
        tuple(cell for cell in cells if isfinite(low) and isclose(cell.low, low, abs_tol=_SAME)),
        tuple(cell for cell in cells if isfinite(high) and isclose(cell.high, high, abs_tol=_SAME)),
        cells,
        edge_sd,
    )


def cell_windows(family: Family, edge_sd: float) -> tuple[CellWindow, ...]:
    """Return the offsets at which each cell of a family holds, row by row in lever order.

    Parameters
    ----------
    family : Family
        A family with detents, dwells and a completed chart.
    edge_sd : float
        Spread of every edge, standard deviation, in the family's unit of angle.

    Raises
    ------
    TooLarge
        If the chart is too large to be solved in reasonable time.
    """
    track = _track(family)
    runs_of = {
        (row, bounds): _runs((track.ohms[:, row] >= bounds[0]) & (track.ohms[:, row] <= bounds[1]))
        for row, charted in enumerate(family.chart)
        for bounds in dict.fromkeys(e.bounds(family.limits) for e in charted.expect)
    }
    ends = _Ends(family, track)
    ends.solve(runs_of)
    assert family.detents_deg is not None, "a geometry has detents"
    cells = []
    for row, charted in enumerate(family.chart):
        for position, detent, expectation in zip(
            family.positions, family.detents_deg, charted.expect, strict=True
        ):
            bounds = expectation.bounds(family.limits)
            runs = runs_of[row, bounds]
            if not runs:
                cells.append(_never(charted.pair, position))
                continue
            here = track.state_at(detent)
            first, last = min(runs, key=lambda run: track.distance(run, here, detent))
            low, high = track.low(first) - detent, track.high(last) - detent
            cells.append(
                CellWindow(
                    charted.pair,
                    position,
                    low,
                    high,
                    edge_sd if isfinite(low) else 0.0,
                    edge_sd if isfinite(high) else 0.0,
                    ends.edges(first, -1, row, bounds),
                    ends.edges(last, 1, row, bounds),
                    track.ohm(first - 1, row),
                    track.ohm(last + 1, row),
                    at_zero=first <= here <= last,
                )
            )
    return tuple(cells)


def _never(pair: Pair, position: str) -> CellWindow:
    """Return the window of a cell that holds at no offset."""
    return CellWindow(pair, position, inf, -inf, 0.0, 0.0, (), (), nan, nan, at_zero=False)


_Run = tuple[int, int]
"""First and last state of a run over which a cell holds."""
_Bounds = tuple[float, float]


@dataclass(frozen=True)
class _Track:
    """The states of the network from one end of the lever's travel to the other.

    State 2 i is the open interval below the edge angle i, state 2 i + 1 is at it; the last state
    lies above them all.
    """

    angles: Floats
    edges: tuple[tuple[DwellEnd, ...], ...]
    conductance_s: Floats
    ohms: Floats

    def low(self, state: int) -> float:
        """Return the angle at which a state begins."""
        return float(self.angles[(state - 1) // 2]) if state else -inf

    def high(self, state: int) -> float:
        """Return the angle at which a state ends."""
        return float(self.angles[state // 2]) if state < 2 * len(self.angles) else inf

    def ohm(self, state: int, row: int) -> float:
        """Return what a row reads in a state, ohms; nan beyond the last."""
        return float(self.ohms[state, row]) if 0 <= state < len(self.ohms) else nan

    def state_at(self, angle: float) -> int:
        """Return the state at an angle."""
        below = int(np.searchsorted(self.angles, angle))
        return 2 * below + int(below < len(self.angles) and self.angles[below] == angle)

    def distance(self, run: _Run, state: int, angle: float) -> float:
        """Return how far a run lies from an angle in a state; below zero for the run it is in."""
        if run[0] <= state <= run[1]:
            return -1.0
        return max(self.low(run[0]) - angle, angle - self.high(run[1]), 0.0)


def _track(family: Family) -> _Track:
    at: dict[float, list[DwellEnd]] = {}
    for number, branch in enumerate(branches_of(family)):
        for which, dwell in enumerate(branch.dwells):
            for end, angle in enumerate((dwell.from_deg, dwell.to_deg)):
                at.setdefault(angle, []).append(DwellEnd(number, which, end))
    angles = np.array(sorted(at))
    _check_size(family, 2 * len(angles) + 1)
    states = np.empty(2 * len(angles) + 1)
    states[1::2] = angles
    outer = np.concatenate((angles[:1] - 2.0, angles, angles[-1:] + 2.0))
    states[::2] = (outer[1:] + outer[:-1]) / 2.0 if len(angles) else 0.0
    pairs = [row.pair for row in family.chart]
    conductance_s = conductances_s(family, States(np.zeros(len(states), dtype=np.intp), states))
    return _Track(
        angles,
        tuple(tuple(at[angle]) for angle in angles.tolist()),
        conductance_s,
        ohms_between(family, pairs, conductance_s),
    )


def _check_size(family: Family, states: int) -> None:
    nodes = len(family.pins) + len(family.inner) + 1
    work = states * nodes**3 * len(family.pins)
    if work > MOST_WORK or states * len(family.branches) > MOST_CONDUCTANCES:
        raise TooLarge(
            f"the chart of {family.name} is too large for its window: {len(family.pins)} pins, "
            f"{len(family.inner)} inner nodes, {len(family.branches)} branches and {states} states"
        )


def _runs(holds: NDArray[np.bool_]) -> list[_Run]:
    """Return first and last number of every run of true."""
    steps = np.diff(np.concatenate(([False], holds, [False])).astype(np.int8))
    firsts, lasts = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1
    return list(zip(firsts.tolist(), lasts.tolist(), strict=True))


class _Ends:
    """Which edges end a run: of those at its end, each that alone would end it.

    Where several contacts change at one angle, the state beyond is made anew with one of them
    changed at a time. If none alone ends the run, as of two contacts in parallel, one stands for
    all.
    """

    def __init__(self, family: Family, track: _Track) -> None:
        self._family = family
        self._track = track
        self._changed: dict[tuple[int, int], list[int]] = {}
        self._alone: dict[tuple[int, int, int], Floats] = {}

    def solve(self, runs_of: "dict[tuple[int, _Bounds], list[_Run]]") -> None:
        """Solve the network with one contact changed, at every end where several change."""
        g, last = self._track.conductance_s, 2 * len(self._track.angles)
        wanted = {(run[0], -1) for runs in runs_of.values() for run in runs if run[0] > 0}
        wanted |= {(run[1], 1) for runs in runs_of.values() for run in runs if run[1] < last}
        made: list[Floats] = []
        keys: list[tuple[int, int, int]] = []
        for state, step in sorted(wanted):
            changed = np.flatnonzero(g[state] != g[state + step]).tolist()
            self._changed[state, step] = changed
            for branch in changed if len(changed) > 1 else ():
                alone = g[state].copy()
                alone[branch] = g[state + step, branch]
                made.append(alone)
                keys.append((state, step, branch))
        if made:
            _check_size(self._family, len(made))
            pairs = [row.pair for row in self._family.chart]
            ohms = ohms_between(self._family, pairs, np.array(made))
            self._alone = dict(zip(keys, ohms, strict=True))

    def edges(self, state: int, step: int, row: int, bounds: _Bounds) -> tuple[DwellEnd, ...]:
        """Return the edges that end a run in a state, on the side of a step."""
        changed = self._changed.get((state, step), [])
        if len(changed) > 1:
            alone = [
                branch
                for branch in changed
                if not bounds[0] <= self._alone[state, step, branch][row] <= bounds[1]
            ]
            changed = alone or changed[:1]
        # The state beyond is the edge angle itself, or this one is.
        at = (state if state % 2 else state + step) // 2
        return tuple(edge for edge in self._at(at) if edge.branch in changed)

    def _at(self, angle: int) -> Sequence[DwellEnd]:
        return self._track.edges[angle] if 0 <= angle < len(self._track.edges) else ()


def names(cells: Iterable[CellWindow], most: int = 4) -> str:
    """Return cells as a person would list them: "G-H in P, G-H in N and 2 more"."""
    told = [cell.name for cell in cells]
    left = len(told) - most
    return ", ".join(told[:most]) + (f" and {left} more" if left > 0 else "")
