"""From where a part rests to where it is to be set: the good range, how far, which way."""

from dataclasses import replace

import numpy as np
import pytest

from benchproof.align.band import share
from benchproof.align.toturn import GOOD_SHARE, good_range, to_turn
from benchproof.align.window import Window, shape_of, window_of
from benchproof.shipped.read import lever_families, shipped_family, shipped_priors


def window(name: str = "valley-coded-7") -> Window:
    known = shipped_priors(name)
    return window_of(shape_of(shipped_family(name), known), known)


@pytest.mark.parametrize("name", lever_families())
def test_the_good_range_is_where_enough_of_drawn_parts_stay_right(name: str) -> None:
    """Parts are drawn edge by edge, with nothing of the formula: one edge ends several cells."""
    of = window(name)
    good = good_range(of)
    assert good is not None
    assert of.low < good[0] < 0.0 < good[1] < of.high
    rng = np.random.default_rng(5)
    edges = {e for cell in of.cells for e in (*cell.low_edges, *cell.high_edges)}
    off = {edge: rng.normal(0.0, of.edge_sd, 20_000) for edge in sorted(edges)}
    for end in good:
        right = np.ones(20_000, dtype=bool)
        for cell in of.cells:
            for edge in cell.low_edges:
                right &= end > cell.low + off[edge]
            for edge in cell.high_edges:
                right &= end < cell.high + off[edge]
        # Three standard errors of the share.
        assert abs(right.mean() - GOOD_SHARE) < 3.0 * (0.05 * 0.95 / 20_000) ** 0.5


def test_it_is_narrower_for_more_of_the_parts_and_none_where_too_few_are_right() -> None:
    of = window()
    half, most = good_range(of, 0.5), good_range(of, 0.99)
    assert half is not None
    assert most is not None
    assert half[0] < most[0] < most[1] < half[1]
    wide = replace(of, edge_sd=5.0)
    assert share(wide, 0.0) < GOOD_SHARE
    assert good_range(wide) is None
    open_ = replace(of, low=-np.inf)
    assert good_range(open_) is None
    assert to_turn(open_, 1.0, (), is_known=True) is None


def test_which_way_follows_what_makes_the_offset_grow() -> None:
    """The family says: turned clockwise, seen from the cover side, the offset grows."""
    ahead = to_turn(window(), 5.0, ((4.5, 5.5),), is_known=True)
    behind = to_turn(window(), -5.0, ((-5.5, -4.5),), is_known=True)
    assert ahead is not None
    assert behind is not None
    assert (ahead.way, ahead.toward, ahead.viewed_from) == (
        "counter-clockwise", "P", "cover side",
    )  # fmt: skip
    assert (behind.way, behind.toward) == ("clockwise", "1")
    assert ahead.by == behind.by == pytest.approx(5.0)
    # Arc = radius x degrees x 0.01745 (common practice, no source: a trade rule of thumb).
    assert ahead.by_mm == pytest.approx(30.0 * 5.0 * 0.01745, rel=1e-3)
    assert ahead.is_enough
    assert not ahead.is_good
    either = to_turn(window(), 5.0, ((-5.5, -4.5), (4.5, 5.5)), is_known=False)
    assert either is not None
    assert (either.way, either.toward, either.is_enough) == ("", "", False)
    vague = to_turn(window(), 5.0, ((1.0, 9.0),), is_known=True)
    assert vague is not None
    assert not vague.is_enough, "it may come to rest outside"
    untold = to_turn(window("orchard-single-7"), 5.0, ((4.5, 5.5),), is_known=True)
    assert untold is not None
    assert (untold.way, untold.toward) == ("", "P")
