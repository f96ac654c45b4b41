"""What becomes of a cell read more than once, by marks or by number, and where it must be open."""

import pytest

from benchproof.judge.cell import JudgedCell, Result
from benchproof.judge.sheet import SheetVerdict, judge_sheet
from benchproof.network.files import read_family
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value

METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
CHART = b"""pins,P,R,N,D,role
G-H,closed,%b,closed,open,start permit
A-E,closed,open,open,closed,other
"""
OL, LOW, MARK_OPEN, MARK_CLOSED = OverRange(), Measured(0.1, 0.1), Mark.OPEN, Mark.CLOSED
NEAR = Measured(10_000.0, 10.0)
"""So near the limit of open that this meter cannot tell."""


def judged(position: str, pair: str, *values: Value, charted: bytes = b"open") -> JudgedCell:
    family = read_family(CHART % charted, "chart.csv")
    first, second = pair.split("-")
    readings = [Reading(position, (first, second), value) for value in values]
    sheet = judge_sheet(family, readings, METER)
    (found,) = (cell for cell in sheet.cells if cell.name == f"{pair} in {position}")
    return found


@pytest.mark.parametrize(
    ("values", "guarded", "result"),
    [
        ((OL,), True, Result.PASS),
        ((OL, OL), True, Result.PASS),
        ((MARK_OPEN,), True, Result.UNDECIDED),
        ((MARK_OPEN,), False, Result.PASS),
        ((MARK_OPEN, OL), True, Result.PASS),
        ((OL, MARK_OPEN), True, Result.PASS),
        ((MARK_OPEN, LOW), True, Result.FAIL),
        ((MARK_CLOSED, OL), True, Result.FAIL),
        ((MARK_CLOSED, OL, OL), True, Result.FAIL),
        ((LOW, OL, OL), True, Result.FAIL),
        ((LOW, OL, OL), False, Result.UNDECIDED),
        ((LOW, OL), False, Result.FAIL),
        ((LOW, OL, NEAR), False, Result.FAIL),
        ((OL, OL, LOW), False, Result.FAIL),
        ((OL, LOW, OL), False, Result.FAIL),
        ((LOW, LOW), False, Result.FAIL),
        ((LOW, OL, LOW, OL), False, Result.FAIL),
        ((LOW, OL, LOW, OL, OL), False, Result.UNDECIDED),
        ((NEAR,), False, Result.UNDECIDED),
        ((NEAR, OL), False, Result.UNDECIDED),
        ((NEAR, OL), True, Result.UNDECIDED),
        ((LOW, NEAR, OL), False, Result.FAIL),
        ((MARK_OPEN, MARK_OPEN), True, Result.UNDECIDED),
    ],
)
def test_the_worst_counts_and_slips_only_where_nobody_is_hurt(
    values: tuple[Value, ...], guarded: bool, result: Result
) -> None:
    assert judged(*(("D", "G-H") if guarded else ("R", "A-E")), *values).outcome.result is result


def test_how_several_are_told() -> None:
    assert judged("R", "A-E", LOW, OL).outcome.reason.startswith("2 readings disagree; the worst: ")
    slip = judged("R", "A-E", LOW, OL, OL).outcome.reason
    assert slip.startswith(
        "1 of 3 readings is against the chart and the later ones are not (0.1 ohm"
    )
    assert slip.endswith("if it was a slip, withdraw it with its reason")
    # The same result each time is told as one.
    assert "readings" not in judged("R", "A-E", LOW, LOW).outcome.reason


@pytest.mark.parametrize("charted", [b"closed", b"100 ohm"])
def test_a_chart_that_lets_it_conduct_in_gear_passes_nothing(charted: bytes) -> None:
    """Issue: readings to match gave PASS beside DANGER."""
    assert judged("R", "G-H", LOW, charted=charted).outcome.result is Result.FAIL
    opened = judged("R", "G-H", OL, charted=charted).outcome
    assert opened.result is Result.UNDECIDED
    assert "as the start permit must be in gear, but the chart says" in opened.reason
    assert judged("R", "G-H", charted=charted).outcome.result is Result.MISSING


def test_where_the_chart_allows_anything_a_permit_must_be_read_all_the_same() -> None:
    assert judged("R", "G-H", charted=b"any").outcome.result is Result.MISSING
    assert judged("R", "G-H", OL, charted=b"any").outcome.result is Result.PASS
    found = judged("R", "G-H", LOW, charted=b"any")
    assert found.outcome.result is Result.FAIL
    assert (found.expectation.kind.value, found.charted.kind.value) == ("open", "any")


def test_the_sheet_counts_and_names_what_is_against_it() -> None:
    family = read_family(CHART % b"open", "chart.csv")

    def verdict(*readings: Reading) -> tuple[SheetVerdict, tuple[str, ...]]:
        found = judge_sheet(family, readings, METER)
        return found.verdict, found.reasons

    rows: dict[tuple[str, str], tuple[Value, ...]] = {
        ("G", "H"): (LOW, OL, LOW, OL),
        ("A", "E"): (LOW, OL, OL, LOW),
    }
    good = [
        Reading(position, pair, value)
        for pair, row in rows.items()
        for position, value in zip("PRND", row, strict=True)
    ]
    assert verdict(*good) == (SheetVerdict.PASS, ("all 8 cells pass.",))
    assert verdict(*good[1:]) == (SheetVerdict.INCOMPLETE, ("1 cell not read yet: G-H in P.",))
    assert verdict(*good[2:]) == (
        SheetVerdict.INCOMPLETE,
        ("2 cells not read yet: G-H in P, G-H in R.",),
    )
    bad = Reading("P", ("G", "H"), OL)
    assert verdict(bad, *good[1:]) == (SheetVerdict.FAIL, ("1 cell against the chart: G-H in P.",))
    near = Reading("R", ("G", "H"), NEAR)
    assert verdict(good[0], near, *good[2:]) == (
        SheetVerdict.UNDECIDED,
        ("1 cell undecided: G-H in R.",),
    )
    leaned = Reading("R", ("G", "H"), LOW, lean="P")
    assert verdict(leaned, *good)[0] is SheetVerdict.PASS


@pytest.mark.parametrize(
    ("values", "deciding"),
    [
        ((LOW,), 0),
        ((LOW, OL), 1),
        ((OL, LOW, LOW), 0),
        ((MARK_OPEN, LOW, OL), 0),
        ((MARK_CLOSED, OL, LOW), 1),
    ],
)
def test_the_reading_that_decides_is_told(values: tuple[Value, ...], deciding: int) -> None:
    """A-E in P is charted closed: the first of the worst."""
    cell = judged("P", "A-E", *values)
    assert cell.deciding == deciding
    assert cell.decided_by is cell.readings[deciding]
    assert len(cell.each) == len(values)
    assert cell.each[deciding].result.value in ("fail", cell.outcome.result.value)


def test_nothing_decides_what_was_not_read() -> None:
    assert judged("P", "A-E").decided_by is None
