"""The window: exact ends against brute force, what ends a cell, and the band from part to part."""

from dataclasses import replace
from math import inf, isfinite

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from benchproof.align.band import band_of, share
from benchproof.align.window import (
    CellWindow,
    DwellEnd,
    Window,
    arc_mm,
    cell_windows,
    shape_of,
    window_of,
)
from benchproof.family.expectation import CLOSED, OPEN, Expectation, Kind
from benchproof.family.model import ChartRow, Family, Pair, Pin
from benchproof.family.problems import TooLarge
from benchproof.network.branches.base import Branch, Dwell, States
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats
from benchproof.network.states import pair_ohms
from benchproof.shipped.read import lever_families, shipped_family, shipped_priors

STEP = 0.1
"""Of the brute force's grid; random edges keep further apart."""


def family_of(
    branches: tuple[Branch, ...],
    pairs: tuple[Pair, ...] = (("A", "B"),),
    detents: tuple[float, ...] = (0.0, 20.0, 40.0),
) -> Family:
    """Return an invented family whose chart is what its branches make at the detents."""
    family = Family(
        name="invented",
        positions=tuple("PRNDL"[: len(detents)]),
        pins=tuple(Pin(name) for name in "ABCD"),
        chart=tuple(ChartRow(pair, ()) for pair in pairs),
        detents_deg=detents,
        inner=("x",),
        branches=branches,
    )
    return completed(family)


def contact(a: str, b: str, *dwells: tuple[float, float]) -> Contact:
    return Contact((a, b), tuple(Dwell(*dwell) for dwell in dwells))


def at(cells: tuple[CellWindow, ...], position: str, pair: Pair = ("A", "B")) -> CellWindow:
    return next(c for c in cells if c.position == position and c.pair == pair)


def whole(family: Family) -> Window:
    return window_of(Geometry(family, "deg", implied=False), shipped_priors(family.name))


# Against brute force --------------------------------------------------------------------------


def random_family(rng: np.random.Generator) -> Family:
    """Return a family with random contacts, dwells and resistors, some cells charted at random."""
    detents = np.cumsum(rng.uniform(10.0, 25.0, rng.integers(2, 5)))
    nodes = ["A", "B", "C", "D", "x"]
    # Edges at least 0.25 apart, so that no run of states is narrower than the grid.
    slots = rng.choice(np.arange(-40, 500), 24, replace=False) * 0.25
    edges = iter((slots + rng.uniform(0.0, 0.1, len(slots)) * 0.9).tolist())
    branches: list[Branch] = []
    for _ in range(rng.integers(3, 7)):
        a, b = rng.choice(nodes, 2, replace=False).tolist()
        if rng.random() < 0.3:
            branches.append(Resistor((a, b), float(rng.uniform(10.0, 1000.0))))
            continue
        dwells = [sorted((next(edges), next(edges))) for _ in range(rng.integers(1, 3))]
        leak = float(rng.choice([inf, 5e6]))
        branches.append(Contact((a, b), tuple(Dwell(*dwell) for dwell in dwells), (), 0.05, leak))
    pairs = (("A", "B"), ("B", "C"), ("A", "D"))
    family = family_of(tuple(branches), pairs, tuple(detents.tolist()))
    charted: tuple[Expectation, ...] = (CLOSED, OPEN, Expectation(Kind.OHMS, 300.0))

    def misprinted(expect: tuple[Expectation, ...]) -> tuple[Expectation, ...]:
        return tuple(charted[rng.integers(3)] if rng.random() < 0.15 else e for e in expect)

    return replace(
        family, chart=tuple(replace(row, expect=misprinted(row.expect)) for row in family.chart)
    )


