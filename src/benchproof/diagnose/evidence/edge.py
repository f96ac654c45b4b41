"""Found edges: where a pair changes, told as one more term of the cell whose reading it decides.

A row of the tables says at which angles of a cell a pair changes, its *boundaries*; each lies off
by a deviation of its own. An edge found `at` an angle from the detent is boundary j of deviation d
if j = x + d + at, x the offset, normal with the edge's uncertainty. All edges that are of one
boundary share its deviation, and the boundary nearest to where the moving part stands has that by
which the cell is read: so what was found there and what was read bear each other out. Of every
other boundary the deviation is summed out by itself.

An edge is told from the detent nearest to where it was found, and edges of pairs that hang on one
contact from the same. A stray edge, which nothing explains, is anywhere.

Where a pair was *watched* a boundary that lies there and was not found was missed, which is rare,
but for the two ends of a stretch so narrow that the spread of edges may well close it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil, erf, exp, floor, hypot, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import Grid, edge_sd_of, window
from benchproof.diagnose.layout import runs_of
from benchproof.diagnose.tables import Tables
from benchproof.family.remembered import once_each
from benchproof.network.branches.base import branches_of
from benchproof.network.geometry import mean_gap
from benchproof.network.resistance import Floats, Ints

Bools = NDArray[np.bool_]
Cell = tuple[int, int]

NEAR_GAPS = 0.2
"""Edges of one contact that are found nearer each other than this are told from one detent."""
MISSED = 1e-4
"""How often an edge that was watched for is not found, for no reason thought of (invented)."""
SEEN_GAPS = 0.05
"""A stretch this wide or wider is seen, or one half as wide as it should be: a degree or so, as the
least that a sweep tells from bounce."""
STRAY_GAPS = 2.0
"""A stray edge lies anywhere within this many gaps (invented)."""


@dataclass(frozen=True, eq=False)
class ObservedEdge:
    """A found edge as the tables know it.

    Attributes
    ----------
    pair, position : int
        Numbers of the charted pair and of the position from whose detent it is told.
    at, u : float
        Where it was found, from the detent as it stood, and its own standard uncertainty; in the
        family's unit of angle.
    below, above : array, shape (bins,)
        How well what is read on either side agrees with each bin.
    series : int
        Edges of one series share an unknown zero.
    zero_u : float
        Its standard uncertainty.
    """

    pair: int
    position: int
    at: float
    u: float
    below: Floats
    above: Floats
    series: int = 0
    zero_u: float = 0.0

    @cached_property
    def key(self) -> tuple[int, int, float, float, int, float, bytes, bytes]:
        """What it is told from others by; the same edge told twice is one."""
        return (
            self.pair, self.position, self.at, self.u, self.series, self.zero_u,
            self.below.tobytes(), self.above.tobytes(),
        )  # fmt: skip


@dataclass(frozen=True, order=True)
class ObservedStretch:
    """A stretch in which a charted pair was watched, by their numbers; see `WatchedStretch`."""

    pair: int
    position: int
    low: float
    high: float


def each_once(edges: Iterable[ObservedEdge]) -> tuple[ObservedEdge, ...]:
    """Return the edges in an order of their own, each once."""
    by_key = {edge.key: edge for edge in edges}
    return tuple(by_key[key] for key in sorted(by_key))


def in_frames(
    tables: Tables, edges: Sequence[ObservedEdge]
) -> Mapping[Cell, tuple[ObservedEdge, ...]]:
    """Return the edges of each cell, told from its detent.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    edges : sequence of ObservedEdge
        As `each_once` returns them.
    """
    detents = np.asarray(tables.family.detents_deg, dtype=np.float64)
    near = NEAR_GAPS * mean_gap(tables.shape)
    kin = _kin(tables)
    theta = [float(detents[edge.position]) + edge.at for edge in edges]
    order = sorted(range(len(edges)), key=lambda n: (kin[edges[n].pair], theta[n], edges[n].key))
    groups: list[list[int]] = []
    for n in order:
        last = groups[-1][-1] if groups else None
        same = last is not None and kin[edges[last].pair] == kin[edges[n].pair]
        if last is not None and same and theta[n] - theta[last] < near:
            groups[-1].append(n)
        else:
            groups.append([n])
    found: dict[Cell, list[ObservedEdge]] = {}
    for group in groups:
        middle = sum(theta[n] for n in group) / len(group)
        q = int(np.abs(detents - middle).argmin())
        for n in group:
            edge = replace(edges[n], position=q, at=theta[n] - float(detents[q]))
            found.setdefault((edge.pair, q), []).append(edge)
    return {cell: each_once(found[cell]) for cell in sorted(found)}


def _kin(tables: Tables) -> list[int]:
    """Return a number for each charted pair, the same for pairs that share a site somewhere."""
    kin = list(range(tables.charted))
    for cells in tables.sites:
        numbers = {kin[k] for k, _ in cells}
        kin = [min(numbers) if one in numbers else one for one in kin]
    return kin


def conducts_by_edges(tables: Tables, edges: Iterable[ObservedEdge]) -> float:
    """Return how likely a pair conducts at rest where it must not, by what edges say by themselves.

    The greatest of any such cell. Of the edges nearest a detent, either way, the side on which the
    part then rests counts, by how well it is known where the edge and the zero of its scale lie.
    """
    detents = np.asarray(tables.family.detents_deg, dtype=np.float64)
    found: dict[Cell, list[tuple[float, ObservedEdge]]] = {}
    for edge in edges:
        theta = float(detents[edge.position]) + edge.at
        q = int(np.abs(detents - theta).argmin())
        if edge.pair < tables.charted and tables.hazard[edge.pair, q]:
            found.setdefault((edge.pair, q), []).append((theta - float(detents[q]), edge))
    most = 0.0
    for told in found.values():
        nearest = [
            min((off for off, _ in told if off >= 0.0), default=np.inf),
            max((off for off, _ in told if off < 0.0), default=-np.inf),
        ]
        for off, edge in told:
            u = hypot(edge.u, edge.zero_u)
            if off in nearest or abs(off) < 2.0 * u:
                below = 0.5 * (1.0 + erf(off / (u * sqrt(2.0))))
                conducts = below * _conducting(tables, edge.below)
                most = max(most, conducts + (1.0 - below) * _conducting(tables, edge.above))
    return most


def _conducting(tables: Tables, seen: Floats) -> float:
    return float(seen[tables.conducting[: len(seen)]].sum() / seen.sum())


@dataclass(frozen=True, eq=False)
class CellEdges:
    """What the edges found in one cell say, for the causes that touch it.

    Attributes
    ----------
    edges : tuple of ObservedEdge
        The edges, told from the cell's detent.
    watched : tuple of ObservedStretch
        Where the pair was watched beside it.
    rows : array of int
        The causes that touch the cell; the first is no fault.
    log : array, shape (rows, offsets)
        Log of their probability density.
    known : array, shape (rows, offsets, deviations)
        How much likelier each deviation is by which the cell is read than it was before.
    which : array of int, shape (rows,)
        The number of each row among those that are distinct.
    apart : tuple of tuples of FoundApart
        For each distinct row, by boundary: what its edges say of its deviation where that is not
        the one by which the cell is read.
    log_strange : float
        Log of their density if the cell changes wherever it likes.
    """

    edges: tuple[ObservedEdge, ...]
    watched: tuple[ObservedStretch, ...]
    rows: Ints
    log: Floats
    known: Floats
    which: Ints
    apart: tuple[tuple["FoundApart", ...], ...]
    log_strange: float


def edges_of_cell(
    tables: Tables,
    cell: Cell,
    edges: tuple[ObservedEdge, ...],
    watched: tuple[ObservedStretch, ...] = (),
) -> CellEdges:
    """Return what the edges found in a cell say.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    cell : tuple of int
        Pair and position.
    edges : tuple of ObservedEdge
        Told from the cell's detent; at least one, unless it was watched.
    watched : tuple of ObservedStretch
        Where the pair was watched beside that detent.
    """
    k, p = cell
    fitted = _fitted_rows(tables, cell, edges)
    densities, sight = _Densities(tables, edges), _Sight(tables, watched)
    told = [_of_row(tables, (densities, sight), row, plays=play) for row, play in fitted.distinct]
    return CellEdges(
        edges,
        watched,
        tables.affected[k][p],
        np.stack([one.log for one in told])[fitted.which],
        np.stack([one.known for one in told])[fitted.which],
        fitted.which,
        tuple(one.apart for one in told),
        sum(log_stray(tables, edge) for edge in edges),
    )


@dataclass(frozen=True, eq=False)
class _FittedRows:
    """The distinct rows of a cell as edges fit them, whether each is play; which each cause is."""

    distinct: tuple[tuple["_Fitted", bool], ...]
    which: Ints


MOST_FITTED = 500
"""So many cells with what was read on either side of their edges are remembered by a family."""


def _fitted_rows(tables: Tables, cell: Cell, edges: Sequence[ObservedEdge]) -> _FittedRows:
    """Return how edges fit the rows of a cell: by what was read on either side, not by where."""
    known = _fitted_before(tables)
    sides = cell, *(edge.below.tobytes() + edge.above.tobytes() for edge in edges)
    if sides not in known:
        if len(known) >= MOST_FITTED:
            known.clear()
        known[sides] = _fit(tables, cell, edges)
    return known[sides]


@once_each
def _fitted_before(tables: Tables) -> dict[tuple[object, ...], _FittedRows]:
    """Return what was worked out before, by cell and by what was read on either side."""
    assert tables is not None, "each tables have their own"
    return {}


def _fit(tables: Tables, cell: Cell, edges: Sequence[ObservedEdge]) -> _FittedRows:
    k, p = cell
    here = tables.cell(k, p)
    said = [_say(tables, edge) for edge in edges]
    ends = _Ends(tables, p)
    seen, boundaries = np.unique(here.category, axis=0, return_inverse=True)
    of_row = [_fitted(said, ends.of(category)) for category in seen]
    kind, plays = boundaries.reshape(-1).tolist(), (here.rows == tables.play_cause).tolist()
    keys = [(of_row[n].key, play) for n, play in zip(kind, plays, strict=True)]
    number = {key: n for n, key in enumerate(dict.fromkeys(keys))}
    by_key = {one.key: one for one in of_row}
    distinct = tuple((by_key[key], play) for key, play in number)
    return _FittedRows(distinct, np.array([number[key] for key in keys]))


@dataclass(frozen=True, eq=False)
class _Said:
    """How well what was read on either side of an edge agrees with each category."""

    below: Floats
    above: Floats


def _say(tables: Tables, edge: ObservedEdge) -> _Said:
    return _Said(*(_agreement(tables, seen) for seen in (edge.below, edge.above)))


def log_stray(tables: Tables, edge: ObservedEdge) -> float:
    """Return the log density of an edge that nothing explains."""
    sides = float(tables.usual @ edge.below) * float(tables.usual @ edge.above)
    return log(sides / (STRAY_GAPS * mean_gap(tables.shape)))


def _agreement(tables: Tables, seen: Floats) -> Floats:
    """Return how well what is read agrees with each category; no reading goes wrong here."""
    caught = tables.priors.chatter_open
    pure = np.concatenate([seen, (1.0 - caught) * seen + caught * seen[-1]])
    found: Floats = tables.parts @ pure
    return found


@dataclass(frozen=True, eq=False)
class _Boundaries:
    """Where a row changes, from the detent, and from which category to which."""

    at: Floats
    before: Ints
    after: Ints


@dataclass(frozen=True, eq=False)
class _Fitted:
    """Where a row changes, and how well each edge fits each change, shape (edges, boundaries)."""

    at: Floats
    fit: Floats

    @cached_property
    def key(self) -> tuple[bytes, bytes]:
        """What it is told from others by."""
        return self.at.tobytes(), self.fit.tobytes()


def _fitted(said: Sequence[_Said], boundaries: _Boundaries) -> _Fitted:
    fit = [one.below[boundaries.before] * one.above[boundaries.after] for one in said]
    return _Fitted(boundaries.at, np.array(fit).reshape(len(said), len(boundaries.at)))


class _Ends:
    """The angles at which contacts change, to lay boundaries where they are between two steps."""

    def __init__(self, tables: Tables, p: int) -> None:
        family, self._angles = tables.family, tables.grid.angles
        detents = np.asarray(family.detents_deg, dtype=np.float64)
        ends = [
            end
            for branch in branches_of(family)
            for dwell in branch.dwells
            for end in (dwell.from_deg, dwell.to_deg)
        ]
        # In its own detent; in another one, if the lever is off.
        self._own = np.unique(np.array(ends) - detents[p])
        others = [np.array(ends) - at for n, at in enumerate(detents.tolist()) if n != p]
        self._others = np.unique(np.concatenate(others)) if others else np.zeros(0)
        self._known: dict[int, float] = {}

    def of(self, category: Ints) -> _Boundaries:
        """Return the boundaries of a row, shape (angles,)."""
        _, start, _ = runs_of(category[None, :])
        after = start[1:]
        at = [self._before(n) for n in after.tolist()]
        return _Boundaries(np.array(at, dtype=np.float64), category[after - 1], category[after])

    def _before(self, n: int) -> float:
        """Return where the boundary lies that comes before an angle, by its number."""
        if n not in self._known:
            self._known[n] = self._between(float(self._angles[n - 1]), float(self._angles[n]))
        return self._known[n]

    def _between(self, low: float, high: float) -> float:
        middle = (low + high) / 2.0
        for ends in (self._own, self._others):
            inside = ends[(ends >= low) & (ends <= high)]
            if len(inside):
                return float(inside[np.abs(inside - middle).argmin()])
        return middle


@dataclass(frozen=True, eq=False)
class FoundApart:
    """What edges say of the deviation of a boundary, where it decides no reading.

    Attributes
    ----------
    at : float
        Where the boundary lies, from the detent.
    term : array, shape (offsets, deviations)
        How likely the deviation makes its edges.
    decides : array of bool, shape (offsets,)
        Where it decides the reading, so that this is told there.
    """

    at: float
    term: Floats
    decides: Bools


@dataclass(frozen=True, eq=False)
class _RowTold:
    """What edges say of one row; see `CellEdges`."""

    log: Floats
    known: Floats
    apart: tuple[FoundApart, ...]


Share = tuple[int, float, bytes]
"""An edge by its number, how well it fits a boundary, and at which offsets it is of it."""


class _Densities:
    """How likely each edge lies off a boundary as it does, by offset and deviation; each once."""

    def __init__(self, tables: Tables, edges: Sequence[ObservedEdge]) -> None:
        self.grid, self.edges = tables.grid, edges
        rate = tables.priors.stray_rate
        self.right, self.sd = 1.0 - rate, edge_sd_of(tables.shape, tables.priors)
        self.stray = [exp(log_stray(tables, edge)) * rate for edge in edges]
        self._play = tables.priors.play_gaps * mean_gap(tables.shape)
        self._known: dict[tuple[int, float, bool], Floats] = {}
        self._off: dict[tuple[int, float, bool], Floats] = {}
        self._terms: dict[object, tuple[Floats, Floats]] = {}

    def u(self, n: int, *, plays: bool) -> float:
        """Return the standard uncertainty of an edge."""
        return hypot(self.edges[n].u, self._play if plays else 0.0)

    def log_near(self, n: int, at: float, *, plays: bool) -> Floats:
        """Return how near an edge lies to a boundary, a log, shape (offsets,)."""
        key = n, at, plays
        if key not in self._off:
            off = at - self.edges[n].at - self.grid.offsets
            self._off[key] = -0.5 * (off / hypot(self.sd, self.u(n, plays=plays))) ** 2
        return self._off[key]

    def of(self, n: int, at: float, *, plays: bool) -> Floats:
        """Return the density for a boundary, shape (offsets, deviations)."""
        key = n, at, plays
        if key not in self._known:
            by_angle = _normal(self.grid, at - self.edges[n].at, self.u(n, plays=plays))
            self._known[key] = np.ascontiguousarray(window(self.grid, by_angle))
        return self._known[key]

    def term(
        self, at: float, shares: tuple[Share, ...], unseen: Floats | None, *, plays: bool
    ) -> tuple[Floats, Floats]:
        """Return what the edges of a boundary say of its deviation, many rows of which are alike.

        Parameters
        ----------
        at : float
            Where the boundary lies, from the detent.
        shares : tuple of Share
            Its edges.
        unseen : array, shape (offsets, deviations), or None
            How likely it is not found; None if nobody looked.
        plays : bool
            Whether every edge is moved by detent play.

        Returns
        -------
        tuple of arrays
            By offset and deviation; and the log of its mean over deviations, by offset.
        """
        key = at, shares, None if unseen is None else id(unseen), plays
        if key not in self._terms:
            term = np.ones((len(self.grid.offsets), len(self.grid.spread)))
            missed = np.ones(len(term), dtype=np.bool_)
            for n, fit, where in shares:
                mine = np.frombuffer(where, dtype=np.bool_)
                # A stray edge leaves the boundary to be missed.
                left = self.stray[n] if unseen is None else self.stray[n] * unseen
                told = left + (self.right * fit) * self.of(n, at, plays=plays)
                if not mine.all():
                    told[~mine] = 1.0
                term *= told
                missed &= ~mine
            if unseen is not None and missed.any():
                term *= np.where(missed[:, None], unseen, 1.0)
            self._terms[key] = term, np.log(term @ self.grid.spread)
        return self._terms[key]


class _Sight:
    """What was watched beside a detent, and what of a row's boundaries may be missed there."""

    def __init__(self, tables: Tables, watched: Sequence[ObservedStretch]) -> None:
        self._grid, self._watched = tables.grid, watched
        self._seen = SEEN_GAPS * mean_gap(tables.shape)
        self._sd = edge_sd_of(tables.shape, tables.priors)
        self._known: dict[tuple[float, float], Floats | None] = {}

    def each_missed(self, row: _Fitted) -> list[Floats | None]:
        """Return how likely each boundary of a row is not found; none if nothing was watched."""
        if not self._watched:
            return [None] * len(row.at)
        # Either end of a stretch may close it.
        apart = np.diff(row.at).tolist()
        left = [one - min(0.5 * one, self._seen) for one in apart]
        closes = [0.5 * (1.0 - erf(one / (2.0 * self._sd))) for one in left]
        either = map(max, [0.0, *closes], [*closes, 0.0])
        return [self.missed(*one) for one in zip(row.at.tolist(), either, strict=False)]

    def missed(self, at: float, closes: float) -> Floats | None:
        """Return how likely a boundary is not found, shape (offsets, deviations).

        Parameters
        ----------
        at : float
            Where it lies, from the detent.
        closes : float
            How likely the spread of edges makes a stretch that it bounds too narrow to be seen.

        Returns
        -------
        array or None
            None if it lies nowhere that was watched.
        """
        if (at, closes) not in self._known:
            self._known[at, closes] = self._missed(at, closes)
        return self._known[at, closes]

    def _missed(self, at: float, closes: float) -> Floats | None:
        place = at - self._grid.angles
        seen = np.zeros(len(place), dtype=np.bool_)
        for one in self._watched:
            seen |= (place > one.low) & (place < one.high)
        # Either end of a stretch counts for half.
        share = window(self._grid, np.where(seen, max(MISSED, sqrt(closes)), 1.0))
        return None if (share == 1.0).all() else np.ascontiguousarray(share)


