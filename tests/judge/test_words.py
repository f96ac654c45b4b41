"""What is said of a reading and of a sheet, to the word, and where each limit lies."""

import pytest

from benchproof.family.expectation import ANY, CLOSED, OPEN, FamilyLimits, parse_expectation
from benchproof.family.sentence import risk_percent
from benchproof.judge.cell import CellOutcome, Result, judge_value
from benchproof.judge.sheet import SheetVerdict, judge_sheet
from benchproof.network.files import read_family
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value

METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
COARSE = Meter("invented needle", (Range(4e7, 1.0, 25.0, 3.0),), Leads(limit_ohm=0.1))
LIMITS = FamilyLimits()
HUNDRED = parse_expectation("100 ohm")


@pytest.mark.parametrize(
    ("expectation", "value", "result", "reason"),
    [
        (ANY, Measured(3.0, 0.1), Result.PASS, "the chart allows anything here"),
        (CLOSED, Measured(0.3, 0.1), Result.PASS,
         "0.3 ohm ± 0.37 ohm, allowed is at most 2 ohm; risk under 0.01 %"),
        (OPEN, Measured(12_345.0, 1.0), Result.PASS,
         "12.3 kohm ± 140 ohm, allowed is at least 10 kohm; risk under 0.01 %"),
        (HUNDRED, Measured(100.0, 0.1), Result.PASS,
         "100 ohm ± 1.5 ohm, allowed is 90 ohm to 110 ohm; risk under 0.01 %"),
        (CLOSED, Measured(2.45, 0.01), Result.FAIL,
         "2.45 ohm ± 0.4 ohm, allowed is at most 2 ohm; risk 1.2 %"),
        (CLOSED, OverRange(2.0), Result.FAIL,
         "over-range, so above 2 ohm; allowed is at most 2 ohm"),
        (OPEN, OverRange(10_000.0), Result.PASS,
         "over-range, so above 10 kohm; allowed is at least 10 kohm"),
        (HUNDRED, OverRange(100.0), Result.UNDECIDED,
         "over-range shows only that it is above 100 ohm; allowed is 90 ohm to 110 ohm: read on a "
         "higher range"),
    ],
)  # fmt: skip
def test_each_result_and_its_reason(
    expectation: object, value: Value, result: Result, reason: str
) -> None:
    assert judge_value(expectation, value, LIMITS, METER) == CellOutcome(result, reason)  # type: ignore[arg-type]


def test_a_low_limit_under_one_ohm_is_a_limit() -> None:
    fine = Meter("invented four-wire", (Range(1000.0, 0.001, 0.5, 1.0),), Leads(limit_ohm=0.001))
    found = judge_value(parse_expectation("0.8 ohm 0.6..1.0"), Measured(0.3, 0.001), LIMITS, fine)
    assert found.result is Result.FAIL


def test_why_it_cannot_be_decided() -> None:
    near = judge_value(CLOSED, Measured(2.0, 0.1), LIMITS, METER)
    assert near.result is Result.UNDECIDED
    assert "too near the limit for this meter (it is outside with 50 %)" in near.reason
    narrow = parse_expectation("100 ohm ±1%")
    coarse = judge_value(narrow, Measured(100.0, 1.0), LIMITS, COARSE)
    assert coarse.result is Result.UNDECIDED
    assert "this meter is not good enough to tell" in coarse.reason


def test_where_a_buzzer_shows_a_closed_contact() -> None:
    """A limit of some 50 ohm or more is what a buzzer sounds at (common practice, no source)."""
    for limit, result in (("49", Result.UNDECIDED), ("50", Result.PASS), ("60", Result.PASS)):
        wide = parse_expectation(f"< {limit} ohm")
        for guarded in (False, True):
            found = judge_value(wide, Mark.CLOSED, LIMITS, METER, guarded=guarded)
            assert found.result is result, (limit, guarded)
    assert judge_value(OPEN, Mark.OPEN, LIMITS, METER).reason == "marked open"


@pytest.mark.parametrize(
    ("risk", "told"),
    [(0.02275, "2.3 %"), (1e-9, "under 0.01 %"), (1e-4, "0.01 %"), (0.99, "99 %")],
)
def test_a_risk_in_words(risk: float, told: str) -> None:
    assert risk_percent(risk) == told


def test_the_words_of_results_and_verdicts_stay() -> None:
    """They stand in records and in what programs read."""
    assert [one.value for one in Result] == ["pass", "fail", "undecided", "missing"]
    assert [one.value for one in SheetVerdict] == [
        "recheck",
        "fail",
        "incomplete",
        "undecided",
        "pass",
    ]


@pytest.mark.parametrize(
    ("failing", "ending"), [(12, "in P."), (13, "and 1 more."), (14, "and 2 more.")]
)
def test_a_long_list_is_cut(failing: int, ending: str) -> None:
    rows = [f"a{n}-b{n},closed,open" for n in range(40)]
    family = read_family("\n".join(["pins,P,R", *rows]).encode(), "chart.csv")
    readings = []
    for n in range(40):
        pair = f"a{n}", f"b{n}"
        value: Value = OverRange() if n < failing else Measured(0.1, 0.1)
        readings += [Reading("P", pair, value), Reading("R", pair, OverRange())]
    found = judge_sheet(family, readings, METER)
    assert found.verdict is SheetVerdict.FAIL
    (reason,) = found.reasons
    assert reason.startswith(f"{failing} cells against the chart: a0-b0 in P, ")
    assert reason.endswith(ending)
