"""Electrical centring: the fit against a general library, what it recovers, what it says."""

from dataclasses import replace
from math import degrees, inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.stats import norm

from benchproof.align.centring import Centring, by_marks, centre
from benchproof.align.edges import Approach
from benchproof.align.fit import (
    DEVIATIONS,
    LASH,
    SLOPE,
    ZERO,
    draws_of,
    fit,
    found_of,
    normal_scores,
)
from benchproof.align.practice import REPEAT_GAPS, TurningScale, gaps, scale_of
from benchproof.align.procedure import candidates, choose, expected_sd, notches, procedure, way
from benchproof.align.remarks import centring_remarks, misfits, turning_cautions, window_remarks
from benchproof.align.window import CellWindow, Window, shape_of, window_of
from benchproof.diagnose.evidence.offset import marks_sd
from benchproof.family.model import Pair
from benchproof.network.branches.base import Dwell
from benchproof.network.branches.contact import Contact
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.geometry import Geometry
from benchproof.shipped.read import lever_families, shipped_family, shipped_priors

NAME = "valley-coded-7"
PRIORS = shipped_priors(NAME)
SHAPE = shape_of(shipped_family(NAME), PRIORS)
WINDOW = window_of(SHAPE, PRIORS)
FINE = TurningScale("deg", "degrees on a protractor", 0.01, 1.0)
GH, JK = ("G", "H"), ("J", "K")


def cell(position: str, pair: Pair, window: Window = WINDOW) -> CellWindow:
    return next(c for c in window.cells if (c.position, c.pair) == (position, pair))


def approaches(
    *dwells: tuple[str, Pair, float, float],
    lash: float = 0.0,
    ways: tuple[bool, ...] = (True, False),
    toward: str = "",
) -> list[Approach]:
    """Return both edges of dwells, given as they lie on the scale, found from either side."""
    return [
        Approach(
            position,
            pair,
            end + (lash / 2.0 if rising else -lash / 2.0),
            rising,
            closed=rising == (end == low),
            toward=toward if end == high else "",
        )
        for position, pair, low, high in dwells
        for end in (low, high)
        for rising in ways
    ]


def centred(found: list[Approach], scale: TurningScale = FINE, window: Window = WINDOW) -> Centring:
    return centre(window, SHAPE, found, scale)


# The fit --------------------------------------------------------------------------------------


