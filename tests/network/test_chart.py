"""The chart that the branches make, and the shipped families held against theirs."""

from dataclasses import replace

import numpy as np
import pytest

from benchproof.family.audit.finding import Severity
from benchproof.family.expectation import (
    ANY,
    CLOSED,
    OPEN,
    Expectation,
    FamilyLimits,
    Kind,
    parse_expectation,
)
from benchproof.family.model import ChartRow, Family, Pin, Role
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement, SheetVerdict, judge_sheet
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.chart import completed, disagreements
from benchproof.network.files import read_family
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.meter import Meter
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import lever_families, shipped_meter

# A small invented part ------------------------------------------------------------------------


def invented(*chart: ChartRow) -> Family:
    """Return an invented part: a contact, a contact behind a resistor, and nothing at C."""
    return Family(
        name="invented",
        positions=("P", "R", "N"),
        pins=tuple(Pin(name) for name in "ABCE"),
        chart=chart,
        limits=FamilyLimits(
            closed_at_most_ohm=2.0, open_at_least_ohm=10_000.0, tolerance_percent=10.0
        ),
        inner=("n1",),
        branches=(
            Contact(("A", "E"), closed_in=("P", "N")),
            Contact(("B", "n1"), closed_in=("R",), open_ohm=50_000.0),
            Resistor(("n1", "E"), 270.0),
        ),
    )


def test_completed_fills_in_rows_left_out() -> None:
    family = completed(invented(ChartRow(("A", "E"), ()), ChartRow(("B", "E"), ())))
    bit, level = (row.expect for row in family.chart)
    assert bit == (CLOSED, OPEN, CLOSED)
    assert [expect.kind for expect in level] == [Kind.OPEN, Kind.OHMS, Kind.OPEN]
    assert level[1].nominal_ohm == pytest.approx(270.05, rel=1e-14)
    assert str(level[1]) == "270 ohm"
    assert level[1].bounds(family.limits) == pytest.approx((243.045, 297.055))


def test_completed_keeps_rows_that_are_charted() -> None:
    charted = ChartRow(("A", "E"), (ANY, OPEN, CLOSED), Role.RANGE_BIT, "line 7")
    left_out = ChartRow(("C", "E"), (), Role.OTHER, "line 9")
    family = completed(invented(charted, left_out))
    assert family.chart[0] is charted
    assert family.chart[1] == replace(left_out, expect=(OPEN, OPEN, OPEN))
    assert family.chart[1].place == "line 9"
    assert replace(family, chart=()) == invented()


def test_completed_returns_a_full_chart_as_it_is() -> None:
    family = invented(ChartRow(("A", "E"), (CLOSED, OPEN, CLOSED)))
    assert completed(family) is family


def test_completed_calls_closed_and_open_at_the_limits_themselves() -> None:
    family = invented(ChartRow(("A", "E"), ()))
    exactly = (Contact(("A", "E"), closed_in=("P",), closed_ohm=2.0, open_ohm=2.0**14),)
    limits = FamilyLimits(closed_at_most_ohm=2.0, open_at_least_ohm=2.0**14)
    family = completed(replace(family, branches=exactly, limits=limits))
    assert family.chart[0].expect == (CLOSED, OPEN, OPEN)


def test_a_completed_chart_agrees_with_its_branches() -> None:
    pairs = [("A", "E"), ("B", "E"), ("A", "B"), ("C", "E"), ("E", "case")]
    assert disagreements(completed(invented(*(ChartRow(pair, ()) for pair in pairs)))) == ()


def test_nothing_is_compared_without_branches() -> None:
    family = replace(invented(ChartRow(("A", "E"), (OPEN, CLOSED, OPEN))), branches=())
    assert disagreements(family) == ()


def test_disagreement_names_the_cell_and_both_sides() -> None:
    wrong = (CLOSED, CLOSED, CLOSED)
    (finding,) = disagreements(invented(ChartRow(("A", "E"), wrong, place="line 12")))
    assert finding.rule == "chart-against-branches"
    assert finding.severity is Severity.ERROR
    assert finding.place == "line 12"
    assert finding.sentence == (
        "A-E in R is charted closed, but the branches make it open; one of the two is wrong."
    )


def test_disagreement_tells_ohms_that_are_out_of_their_limits() -> None:
    fits, too_low = parse_expectation("280 ohm ±5%"), parse_expectation("240 ohm ±5%")
    assert disagreements(invented(ChartRow(("B", "E"), (OPEN, fits, OPEN)))) == ()
    (finding,) = disagreements(invented(ChartRow(("B", "E"), (OPEN, too_low, OPEN))))
    assert finding.sentence == (
        "B-E in R is charted 240 ohm ±5%, but the branches make it 270 ohm; "
        "one of the two is wrong."
    )


