"""What a meter says, in every spelling that people and displays have for it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.reading.value import (
    Mark,
    Measured,
    OverRange,
    Value,
    format_value,
    parse_value,
)


@pytest.mark.parametrize(
    "text", ["c", "C", "cl", "closed", " Closed ", "close", "shut", "short", "beep", "continuity"]
)
def test_spellings_of_closed(text: str) -> None:
    assert parse_value(text) is Mark.CLOSED


@pytest.mark.parametrize(
    "text", ["o", "O", "op", "open", "OPEN", "none", "no  continuity", "no beep"]
)
def test_spellings_of_open(text: str) -> None:
    assert parse_value(text) is Mark.OPEN


@pytest.mark.parametrize(
    "text",
    [
        *("OL", "ol", "0L", "0l", "O.L", "0.L", ".OL", ".0L", "OVLD", "ovl", "overload"),
        *("over", "over range", "over-range", "inf", "INF", "infinite", "infinity", "∞", ">"),
        *("OL MΩ", "0L kohm", "inf ohm"),
    ],
)
def test_spellings_of_over_range(text: str) -> None:
    assert parse_value(text) == OverRange()


@pytest.mark.parametrize("text", ["> 40 Mohm", ">40M", "over 40 MΩ", "above 40 Meg", "> 40000 k"])
def test_over_range_may_tell_the_range(text: str) -> None:
    assert parse_value(text) == OverRange(40e6)


@pytest.mark.parametrize(
    ("text", "ohm", "step_ohm"),
    [
        ("0", 0.0, 1.0),
        ("0.0", 0.0, 0.1),
        ("-0.0", 0.0, 0.1),
        ("-0.1", -0.1, 0.1),
        ("\N{MINUS SIGN}0,1", -0.1, 0.1),
        (".3", 0.3, 0.1),
        ("0,3", 0.3, 0.1),
        ("0.30", 0.3, 0.01),
        ("1.2k", 1200.0, 100.0),
        ("1k2", 1200.0, 100.0),
        ("30 mΩ", 0.03, 0.001),
        ("4.7 Mohm", 4.7e6, 1e5),
    ],
)
def test_a_number_keeps_the_step_of_its_last_digit(text: str, ohm: float, step_ohm: float) -> None:
    assert parse_value(text) == Measured(ohm, step_ohm)


def test_a_bare_number_takes_its_unit_from_beside_it() -> None:
    assert parse_value("1.2", "kohm") == Measured(1200.0, 100.0)
    assert parse_value("> 40", "Mohm") == OverRange(40e6)
    assert parse_value("OL", "Mohm") == OverRange()
    assert parse_value("closed", "ohm") is Mark.CLOSED


RIGHT = "is no reading; type c or closed, o or open, OL, or ohms such as 0.3 or 1.2k"


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        ("?", "", RIGHT),
        ("-", "", RIGHT),
        ("n/a", "", RIGHT),
        ("nan", "", RIGHT),
        ("1..2", "", RIGHT),
        ("<0.1", "", RIGHT),
        ("5 V", "", RIGHT),
        ("390 ohm ±5%", "", RIGHT),
        ("2026-01-02 00:00:00", "", RIGHT),
        ("1,200", "", "could be 1.200 or 1200; type one of these"),
        ("1e-400", "", "has more decimals than any meter shows; round it"),
        ("0e500", "", "is more ohms than any meter reads; check the digits and the unit"),
        ("2e13", "", "is more ohms than any meter reads; check the digits and the unit"),
        ("> 0", "", "is over-range of no range; type OL, or '> 40 Mohm'"),
        ("0.3", "volt", "has the unit 'volt', no unit of resistance; type ohm, kohm or Mohm"),
        ("0.3 ohm", "ohm", "has a unit, and the unit column says 'ohm' too; give it once"),
        ("1k2", "k", "has a unit, and the unit column says 'k' too; give it once"),
    ],
)
def test_what_is_no_reading_is_refused_in_one_sentence(text: str, unit: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_value(text, unit)


# On a dial meter that shows 0 for closed and 1 for over-range both are marks: common
# practice, no source.
DIAL = {"0": "closed", "1": "open"}


def test_on_a_declared_dial_0_and_1_are_marks_and_else_numbers() -> None:
    assert parse_value("0", marks=DIAL) is Mark.CLOSED
    assert parse_value(" 1 ", marks=DIAL) is Mark.OPEN
    assert parse_value("0") == Measured(0.0, 1.0)
    assert parse_value("1") == Measured(1.0, 1.0)


@pytest.mark.parametrize("text", ["0.0", "1.0", "1 ohm", "10", "01"])
def test_on_a_declared_dial_other_numbers_stay_numbers(text: str) -> None:
    assert isinstance(parse_value(text, marks=DIAL), Measured)


def test_a_mark_with_a_unit_beside_it_is_ambiguous() -> None:
    sentence = (
        "with a unit could be a number or this meter's mark for open; "
        "type open, or '1 ohm' and no unit beside it"
    )
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_value("1", "ohm", DIAL)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Mark.CLOSED, "closed"),
        (Mark.OPEN, "open"),
        (OverRange(), "OL"),
        (OverRange(40e6), "> 40000000 ohm"),
        (OverRange(0.25), "> 0.25 ohm"),
        (Measured(0.3, 0.1), "0.3"),
        (Measured(0.3, 0.01), "0.30"),
        (Measured(1200.0, 100.0), "1.2k"),
        (Measured(1200.0, 1.0), "1200"),
    ],
)
def test_a_value_is_shown_as_a_person_would_type_it(value: Value, text: str) -> None:
    assert format_value(value) == text
    assert parse_value(text) == value


@given(
    st.text(st.sampled_from("0123456789.,-+eE>oOcClLkKmMΩ inf"), max_size=12),
    st.sampled_from(["", "ohm", "k", "Mohm", "V"]),
    st.sampled_from([{}, DIAL]),
)
def test_whatever_is_read_comes_back(text: str, unit: str, marks: dict[str, str]) -> None:
    try:
        value = parse_value(text, unit, marks)
    except ValueError as error:
        sentence = str(error)
    else:
        assert parse_value(format_value(value)) == value
        sentence = ""
    assert "\n" not in sentence
    assert not sentence.endswith(".")