@pytest.mark.parametrize("rises", [True, False])
def test_the_fit_is_that_of_a_general_least_squares_solver(*, rises: bool) -> None:
    read = approaches(("N", GH, 12.3, 20.1), ("P", GH, 12.9, 21.3), ("R", JK, 11.8, 20.4), lash=0.7)
    read = [replace(a, scale=a.scale + 0.05 * (-1) ** n) for n, a in enumerate(read)]
    found = found_of(WINDOW, SHAPE, read, FINE)
    fitted = fit(found, WINDOW.edge_sd, rises=rises)

    def residuals(x: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        left = []
        for a, at in zip(read, found.at, strict=True):
            mine = cell(a.position, a.pair)
            lower = a.at_lower == rises
            edge = (mine.low_edges if lower else mine.high_edges)[0]
            offset = mine.low if lower else mine.high
            model = x[ZERO] + x[SLOPE] * offset + x[DEVIATIONS + fitted.edges.index(edge)]
            left.append((at - model - (0.5 if a.rising else -0.5) * x[LASH]) / found.noise)
        left += (x[DEVIATIONS:] / WINDOW.edge_sd).tolist()
        left += [x[LASH] / found.lash_sd, (x[SLOPE] - (1 if rises else -1)) / 0.01]
        return left

    theirs = least_squares(residuals, np.zeros(len(fitted.mean)), xtol=1e-14, ftol=1e-14)
    assert fitted.mean == pytest.approx(theirs.x, abs=1e-6)
    assert fitted.covariance == pytest.approx(np.linalg.inv(theirs.jac.T @ theirs.jac), abs=1e-6)


def test_noise_is_the_expected_one_and_the_repeats_together() -> None:
    once = approaches(("N", GH, 12.0, 20.0))
    found = found_of(WINDOW, SHAPE, once, FINE)
    assert np.isnan(found.scatter)
    expected = sqrt(gaps(SHAPE, REPEAT_GAPS) ** 2 + 0.01**2 / 12.0)
    assert found.expected_noise == pytest.approx(expected)
    # Repeats half a degree apart: pairs of variance 0.5**2 / 2 each, four of them.
    twice = [*once, *(replace(a, scale=a.scale + 0.5) for a in once)]
    found = found_of(WINDOW, SHAPE, twice, FINE)
    assert found.scatter == pytest.approx(0.5 / sqrt(2.0))
    assert found.noise == pytest.approx(sqrt((4 * expected**2 + 4 * 0.125) / 6.0))


def test_the_scores_are_those_of_independent_normals() -> None:
    """The mean of the highest of three is 3 / (2 sqrt(pi)) (order statistics, from memory)."""
    scores = normal_scores(2048, 12)
    assert abs(scores.mean(axis=0)).max() < 0.02
    assert abs(scores.std(axis=0) - 1.0).max() < 0.02
    assert abs(np.corrcoef(scores.T) - np.eye(12)).max() < 0.15
    assert np.quantile(scores[:, 0], 0.975) == pytest.approx(norm.ppf(0.975), abs=0.02)
    assert scores[:, :3].max(axis=1).mean() == pytest.approx(3 / (2 * sqrt(np.pi)), abs=0.02)
    with pytest.raises(ValueError, match="read-only"):
        scores[0, 0] = 0.0


def test_draws_have_the_fit_s_mean_and_covariance() -> None:
    found = found_of(WINDOW, SHAPE, approaches(("N", GH, 12.0, 20.5)), FINE)
    fitted = fit(found, WINDOW.edge_sd, rises=True)
    drawn = draws_of(fitted, normal_scores(2048, 8))
    assert drawn.mean(axis=0) == pytest.approx(fitted.mean, abs=0.02)
    assert np.cov(drawn.T) == pytest.approx(fitted.covariance, abs=0.03)


# What it recovers -----------------------------------------------------------------------------

THREE = (("N", GH, 12.0, 20.0), ("P", GH, 12.6, 20.4), ("R", JK, 11.5, 19.8))


def test_the_centre_is_that_of_the_part_s_own_window() -> None:
    """Closed together from the highest lower end, 12.6, to the lowest upper end, 19.8."""
    found = centred(approaches(*THREE, lash=0.8))
    assert found.set_at == pytest.approx(16.2, abs=0.05)
    assert found.set_sd < 0.15
    assert found.interval95[0] < 16.2 < found.interval95[1]
    assert found.lash == pytest.approx(0.8, abs=0.05)
    assert found.coming_up - found.coming_down == pytest.approx(found.lash)
    middle = found.cells[0]
    assert (middle.lower, middle.upper) == pytest.approx((12.0, 20.0), abs=0.05)
    by_position = {m.position: m for m in found.margins}
    # From 16.2 it is 3.6 to either end; of R's own dwell 3.6 too, of N's 3.8.
    assert by_position["N"].margin == pytest.approx(3.8, abs=0.1)
    assert by_position["P"].margin == pytest.approx(3.6, abs=0.1)
    assert set(by_position) == set(WINDOW.family.positions)
    assert found.holds > 0.999


def test_one_dwell_s_middle_is_where_to_set_but_the_others_are_known_less() -> None:
    found = centred(approaches(("N", GH, 12.0, 20.0)))
    assert found.set_at == pytest.approx(16.0, abs=0.05)
    # It does not show how wide its part scatters, which may be wider than the family says.
    as_told = expected_sd(WINDOW, SHAPE, [cell("N", GH)])
    assert 1.2 * as_told < found.angle_sd < 1.6 * as_told
    assert found.cells[0].middle_sd < 0.2 < found.angle_sd


@given(st.floats(-500.0, 500.0), st.booleans())
def test_where_the_scale_begins_and_which_way_it_runs_is_no_matter(
    zero: float,
    mirrored: bool,
) -> None:
    plain = centred(approaches(*THREE))
    sign = -1.0 if mirrored else 1.0
    ends = [
        (
            p,
            k,
            min(zero + sign * low, zero + sign * high),
            max(zero + sign * low, zero + sign * high),
        )
        for p, k, low, high in THREE
    ]
    moved = centred(approaches(*ends))
    assert moved.set_at == pytest.approx(zero + sign * plain.set_at, abs=0.02)
    assert moved.set_sd == pytest.approx(plain.set_sd, rel=0.2)


def test_a_scale_of_unknown_step_is_taken_from_the_dwells() -> None:
    screw = replace(FINE, name="turns", per_degree=None, step=0.001)
    ends = [(p, k, 0.1 * low, 0.1 * high) for p, k, low, high in THREE]
    found = centred(approaches(*ends), screw)
    assert found.set_at == pytest.approx(1.62, abs=0.01)
    assert found.per_unit == pytest.approx(0.1, rel=0.1)
    assert found.per_unit_sd > 0.001
    assert found.margins[0].margin == pytest.approx(3.6, abs=0.5)


def test_millimetres_are_taken_along_the_mark_circle() -> None:
    scale = scale_of("mm", SHAPE.family)
    assert scale.per_degree == pytest.approx(30.0 / degrees(1.0))
    assert scale_of("mm", replace(SHAPE.family, mark_radius_mm=None)).per_degree is None
    assert scale_of("turns", SHAPE.family, 0.5, 0.2) == TurningScale(
        "turns", "turns of a screw", 0.5, 0.2
    )
    mm = 30.0 / degrees(1.0)
    ends = [(p, k, mm * low, mm * high) for p, k, low, high in THREE]
    assert centred(approaches(*ends), scale).set_at == pytest.approx(mm * 16.2, abs=0.1)


def lopsided() -> tuple[Geometry, Window]:
    """Return the family with N's start contact reaching less far up: its window lies off zero."""
    branches = tuple(
        replace(b, dwells=(Dwell(-4.0, 4.0), Dwell(37.0, 42.0)))
        if isinstance(b, Contact) and b.ends == GH
        else b
        for b in SHAPE.family.branches
    )
    shape = replace(SHAPE, family=replace(SHAPE.family, branches=branches))
    return shape, window_of(shape, PRIORS)


@pytest.mark.parametrize(("toward", "expected"), [("R", 1.5), ("D", -1.5)])
def test_where_the_window_is_not_about_the_dwell_s_middle_the_lean_tells_which_way(
    toward: str, expected: float
) -> None:
    """R's dwell is about zero; the window is -4 to 1, so that its centre lies at -1.5."""
    shape, window = lopsided()
    assert (window.low, window.high) == (-4.0, 1.0)
    read = approaches(("R", JK, 6.0, 14.0), toward="N" if toward == "D" else "P")
    found = centre(window, shape, read, FINE)
    # At the upper edge a lean to the later N closes the pair: the scale falls as offset rises.
    assert found.rises == (0.0 if toward == "D" else 1.0)
    # The other dwells' ends come in the farther, the wider the part may scatter.
    assert found.set_at == pytest.approx(10.0 - expected, abs=0.35)
    untold = centre(window, shape, approaches(("R", JK, 6.0, 14.0)), FINE)
    assert untold.rises == pytest.approx(0.5, abs=0.01)
    assert untold.set_at == pytest.approx(10.0, abs=0.25)
    assert any("it matters here" in s for s in centring_remarks(untold))
    assert not any("it matters here" in s for s in centring_remarks(found))


def test_two_unlike_dwells_tell_by_themselves_which_way_the_scale_runs() -> None:
    shape, window = lopsided()
    up = approaches(("R", JK, 6.0, 14.0), ("N", GH, 6.0, 11.0))
    assert centre(window, shape, up, FINE).rises > 0.95
    down = approaches(("R", JK, 6.0, 14.0), ("N", GH, 9.0, 14.0))
    found = centre(window, shape, down, FINE)
    assert found.rises < 0.05
    assert found.set_at == pytest.approx(11.5, abs=0.3)


# What it says ---------------------------------------------------------------------------------


def test_a_dwell_of_the_wrong_width_does_not_fit() -> None:
    assert misfits(centred(approaches(*THREE))) == []
    (sentence,) = misfits(centred(approaches(("N", GH, 12.0, 24.0))))
    assert sentence.startswith("G-H in N was found closed over 12, but the family makes it 8 deg")


def test_repeats_that_stray_do_not_fit() -> None:
    once = approaches(("N", GH, 12.0, 20.0))
    strayed = [*once, *(replace(a, scale=a.scale + 2.0) for a in once)]
    assert any("strays by 1.4" in sentence for sentence in misfits(centred(strayed)))


def test_an_edge_found_one_way_only_is_told_and_is_less_sure() -> None:
    both = centred(approaches(*THREE))
    one = centred(approaches(*THREE, ways=(True,)))
    assert sum("one way only" in s for s in centring_remarks(one)) == 6
    assert not any("one way only" in s for s in centring_remarks(both))
    assert one.set_sd > 3.0 * both.set_sd


def test_a_scale_taken_from_one_dwell_cannot_check_it() -> None:
    screw = replace(FINE, per_degree=None)
    found = centred(approaches(("N", GH, 1.0, 9.0)), screw)
    assert any("nothing shows whether" in s for s in centring_remarks(found))
    assert not any(
        "nothing shows whether" in s for s in centring_remarks(centred(approaches(*THREE)))
    )


def test_clockwise_is_told_only_with_its_side_and_a_known_scale() -> None:
    known = centred(approaches(*THREE, toward="") + approaches(("N", GH, 12.0, 20.0), toward="D"))
    sentence = way(known)
    assert sentence.startswith("Watch G-H in N: turn the way that closes it")
    # A lean to D at the upper edge: up the scale the offset falls, and it grows clockwise.
    assert "Up the scale is counter-clockwise seen from the cover side" in sentence
    bare = replace(WINDOW, family=replace(WINDOW.family, offset_grows="", viewed_from=""))
    assert "clockwise" not in way(centred(approaches(*THREE, toward="D"), window=bare))
    assert "clockwise" not in way(centred(approaches(("N", GH, 12.0, 20.0))))


def test_the_guide_never_says_clockwise_counts_notches_and_ends_with_the_recheck() -> None:
    for name in lever_families():
        family, priors = shipped_family(name), shipped_priors(name)
        shape = shape_of(family, priors)
        window = window_of(shape, priors)
        guide = procedure(window, shape, priors)
        assert guide is not None
        text = " ".join((guide.why, *guide.steps))
        assert "clockwise" not in text
        assert "counting notches from the end stop" in guide.steps[0]
        assert "turn the way that closes it" in text
        assert "alternately" in guide.steps[-2]
        assert "every position" in guide.steps[-1]
        # Three dwells limit each shipped window; all are to be found, neutral first.
        assert len(guide.choices) == 3
        assert guide.choices[0].cell.position == "N"
        assert [c.sd for c in guide.choices] == sorted((c.sd for c in guide.choices), reverse=True)
        assert guide.choices[-1].sd < guide.marks_rms / 3.0
        cautions = turning_cautions(window)
        assert cautions[0].startswith("Before you turn the body on a vehicle: chock the wheels")
        assert cautions[-1].startswith("The maker's procedure comes first")


def test_neutral_is_a_notch_counted_from_the_end_stop() -> None:
    assert "with P at the stop as notch 1 it is notch 3" in notches(SHAPE.family)
    assert "each position by counting notches" in notches(replace(SHAPE.family, neutral=()))


def test_only_pairs_open_on_both_sides_and_within_reach_are_watched() -> None:
    found = {(c.position, c.pair) for c in candidates(WINDOW, SHAPE)}
    assert {("N", GH), ("P", GH), ("R", JK)} <= found
    # A-E in D is one of a long dwell: its upper edge lies two gaps away.
    assert ("D", ("A", "E")) not in found
    ladder = shipped_family("harvest-ladder-8")
    shape = shape_of(ladder, PRIORS)
    through = candidates(window_of(shape, PRIORS), shape)
    # The whole ladder conducts everywhere and has no edges.
    assert ("A", "B") not in {c.pair for c in through}


def test_a_family_with_nothing_to_watch_has_no_procedure() -> None:
    """Every dwell covers two detents, so that one of its edges lies out of reach."""
    text = b"pins,P,R,N\nA-B,closed,closed,open\nA-C,open,closed,closed\n"
    shape = shape_of(completed(read_family(text, "c.csv")), PRIORS)
    window = window_of(shape, PRIORS)
    assert choose(window, shape) == ()
    assert procedure(window, shape, PRIORS) is None


def test_setting_by_the_marks_is_a_line_s_width_and_the_part_s_own_spread() -> None:
    """By eye to within a line's width, anywhere in it alike (common practice, no source)."""
    by_eye = degrees(0.5 / 30.0) / sqrt(3.0)
    assert marks_sd(SHAPE, PRIORS) == pytest.approx(by_eye)
    rms = by_marks(WINDOW, SHAPE, PRIORS).rms
    # Half the difference of two highest of three: each of variance 0.5595 (order statistics,
    # from memory).
    assert rms == pytest.approx(sqrt(by_eye**2 + 0.6**2 * 0.5595 / 2.0), rel=0.03)
    unmarked = replace(SHAPE, family=replace(SHAPE.family, mark_radius_mm=None))
    assert marks_sd(unmarked, PRIORS) == PRIORS.aligned_sd_deg


def test_what_is_to_be_said_of_a_window() -> None:
    assert window_remarks(WINDOW) == []
    unmarked = replace(WINDOW, family=replace(WINDOW.family, mark_radius_mm=None), implied=True)
    assert len(window_remarks(unmarked)) == 2
    assert "no centre" in window_remarks(replace(WINDOW, high=inf))[-1]
    crossed = replace(WINDOW, low=5.0)
    assert window_remarks(crossed)[0].startswith("No offset makes every cell hold")
    off = replace(WINDOW.cells[0], at_zero=False)
    assert "A-E in P" in window_remarks(replace(WINDOW, cells=(off,)))[0]
    never = replace(WINDOW.cells[0], low=inf, high=-inf)
    assert "there is no window: A-E in P" in window_remarks(replace(WINDOW, cells=(never,)))[0]