def test_a_cell_where_anything_goes_never_disagrees() -> None:
    assert disagreements(invented(ChartRow(("A", "E"), (ANY, ANY, ANY)))) == ()


# The shipped families -------------------------------------------------------------------------


FAMILIES = {
    f"{name}.toml": read_family(shipped_bytes("families", name), f"{name}.toml")
    for name in lever_families()
}
every_family = pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES.keys())


def test_six_families_with_a_lever_are_shipped() -> None:
    assert len(FAMILIES) == 6


@every_family
def test_shipped_chart_agrees_with_its_branches(family: Family) -> None:
    assert family.branches
    assert all(row.expect for row in family.chart)
    assert disagreements(family) == ()


@every_family
def test_shipped_family_has_the_size_of_a_real_part(family: Family) -> None:
    # Common practice, no source.
    assert 6 <= len(family.positions) <= 9
    assert 8 <= len(family.pins) <= 12


@every_family
def test_shipped_detents_are_unequally_far_apart(family: Family) -> None:
    assert family.detents_deg is not None
    gaps_deg = np.diff(family.detents_deg)
    assert (gaps_deg > 0).all()
    assert len(set(gaps_deg.tolist())) > 1


@every_family
def test_completed_makes_the_same_kinds_as_the_shipped_chart(family: Family) -> None:
    emptied = replace(family, chart=tuple(replace(row, expect=()) for row in family.chart))
    for made, charted in zip(completed(emptied).chart, family.chart, strict=True):
        assert [e.kind for e in made.expect] == [e.kind for e in charted.expect]


def _the_opposite(expect: Expectation) -> Expectation:
    return OPEN if expect.conducts else CLOSED


@every_family
def test_each_wrong_cell_planted_in_a_shipped_chart_is_found(family: Family) -> None:
    for row_number, row in enumerate(family.chart):
        for number, position in enumerate(family.positions):
            expect = list(row.expect)
            expect[number] = _the_opposite(expect[number])
            chart = list(family.chart)
            chart[row_number] = replace(row, expect=tuple(expect))
            (finding,) = disagreements(replace(family, chart=tuple(chart)))
            assert finding.place == row.place
            assert finding.sentence.startswith(
                f"{row.pair[0]}-{row.pair[1]} in {position} is charted {expect[number]}, but "
            )


# Start and reverse go first -------------------------------------------------------------------
# Common practice, no source: they are the narrowest contacts, so a small offset opens them
# while the wide range tracks still read right. Every shipped family is made that way.

NARROW = (Role.START_PERMIT, Role.REVERSE_LAMP)


def meter() -> Meter:
    return shipped_meter("depot-bench")


def judged(family: Family, offset_deg: float) -> Judgement:
    return judge_sheet(family, ideal_readings(family, meter(), offset_deg), meter())


def first_failing(family: Family, direction: int) -> tuple[float, Judgement]:
    """Return the least offset with a failing cell, in steps of a quarter degree."""
    for step in range(1, 40):
        offset_deg = direction * step / 4
        judgement = judged(family, offset_deg)
        if judgement.verdict is not SheetVerdict.PASS:
            return offset_deg, judgement
    raise AssertionError(f"{family.name} passes up to ten degrees out of line")


@every_family
def test_a_part_in_line_passes(family: Family) -> None:
    judgement = judged(family, 0.0)
    assert judgement.verdict is SheetVerdict.PASS, judgement.reasons


@every_family
@pytest.mark.parametrize("direction", [-1, 1])
def test_under_a_small_offset_start_and_reverse_cells_go_first(
    family: Family, direction: int
) -> None:
    offset_deg, judgement = first_failing(family, direction)
    assert 3.0 <= abs(offset_deg) <= 6.0
    assert judgement.verdict is SheetVerdict.FAIL
    failed = {cell.name for cell in judgement.cells if cell.outcome.result is Result.FAIL}
    closed = {
        cell.name
        for cell in judgement.cells
        if cell.row.role in NARROW and cell.expectation.kind is Kind.CLOSED
    }
    # Park, neutral and reverse: all of them, and nothing else.
    assert len(closed) == 3
    assert failed == closed
    assert {cell.outcome.result for cell in judgement.cells if cell.name not in failed} == {
        Result.PASS
    }
