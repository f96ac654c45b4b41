"""One reading against its expectation."""

import pytest

from benchproof.family.expectation import FamilyLimits, parse_expectation
from benchproof.judge.cell import Result, judge_value
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import parse_value

LIMITS = FamilyLimits(closed_at_most_ohm=2.0, open_at_least_ohm=10_000.0, tolerance_percent=10.0)
METER = Meter(
    "invented handheld",
    (
        Range(400.0, 0.1, 1.0, 3.0),
        Range(4e3, 1.0, 1.0, 3.0),
        Range(4e5, 100.0, 1.0, 3.0),
        Range(4e7, 1e4, 3.0, 5.0),
    ),
    Leads(limit_ohm=0.1),
)
COARSE = Meter("invented coarse meter", (Range(1e6, 10.0, 5.0, 3.0),))
MANUAL = Meter(
    "invented manual meter",
    (Range(200.0, 0.1, 1.0, 3.0), Range(2e7, 1e4, 1.0, 3.0)),
    autorange=False,
)


@pytest.mark.parametrize(
    ("expected", "read", "result"),
    [
        ("closed", "0.1", Result.PASS),
        # A buzzer sounds up to some tens of ohms, so it shows no limit below that.
        ("closed", "c", Result.UNDECIDED),
        ("< 60 ohm", "c", Result.PASS),
        ("closed", "o", Result.FAIL),
        ("closed", "OL", Result.FAIL),
        ("closed", "2.0", Result.UNDECIDED),
        ("closed", "1.9", Result.UNDECIDED),
        ("closed", "9", Result.FAIL),
        ("closed", "270", Result.FAIL),
        ("open", "OL", Result.PASS),
        ("open", "o", Result.PASS),
        ("open", "c", Result.FAIL),
        ("open", "0.3", Result.FAIL),
        ("open", "9.99k", Result.UNDECIDED),
        ("open", "12k", Result.PASS),
        ("390 ohm", "390", Result.PASS),
        ("390 ohm", "352", Result.UNDECIDED),
        ("390 ohm", "330", Result.FAIL),
        ("390 ohm", "OL", Result.FAIL),
        ("390 ohm", "0.2", Result.FAIL),
        # A buzzer's mark says nothing of a resistance.
        ("390 ohm", "c", Result.UNDECIDED),
        ("390 ohm", "o", Result.UNDECIDED),
        ("3.3 kohm 3.1..3.5", "3.3k", Result.PASS),
        ("3.3 kohm 3.1..3.5", "3.52k", Result.UNDECIDED),
        ("3.3 kohm 3.1..3.5", "3.9k", Result.FAIL),
        ("any", "0.3", Result.PASS),
        ("any", "OL", Result.PASS),
        ("< 5 ohm", "3", Result.PASS),
        ("> 100 kohm", "50k", Result.FAIL),
    ],
)
def test_results(expected: str, read: str, result: Result) -> None:
    outcome = judge_value(parse_expectation(expected), parse_value(read), LIMITS, METER)
    assert outcome.result is result, outcome.reason


def test_a_closed_contact_just_below_zero_after_the_leads_passes() -> None:
    # Leads of 0.3 ohm are taken off a reading of 0.2: a little below zero, which is closed.
    meter = Meter("invented", METER.ranges, Leads(0.3, nulled=False, limit_ohm=0.1))
    outcome = judge_value(parse_expectation("closed"), parse_value("0.2"), LIMITS, meter)
    assert outcome.result is Result.PASS


def test_leads_not_nulled_are_taken_off_before_judging() -> None:
    meter = Meter("invented", METER.ranges, Leads(2.0, nulled=False))
    outcome = judge_value(parse_expectation("closed"), parse_value("2.5"), LIMITS, meter)
    assert outcome.result is Result.PASS


def test_a_meter_too_coarse_for_the_limit_says_that_it_is_not_good_enough() -> None:
    outcome = judge_value(parse_expectation("27 ohm ±5%"), parse_value("27"), LIMITS, COARSE)
    assert outcome.result is Result.UNDECIDED
    assert "not good enough" in outcome.reason


def test_over_range_on_a_manual_meter_shows_only_more_than_its_lowest_range() -> None:
    outcome = judge_value(parse_expectation("open"), parse_value("OL"), LIMITS, MANUAL)
    assert outcome.result is Result.UNDECIDED
    assert "above 200 ohm" in outcome.reason


def test_over_range_with_its_range_told_is_open_on_a_manual_meter() -> None:
    outcome = judge_value(parse_expectation("open"), parse_value("> 20 Mohm"), LIMITS, MANUAL)
    assert outcome.result is Result.PASS


# Nulled leads of a handheld often show -0.1: common practice, no source.
@pytest.mark.parametrize("read", ["-0.1", "-0,1", "\N{MINUS SIGN}0.1"])
def test_a_little_below_zero_is_zero(read: str) -> None:
    outcome = judge_value(parse_expectation("closed"), parse_value(read), LIMITS, METER)
    assert outcome.result is Result.PASS
    assert outcome.reason.startswith("0 ohm ±")
    outcome = judge_value(parse_expectation("open"), parse_value(read), LIMITS, METER)
    assert outcome.result is Result.FAIL


def test_digits_left_out_are_not_the_meters_fault() -> None:
    # 1.27k, cut off to 1.2k.
    outcome = judge_value(parse_expectation("1.27 kohm ±5%"), parse_value("1.2k"), LIMITS, METER)
    assert outcome.result is Result.UNDECIDED
    assert "noted only to 100 ohm: type every digit that the meter shows" in outcome.reason
    outcome = judge_value(parse_expectation("1.27 kohm ±5%"), parse_value("1.27k"), LIMITS, METER)
    assert outcome.result is Result.PASS


@pytest.mark.parametrize(("read", "meant"), [("1.27", "1.27 kohm"), ("1.27M", "1.27 kohm")])
def test_a_value_a_thousandfold_off_is_suspected_of_its_unit_and_fails(
    read: str, meant: str
) -> None:
    outcome = judge_value(parse_expectation("1.27 kohm ±5%"), parse_value(read), LIMITS, METER)
    assert outcome.result is Result.FAIL
    assert outcome.reason.endswith(f"; was {meant} meant? Look at the meter's unit")


def test_no_unit_is_suspected_where_open_or_closed_is_asked_for() -> None:
    for expected, read in (("open", "2.2"), ("closed", "1k"), ("1.27 kohm ±5%", "300")):
        outcome = judge_value(parse_expectation(expected), parse_value(read), LIMITS, METER)
        assert outcome.result is Result.FAIL
        assert "meant" not in outcome.reason


def test_heat_at_the_meter_widens_the_undecided_zone() -> None:
    meter = Meter("invented", METER.ranges, percent_per_kelvin=0.5)
    expectation, value = parse_expectation("390 ohm"), parse_value("420")
    assert judge_value(expectation, value, LIMITS, meter, 23.0).result is Result.PASS
    assert judge_value(expectation, value, LIMITS, meter, 40.0).result is Result.UNDECIDED


def test_the_reason_tells_value_uncertainty_limit_and_risk() -> None:
    outcome = judge_value(parse_expectation("closed"), parse_value("0.1"), LIMITS, METER)
    assert outcome.reason == "0.1 ohm ± 0.37 ohm, allowed is at most 2 ohm; risk under 0.01 %"