def brute_force(family: Family) -> list[tuple[float, float]]:
    """Return each cell's run of offsets by a fine grid, its ends halved down to nothing."""
    assert family.detents_deg is not None
    grid = np.arange(-120.0, 130.0, STEP) + 0.01234
    pairs = [row.pair for row in family.chart]

    def ohms(angles: Floats) -> Floats:
        return pair_ohms(family, pairs, States(np.zeros(len(angles), dtype=np.intp), angles))

    by_position = [ohms(detent + grid) for detent in family.detents_deg]
    found: list[list[float]] = []
    # Of each end inside the grid: cell, which end, row, detent, bounds, outside, inside.
    ends: list[tuple[int, int, int, float, float, float, float, float]] = []
    for column, row in enumerate(family.chart):
        for number, detent in enumerate(family.detents_deg):
            low, high = row.expect[number].bounds(family.limits)
            here = by_position[number][:, column]
            run = nearest_run(grid, (here >= low) & (here <= high))
            found.append([inf, -inf] if run is None else [-inf, inf])
            if run is None:
                continue
            for which, (inside, outside) in enumerate(((run[0], run[0] - 1), (run[1], run[1] + 1))):
                if 0 <= outside < len(grid):
                    args = (column, detent, low, high, grid[outside], grid[inside])
                    ends.append((len(found) - 1, which, *args))
    if not ends:
        return [(low, high) for low, high in found]
    cells, whichs, columns, detents, lows, highs, outer, inner = (
        np.array(values) for values in zip(*ends, strict=True)
    )
    for _ in range(27):
        middle = (outer + inner) / 2.0
        read = ohms(detents + middle)[np.arange(len(middle)), columns]
        holds = (read >= lows) & (read <= highs)
        outer, inner = np.where(holds, outer, middle), np.where(holds, middle, inner)
    for cell, which, end in zip(cells.tolist(), whichs.tolist(), inner.tolist(), strict=True):
        found[cell][which] = end
    return [(low, high) for low, high in found]


def nearest_run(
    grid: Floats, holds: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]"
) -> tuple[int, int] | None:
    """Return first and last number of the run of true that holds zero or lies nearest to it."""
    runs = []
    start = None
    for number, here in enumerate([*holds.tolist(), False]):
        if here and start is None:
            start = number
        elif not here and start is not None:
            runs.append((start, number - 1))
            start = None
    return min(runs, key=lambda r: max(grid[r[0]], -grid[r[1]], 0.0), default=None)


def agree(seed: int) -> tuple[int, int]:
    family = random_family(np.random.default_rng([20, seed]))
    exact = cell_windows(family, 0.6)
    for cell, (low, high) in zip(exact, brute_force(family), strict=True):
        assert cell.low == pytest.approx(low, abs=1e-6), (seed, cell)
        assert cell.high == pytest.approx(high, abs=1e-6), (seed, cell)
    return sum(not c.at_zero and not c.never for c in exact), sum(c.never for c in exact)


@pytest.mark.parametrize("hundred", range(10))
def test_a_thousand_random_families_agree_with_brute_force(hundred: int) -> None:
    """Each end of each cell to 1e-6 deg; misprinted charts, which do not hold at zero, included."""
    odd = [agree(100 * hundred + n) for n in range(100)]
    assert sum(off for off, _ in odd) > 10
    assert sum(never for _, never in odd) > 10


# Laws -----------------------------------------------------------------------------------------

reach = st.floats(0.1, 9.0)


def one_contact(low: float, high: float) -> tuple[CellWindow, ...]:
    """Return the cells of a contact closed in the middle position, from -low to +high about it."""
    return cell_windows(family_of((contact("A", "B", (20.0 - low, 20.0 + high)),)), 0.6)


