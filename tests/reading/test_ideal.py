"""What a meter would show of a healthy part."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.ohms import parse_ohms
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.reading.ideal import ideal_readings, shown
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Measured, OverRange, Value, format_value
from benchproof.shipped.read import shipped_family

HANDHELD = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0), Range(4000.0, 1.0, 1.0, 3.0)))
LEADS_LEFT = Meter("invented", HANDHELD.ranges, Leads(0.25, nulled=False))


@pytest.mark.parametrize(
    ("ohm", "value"),
    [
        (0.0, Measured(0.0, 0.1)),
        (0.04, Measured(0.0, 0.1)),
        (0.06, Measured(0.1, 0.1)),
        (270.04, Measured(270.0, 0.1)),
        (399.99, Measured(400.0, 0.1)),
        (400.04, Measured(400.0, 1.0)),
        (3999.6, Measured(4000.0, 1.0)),
        (4000.0, Measured(4000.0, 1.0)),
        (4000.1, OverRange()),
        (inf, OverRange()),
    ],
)
def test_a_display_rounds_to_its_last_digit_and_gives_up_above_its_top(
    ohm: float, value: Value
) -> None:
    assert shown(ohm, HANDHELD) == value


def test_leads_that_are_not_nulled_are_shown_too() -> None:
    assert shown(0.05, LEADS_LEFT) == Measured(0.3, 0.1)
    assert shown(3999.9, LEADS_LEFT) == OverRange()
    assert shown(3999.7, LEADS_LEFT) == Measured(4000.0, 1.0)


@given(st.floats(0.0, 4000.0))
def test_what_is_shown_is_within_half_a_step_and_can_be_typed(ohm: float) -> None:
    value = shown(ohm, HANDHELD)
    assert isinstance(value, Measured)
    assert abs(value.ohm - ohm) <= value.step_ohm / 2.0 * (1.0 + 1e-9)
    typed = parse_ohms(format_value(value))
    assert (typed.ohm, typed.step_ohm) == (value.ohm, value.step_ohm)


VALLEY = shipped_family("valley-coded-7")


def test_every_cell_of_the_chart_is_read_once_position_by_position() -> None:
    read = ideal_readings(VALLEY, HANDHELD)
    expected = [(position, row.pair) for position in VALLEY.positions for row in VALLEY.chart]
    assert [(reading.position, reading.pair) for reading in read] == expected


def test_a_healthy_part_reads_what_its_chart_says() -> None:
    cells = {
        (position, row.pair): expectation
        for row in VALLEY.chart
        for position, expectation in zip(VALLEY.positions, row.expect, strict=True)
    }
    for reading in ideal_readings(VALLEY, HANDHELD):
        low, high = cells[reading.position, reading.pair].bounds(VALLEY.limits)
        match reading.value:
            case Measured(ohm):
                assert low <= ohm <= high
            case _:
                assert (reading.value, high) == (OverRange(), inf)


def test_a_part_out_of_line_reads_otherwise() -> None:
    # Reverse is closed from 19 to 27 degrees and its detent is at 23.
    def reverse(offset_deg: float) -> Value:
        read = ideal_readings(VALLEY, HANDHELD, offset_deg)
        (value,) = [r.value for r in read if (r.position, r.pair) == ("R", ("J", "K"))]
        return value

    assert reverse(0.0) in (Measured(0.0, 0.1), Measured(0.1, 0.1))
    assert reverse(3.9) == reverse(-3.9) == reverse(0.0)
    assert reverse(4.1) == reverse(-4.1) == OverRange()


def test_a_chart_alone_gives_no_readings() -> None:
    chart_only = read_family(b"pins,P\nA-B,closed\n", "c.csv")
    with pytest.raises(ValueError, match="has no branches to compute readings from"):
        ideal_readings(chart_only, HANDHELD)


def test_an_offset_needs_detents() -> None:
    text = b"""
name = "invented"
positions = ["P", "R"]
pins = ["A", "B"]
[[chart]]
pair = "A-B"
[[branches]]
kind = "contact"
between = "A-B"
closed_in = ["P"]
"""
    part = completed(read_family(text, "f.toml"))
    assert [reading.value for reading in ideal_readings(part, LEADS_LEFT)] == [
        Measured(0.3, 0.1),
        OverRange(),
    ]
    with pytest.raises(ValueError, match="tells no detent angles"):
        ideal_readings(part, LEADS_LEFT, 1.0)
