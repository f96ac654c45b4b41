"""How well a number is known: the budget, by formula, by exact sum and by Monte Carlo."""

from math import sqrt

import numpy as np
import pytest

from benchproof.reading.meter import Leads, Meter, Range, estimate
from benchproof.reading.value import Measured

METER = Meter(
    "invented",
    (Range(400.0, 0.1, 1.0, 3.0), Range(4000.0, 1.0, 0.5, 2.0)),
    leads=Leads(0.2, nulled=True, limit_ohm=0.05),
    calm_c=(18.0, 28.0),
    percent_per_kelvin=0.1,
)


def limits(measured: Measured, meter: Meter, ambient_c: float | None = None) -> dict[str, float]:
    """Return the limit of each source, ohms: a rectangular one's is sqrt(3) of its u."""
    # JCGM 100:2008, 4.3.7; from memory.
    budget = estimate(measured, meter, ambient_c).budget
    return {source.name: source.u_ohm * sqrt(3.0) for source in budget}


def test_the_budget_names_every_source_with_its_limit() -> None:
    assert limits(Measured(100.0, 0.1), METER) == pytest.approx(
        {"meter": 1.0 + 0.3, "digit": 0.05, "leads": 0.05, "temperature": 0.0}
    )


def test_each_range_has_its_own_accuracy() -> None:
    assert limits(Measured(400.0, 0.1), METER)["meter"] == pytest.approx(4.0 + 0.3)
    assert limits(Measured(401.0, 1.0), METER)["meter"] == pytest.approx(2.005 + 2.0)


@pytest.mark.parametrize(
    ("step_ohm", "limit_ohm"),
    # A person may note fewer digits than the meter shows, never more.
    [(0.01, 0.05), (0.1, 0.05), (1.0, 0.5), (10.0, 5.0)],
)
def test_digits_left_out_widen_the_last_digit(step_ohm: float, limit_ohm: float) -> None:
    assert limits(Measured(100.0, step_ohm), METER)["digit"] == pytest.approx(limit_ohm)


@pytest.mark.parametrize(
    ("ambient_c", "limit_ohm"),
    [(None, 0.0), (18.0, 0.0), (23.0, 0.0), (28.0, 0.0), (30.0, 0.2), (-2.0, 2.0)],
)
def test_heat_and_cold_outside_the_calm_span_count_by_the_kelvin(
    ambient_c: float | None, limit_ohm: float
) -> None:
    told = limits(Measured(100.0, 0.1), METER, ambient_c)
    assert told["temperature"] == pytest.approx(limit_ohm)


def test_sources_add_in_squares() -> None:
    told = estimate(Measured(100.0, 1.0), METER, 40.0)
    assert told.u_ohm == pytest.approx(sqrt(1.3**2 + 0.5**2 + 0.05**2 + 1.2**2) / sqrt(3.0))


# A healthy closed contact reads near zero once the leads are nulled; leads read 0.1 to 0.5 ohm:
# common practice, no source.


def test_a_closed_contact_reads_near_zero_after_the_leads_are_nulled() -> None:
    nulled = estimate(Measured(0.0, 0.1), METER)
    assert nulled.ohm == 0.0
    assert nulled.u_ohm < 0.2


def test_leads_that_are_not_nulled_are_taken_off() -> None:
    meter = Meter("invented", METER.ranges, Leads(0.3, nulled=False, limit_ohm=0.05))
    assert estimate(Measured(0.3, 0.1), meter).ohm == 0.0
    assert estimate(Measured(0.2, 0.1), meter).ohm == pytest.approx(-0.1)
    assert estimate(Measured(100.3, 0.1), meter).ohm == pytest.approx(100.0)


# Four rectangular sources of unit standard deviation each: the root of the sum of squares is 2,
# and 95 % of the sum lies within 3.8794, a little less than a normal distribution's 1.96 x 2.
# JCGM 101:2008, 9.2; from memory, recomputed.
UNIT = sqrt(3.0)
FOUR_EQUAL = Meter(
    "invented",
    (Range(1000.0, 2.0 * UNIT, 100.0 * UNIT / 500.0, 0.0),),
    Leads(limit_ohm=UNIT),
    calm_c=(20.0, 25.0),
    percent_per_kelvin=100.0 * UNIT / 500.0,
)
SUM = estimate(Measured(500.0, 0.1), FOUR_EQUAL, 26.0)


def test_four_equal_sources_have_a_root_of_sum_of_squares_of_two() -> None:
    assert [source.u_ohm for source in SUM.budget] == pytest.approx([1.0] * 4)
    assert SUM.u_ohm == pytest.approx(2.0)


def test_a_monte_carlo_of_the_budget_finds_the_published_interval() -> None:
    random = np.random.default_rng(20260101)
    u_ohm = np.array([source.u_ohm for source in SUM.budget])
    half = u_ohm * sqrt(3.0)
    drawn = random.uniform(-half, half, size=(400_000, len(half))).sum(axis=1)
    assert drawn.std() == pytest.approx(SUM.u_ohm, rel=0.004)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert (low, high) == pytest.approx((-3.8794, 3.8794), rel=0.004)
    # Two standard uncertainties cover a little more than 95 %.
    assert 2.0 * SUM.u_ohm > 3.8794


def test_the_exact_sum_of_four_rectangulars_has_the_published_interval() -> None:
    # Beyond distance t of its end, in widths, the sum of four rectangulars has t^4 / 4! left.
    t = (0.025 * 24.0) ** 0.25
    assert t < 1.0
    assert 2.0 * UNIT * (2.0 - t) == pytest.approx(3.8794, abs=5e-5)


def test_a_monte_carlo_of_an_ordinary_budget_agrees_with_the_formula() -> None:
    told = estimate(Measured(100.0, 1.0), METER, 40.0)
    random = np.random.default_rng(20260102)
    half = np.array([source.u_ohm for source in told.budget]) * sqrt(3.0)
    drawn = random.uniform(-half, half, size=(200_000, len(half))).sum(axis=1)
    assert drawn.std() == pytest.approx(told.u_ohm, rel=0.006)
    assert np.mean(np.abs(drawn) <= 2.0 * told.u_ohm) > 0.95