def _of_row(
    tables: Tables, looked: tuple[_Densities, _Sight], row: _Fitted, *, plays: bool
) -> _RowTold:
    grid, offsets = tables.grid, tables.grid.offsets
    densities, sight = looked
    missed = sight.each_missed(row)
    shares: dict[int, list[Share]] = {}
    found = np.zeros(len(offsets))
    places = row.at.tolist()
    for n, stray in enumerate(densities.stray):
        able = [b for b, fit in enumerate(row.fit[n].tolist()) if fit > 0.0]
        if not able:
            found += log(stray)
            continue
        best = np.zeros(len(offsets), dtype=np.intp)
        if len(able) > 1:
            near = [densities.log_near(n, places[b], plays=plays) for b in able]
            best = (np.log(row.fit[n, able])[:, None] + np.array(near)).argmax(axis=0)
        for number, b in enumerate(able):
            mine = best == number
            if mine.any():
                shares.setdefault(b, []).append((n, float(row.fit[n, b]), mine.tobytes()))
    known = np.ones((len(offsets), len(grid.spread)))
    apart: list[FoundApart] = []
    nearest = np.abs(row.at[:, None] - offsets).argmin(axis=0) if places else None
    for b, (at, unseen) in enumerate(zip(places, missed, strict=True)):
        if b not in shares and unseen is None:
            continue
        term, log_mean = densities.term(at, tuple(shares.get(b, ())), unseen, plays=plays)
        decides = np.asarray(nearest == b)
        known[decides] = term[decides]
        found += np.where(decides, 0.0, log_mean)
        apart.append(FoundApart(at, term, decides))
    share = known @ grid.spread
    return _RowTold(found + np.log(share), known / share[:, None], tuple(apart))


FAR_U = 9.0
"""Further than this from where it was found, in standard uncertainties, no edge lies."""


def _normal(grid: Grid, at: float, u: float) -> Floats:
    """Return the density of a normal value about each angle, shape (angles,).

    A step of the grid stands for the angles about it, as linear interpolation weighs them: the
    density is averaged so, which loses nothing however much narrower than a step it is.
    """
    found = np.zeros(2 * grid.half + 1)
    first = max(-grid.half, floor((at - FAR_U * u) / grid.step) - 1)
    last = min(grid.half, ceil((at + FAR_U * u) / grid.step) + 1)
    if first > last:
        return found
    beyond = np.arange(first - 1, last + 2) * grid.step - at
    # The integral of the integral of the density.
    twice = np.array([
        t * 0.5 * (1.0 + erf(t / (u * sqrt(2.0)))) + u * exp(-0.5 * (t / u) ** 2) / sqrt(2.0 * pi)
        for t in beyond.tolist()
    ])  # fmt: skip
    found[first + grid.half : last + grid.half + 1] = np.diff(twice, n=2)
    found /= grid.step**2
    return np.maximum(found, 0.0, out=found)