@given(reach, reach, st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_a_wider_dwell_never_narrows_its_cell_nor_widens_those_that_must_be_open(
    low: float, high: float, more_low: float, more_high: float
) -> None:
    narrow, wide = one_contact(low, high), one_contact(low + more_low, high + more_high)
    closed, closed_wide = at(narrow, "R"), at(wide, "R")
    assert closed_wide.low <= closed.low
    assert closed_wide.high >= closed.high
    for position in "PN":
        opened, opened_wide = at(narrow, position), at(wide, position)
        assert opened_wide.low >= opened.low
        assert opened_wide.high <= opened.high


@given(reach, reach, st.floats(-3.0, 3.0))
def test_edges_all_moved_move_the_window_with_them(low: float, high: float, by: float) -> None:
    family = family_of((contact("A", "B", (20.0 - low, 20.0 + high)),))
    moved = replace(family, branches=(contact("A", "B", (20.0 - low + by, 20.0 + high + by)),))
    before, after = at(cell_windows(family, 0.6), "R"), at(cell_windows(moved, 0.6), "R")
    assert after.low == pytest.approx(before.low + by)
    assert after.high == pytest.approx(before.high + by)
    # At zero it holds as long as the dwell still covers the detent.
    assert after.at_zero == (-low + by <= 0.0 <= high + by)


@given(reach, reach, st.floats(0.1, 10.0))
def test_angles_all_scaled_scale_the_window(low: float, high: float, by: float) -> None:
    family = family_of((contact("A", "B", (20.0 - low, 20.0 + high)),))
    scaled = replace(
        family,
        detents_deg=(0.0, 20.0 * by, 40.0 * by),
        branches=(contact("A", "B", ((20.0 - low) * by, (20.0 + high) * by)),),
    )
    window, larger = whole(family), whole(scaled)
    assert larger.low == pytest.approx(by * window.low)
    assert larger.high == pytest.approx(by * window.high)


# What ends a cell -----------------------------------------------------------------------------


def test_only_the_pair_s_own_contact_ends_it_where_others_change_at_the_same_angle() -> None:
    branches = (contact("A", "B", (15.0, 25.0)), contact("C", "D", (15.0, 25.0)))
    cell = at(cell_windows(family_of(branches), 0.6), "R")
    assert (cell.low_edges, cell.high_edges) == ((DwellEnd(0, 0, 0),), (DwellEnd(0, 0, 1),))


def test_either_of_two_contacts_in_series_ends_it() -> None:
    branches = (contact("A", "x", (15.0, 25.0)), contact("x", "B", (15.0, 27.0)))
    cell = at(cell_windows(family_of(branches), 0.6), "R")
    assert (cell.low, cell.high) == (-5.0, 5.0)
    assert cell.low_edges == (DwellEnd(0, 0, 0), DwellEnd(1, 0, 0))
    assert cell.high_edges == (DwellEnd(0, 0, 1),)


def test_of_two_contacts_in_parallel_the_last_to_open_ends_it() -> None:
    branches = (contact("A", "B", (15.0, 25.0)), contact("A", "B", (15.0, 27.0)))
    cell = at(cell_windows(family_of(branches), 0.6), "R")
    assert (cell.low, cell.high) == (-5.0, 7.0)
    assert cell.low_edges == (DwellEnd(0, 0, 0),)
    assert cell.high_edges == (DwellEnd(1, 0, 1),)


def test_what_reads_beyond_each_end_is_told() -> None:
    branches = (contact("A", "B", (15.0, 25.0)), contact("A", "x", (10.0, 30.0)),
                Resistor(("x", "B"), 270.0))  # fmt: skip
    cell = at(cell_windows(family_of(branches), 0.6), "R")
    assert cell.low_ohm == pytest.approx(270.05)
    first = at(cell_windows(family_of((contact("A", "B", (15.0, 25.0)),)), 0.6), "P")
    assert first.low == -inf
    assert np.isnan(first.low_ohm)
    assert first.high_ohm == pytest.approx(0.05)


def test_two_taps_that_touch_at_one_angle_part_the_run_there() -> None:
    """Both taps conduct at the very edge, for dwells hold their ends: neither value is read."""
    branches = (
        contact("A", "x", (-10.0, 30.0)),
        contact("A", "C", (30.0, 50.0)),
        Resistor(("x", "B"), 100.0),
        Resistor(("C", "B"), 100.0),
    )
    family = family_of(branches)
    cell = at(cell_windows(family, 0.6), "R")
    assert cell.high == pytest.approx(10.0)
    assert cell.high_edges == (DwellEnd(1, 0, 0),)


def test_a_cell_charted_wrongly_is_told_and_no_window_is_made_up() -> None:
    family = family_of((contact("A", "B", (15.0, 25.0)),))
    off = replace(family, chart=(replace(family.chart[0], expect=(CLOSED, CLOSED, OPEN)),))
    window = whole(off)
    cell = at(window.cells, "P")
    assert (cell.low, cell.high, cell.at_zero) == (15.0, 25.0, False)
    assert window.empty
    assert window.centre is None
    assert share(window, 0.0) == pytest.approx(0.0, abs=1e-12)
    row = replace(family.chart[0], expect=(Expectation(Kind.OHMS, 50.0), CLOSED, OPEN))
    never = whole(replace(family, chart=(row,)))
    assert at(never.cells, "P").never
    assert never.empty
    assert share(never, 0.0) == 0.0


def test_a_chart_that_nothing_ends_has_an_endless_window() -> None:
    window = whole(family_of((Resistor(("A", "B"), 100.0),)))
    assert (window.low, window.high, window.centre) == (-inf, inf, None)
    assert band_of(window).share == 1.0


# Shipped families, units ----------------------------------------------------------------------


def test_the_narrow_contacts_limit_every_shipped_family() -> None:
    """Start and reverse contacts go first under an offset (common practice, no source)."""
    for name in lever_families():
        family, priors = shipped_family(name), shipped_priors(name)
        window = window_of(shape_of(family, priors), priors)
        assert all(cell.at_zero for cell in window.cells)
        roles = {row.pair: row.role.value for row in family.chart}
        limiting = {roles[cell.pair] for cell in (*window.low_cells, *window.high_cells)}
        assert limiting == {"start permit", "reverse lamp"}, name


def test_an_arc_is_radius_times_angle() -> None:
    """Radius times degrees times 0.01745 (common practice, no source)."""
    assert arc_mm(1.0, 30.0) == pytest.approx(0.524, abs=5e-4)
    assert arc_mm(1.0, 30.0) == pytest.approx(30.0 * 0.01745, rel=2e-4)
    priors = shipped_priors("valley-coded-7")
    window = window_of(shape_of(shipped_family("valley-coded-7"), priors), priors)
    # A window of half a degree either way is about as wide as a scribed line (common practice,
    # no source).
    assert window.lines(1.0) == pytest.approx(1.0, abs=0.05)


def test_a_bare_chart_s_angles_are_in_gaps_with_no_millimetres() -> None:
    chart = completed(read_family(b"pins,P,R,N\nA-B,closed,open,closed\n", "c.csv"))
    priors = shipped_priors("c")
    window = window_of(shape_of(chart, priors), priors)
    assert (window.unit, window.implied) == ("gap", True)
    assert window.low == pytest.approx(-priors.single_margin_gaps)
    assert window.edge_sd == pytest.approx(priors.edge_sd_gaps)
    assert window.mm(0.1) is None
    assert window.lines(0.1) is None
    band = band_of(window)
    # An honest band is wide against the window itself.
    assert band.low[1] - band.low[0] > 0.5 * abs(window.low)


def test_a_chart_far_too_large_is_refused() -> None:
    pins = tuple(Pin(f"p{n}") for n in range(200))
    pairs = [(f"p{a}", f"p{b}") for a in range(40) for b in range(40, 90)]
    rows = tuple(ChartRow(pair, (CLOSED, OPEN, CLOSED)) for pair in pairs)
    family = Family(name="huge", positions=("P", "R", "N"), pins=pins, chart=rows)
    priors = shipped_priors("huge")
    with pytest.raises(TooLarge, match="huge is too large"):
        window_of(shape_of(family, priors), priors)


# From part to part ----------------------------------------------------------------------------


def test_the_band_of_independent_edges_is_that_of_the_highest_of_them() -> None:
    """Of n alike normal ends the highest lies below x with the n-th power of each one's odds."""
    branches = tuple(contact(a, b, (15.0, 25.0)) for a, b in (("A", "B"), ("C", "D"), ("A", "C")))
    pairs = (("A", "B"), ("C", "D"), ("A", "C"))
    window = whole(family_of(branches[:2], pairs[:2]))
    sd = window.edge_sd
    band = band_of(window)
    assert band.low[1] == pytest.approx(-5.0 + sd * norm.ppf(0.95**0.5), abs=1e-6)
    assert band.low[0] == pytest.approx(-5.0 + sd * norm.ppf(0.05**0.5), abs=1e-6)
    assert band.high == pytest.approx((-band.low[1], -band.low[0]), abs=1e-6)


@pytest.mark.parametrize("name", ["valley-coded-7", "terrace-transit-9"])
def test_the_band_and_share_agree_with_parts_drawn_one_by_one(name: str) -> None:
    priors = shipped_priors(name)
    window = window_of(shape_of(shipped_family(name), priors), priors)
    rng = np.random.default_rng(3)
    lows, highs = [], []
    for _ in range(600):
        branches = tuple(
            replace(b, dwells=tuple(
                Dwell(d.from_deg + rng.normal(0, 0.6), d.to_deg + rng.normal(0, 0.6))
                for d in b.dwells
            )) if isinstance(b, Contact) else b
            for b in window.family.branches
        )  # fmt: skip
        cells = cell_windows(replace(window.family, branches=branches), 0.6)
        lows.append(max(c.low for c in cells))
        highs.append(min(c.high for c in cells))
    band = band_of(window)
    # 600 parts: the 5 % points are good to about a tenth of a degree.
    assert np.quantile(lows, (0.05, 0.95)) == pytest.approx(np.array(band.low), abs=0.15)
    assert np.quantile(highs, (0.05, 0.95)) == pytest.approx(np.array(band.high), abs=0.15)
    for offset in (2.5, 3.5):
        drawn = np.mean((np.array(lows) < offset) & (offset < np.array(highs)))
        assert share(window, offset) == pytest.approx(float(drawn), abs=0.06)
    assert all(isfinite(x) for x in (*band.low, *band.high))
