"""When a whole sheet is doubted, and at which cell it begins; where a decision rule turns."""

from math import inf

import pytest

from benchproof.family.expectation import FamilyLimits, parse_expectation
from benchproof.family.model import Family
from benchproof.judge.cell import (
    COVERAGE,
    AllowedRange,
    Result,
    accepted,
    asked_for,
    can_accept,
    judge_value,
    nonconformance,
    rejected,
)
from benchproof.judge.sheet import Judgement, SheetVerdict, judge_sheet
from benchproof.network.files import read_family
from benchproof.reading.meter import Leads, Meter, Range, estimate
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import Measured, parse_value

METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
CHART = """pins,P,R,N,D,role
A-E,closed,open,open,closed,range bit
B-E,closed,closed,open,open,range bit
C-E,open,open,any,closed,range bit
G-H,closed,open,closed,open,start permit
"""


@pytest.fixture(scope="module")
def part() -> Family:
    return read_family(CHART.encode(), "chart.csv")


def judged(part: Family, *cells: str) -> Judgement:
    """Judge readings that are told as "A-E P 0.1"."""
    rows = ["pins;position;value", *(cell.replace(" ", ";") for cell in cells)]
    sheet = read_readings("\n".join(rows).encode(), "sheet.csv", part, METER)
    return judge_sheet(part, sheet, METER)


def doubts(part: Family, *cells: str) -> str:
    judgement = judged(part, *cells)
    return " ".join(judgement.reasons) if judgement.verdict is SheetVerdict.RECHECK else ""


FOUR = ("A-E P", "A-E R", "A-E N", "B-E P")
"""Two of them should conduct."""


@pytest.mark.parametrize("value", ["OL", "o", "10000"])
def test_nothing_conducts_is_doubted_from_four_cells_of_which_two_should(
    part: Family, value: str
) -> None:
    assert "nothing conducts, though 2 cells should" in doubts(
        part, *(f"{cell} {value}" for cell in FOUR)
    )
    assert "nothing conducts" not in doubts(part, *(f"{cell} {value}" for cell in FOUR[1:]))
    one_against = ("A-E P", "A-E R", "A-E N", "B-E N")
    assert "nothing conducts" not in doubts(part, *(f"{cell} {value}" for cell in one_against))


@pytest.mark.parametrize("value", ["0.1", "c", "9999"])
def test_everything_conducts_is_doubted_likewise(part: Family, value: str) -> None:
    assert "everything conducts, though 2 cells should be open" in doubts(
        part, *(f"{cell} {value}" for cell in FOUR)
    )
    three = (*(f"{cell} {value}" for cell in FOUR[:3]), "B-E P OL")
    assert "everything conducts" not in doubts(part, *three)
    assert "nothing conducts" not in doubts(part, *three)


def test_a_cell_where_anything_is_allowed_is_not_counted(part: Family) -> None:
    three = [f"{cell} OL" for cell in FOUR[:2]]
    assert "nothing conducts" not in doubts(part, *three, "B-E P OL", "C-E N OL")
    assert "against the chart" not in doubts(part, "A-E P OL", "A-E R 0.1", "B-E P OL", "C-E N OL")


def test_more_than_half_against_the_chart_is_doubted_from_four_cells(part: Family) -> None:
    mixed = ("A-E P OL", "A-E R 0.1", "A-E N 0.1", "B-E P 0.1")
    assert "3 of 4 cells are against the chart" in doubts(part, *mixed)
    half = ("A-E P OL", "A-E R 0.1", "A-E N OL", "B-E P 0.1")
    assert "against the chart" not in doubts(part, *half)
    assert "against the chart" not in doubts(part, *mixed[:3])


def _bounds(text: str) -> tuple[float, float]:
    """Return what a number can be: three standard uncertainties either way."""
    value = parse_value(text, "", METER.marks)
    assert isinstance(value, Measured)
    found = estimate(value, METER, 23.0)
    return found.ohm - 3.0 * found.u_ohm, found.ohm + 3.0 * found.u_ohm


def test_what_no_network_can_give_is_doubted_from_three_uncertainties_on(part: Family) -> None:
    """From A to B there are never more ohms than from A to E and on to B."""
    most = 2.0 * _bounds("100.0")[1]
    over = next(x / 10 for x in range(2000, 3000) if _bounds(f"{x / 10}")[0] > most)
    legs = ("A-E P 100.0", "B-E P 100.0")
    assert "cannot be together with" in doubts(part, *legs, f"A-B P {over + 0.1:.1f}")
    assert "cannot be together with" not in doubts(part, *legs, f"A-B P {over - 0.3:.1f}")
    # Over-range is more than the meter reads, closed by a buzzer at most what counts as closed.
    assert "cannot be together with" in doubts(part, *legs, "A-B P OL")
    assert "cannot be together with" in doubts(part, "A-E P c", "B-E P c", "A-B P 100.0")
    assert "cannot be together with" in doubts(part, "A-E P 0.1", "B-E P 0.1", "A-B P o")
    assert "cannot be together with" not in doubts(part, "A-E P c", "B-E P c", "A-B P 0.1")
    assert "cannot be together with" not in doubts(part, "A-E P 0.0", "B-E P 0.0", "A-B P 0.0")
    # In another position they may be.
    assert "cannot be together with" not in doubts(part, *legs, "A-B R OL")


def test_pairs_that_are_not_charted_are_named(part: Family) -> None:
    told = judged(part, "A-E P 0.1", "A-B P 0.2", "B-C P OL").cautions
    assert told[0] == "A-B, B-C not in the chart: read, but not judged."
    assert len(told) == 3
    bare = judged(part, "A-E P 0.1").cautions
    assert bare == told[1:]
    assert "unplugged from the vehicle and de-energised" in bare[0]
    assert bare[1].startswith("The maker's service information")


def test_a_value_on_the_edge_of_the_guard_band() -> None:
    limits, guard = AllowedRange(0.0, 100.0), COVERAGE * 4.0
    assert accepted(guard, 4.0, limits)
    assert accepted(100.0 - guard, 4.0, limits)
    assert not accepted(guard - 1e-9, 4.0, limits)
    assert not rejected(-guard, 4.0, limits)
    assert not rejected(100.0 + guard, 4.0, limits)
    assert rejected(-guard - 1e-9, 4.0, limits)
    assert can_accept(4.0, AllowedRange(0.0, 2.0 * COVERAGE * 4.0))
    assert not can_accept(4.0, AllowedRange(0.0, 2.0 * COVERAGE * 4.0 - 1e-9))


def test_limits_that_nothing_meets_leave_no_doubt() -> None:
    assert nonconformance(3.0, 0.1, AllowedRange(5.0, 1.0)) == 1.0
    assert nonconformance(3.0, 0.1, AllowedRange(-inf, inf)) == 0.0


def test_a_cell_hurts_nobody_unless_that_is_said(part: Family) -> None:
    expectation = part.chart[0].expect[0]
    assert isinstance(part.limits, FamilyLimits)
    assert not asked_for(expectation, part.limits).guarded
    assert asked_for(expectation, part.limits, guarded=True).guarded


def test_a_buzzer_s_silence_proves_nothing_open_where_it_matters(part: Family) -> None:
    expectation = parse_expectation("open")
    silent = parse_value("o", "", METER.marks)
    outcomes = [
        judge_value(expectation, silent, part.limits, METER, guarded=guarded).result
        for guarded in (False, True)
    ]
    assert outcomes == [Result.PASS, Result.UNDECIDED]
