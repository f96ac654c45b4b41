"""Resistances as people type them, and back."""

import re
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from benchproof.family.ohms import (
    LEAST_STEP_OHM,
    MOST_OHM,
    NotOhms,
    Quantity,
    format_exact,
    format_ohms,
    is_unit,
    parse_ohms,
)


@pytest.mark.parametrize(
    ("text", "ohm", "step_ohm"),
    [
        ("390", 390.0, 1.0),
        (" 390 ", 390.0, 1.0),
        ("390.0", 390.0, 0.1),
        (".3", 0.3, 0.1),
        ("0,3", 0.3, 0.1),
        (",3", 0.3, 0.1),
        ("+5", 5.0, 1.0),
        ("1.2k", 1200.0, 100.0),
        ("1.20 k", 1200.0, 10.0),
        ("3.3 kohm", 3300.0, 100.0),
        ("3,3 kΩ", 3300.0, 100.0),
        ("3.3 kilohm", 3300.0, 100.0),
        ("3.3 kilo ohms", 3300.0, 100.0),
        ("390R", 390.0, 1.0),
        ("390 Ohms", 390.0, 1.0),
        ("30 m\N{GREEK CAPITAL LETTER OMEGA}", 0.03, 0.001),
        ("30 m\N{OHM SIGN}", 0.03, 0.001),
        ("30 milliohm", 0.03, 0.001),
        ("2e3", 2000.0, 1000.0),
        ("0.000", 0.0, 0.001),
        ("0,300", 0.3, 0.001),
        ("1.200", 1.2, 0.001),
    ],
)
def test_a_resistance_is_read_as_typed(text: str, ohm: float, step_ohm: float) -> None:
    read = parse_ohms(text)
    assert (read.ohm, read.step_ohm) == (ohm, step_ohm)


@pytest.mark.parametrize("text", ["1 M", "1M", "1 Mohm", "1 MΩ", "1 Meg", "1 MEG", "1 megohm"])
def test_a_capital_m_is_mega(text: str) -> None:
    assert parse_ohms(text).ohm == 1e6


@pytest.mark.parametrize("text", ["1 m", "1m", "1 mohm", "1 mΩ", "1 mOhm", "1 MILLIOHM"])
def test_a_small_m_is_milli(text: str) -> None:
    assert parse_ohms(text).ohm == 1e-3


@pytest.mark.parametrize(
    ("text", "ohm"),
    # IEC 60062; from memory.
    [("4R7", 4.7), ("1k2", 1200.0), ("1K2", 1200.0), ("2M2", 2.2e6), ("0R33", 0.33), ("1G0", 1e9)],
)
def test_the_letter_stands_for_the_decimal_point(text: str, ohm: float) -> None:
    for typed in (text, f"{text} ohm", f"{text}Ω"):
        assert parse_ohms(typed).ohm == ohm
        assert parse_ohms(typed).has_unit


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "abc", "nan", "NaN", "inf", "1 2", "1/2", "5 V", "0x10", "1_000", "--5"),
        # Could as well be the name of a resistor.
        *("R47", "R1"),
    ],
)
def test_what_is_no_resistance_is_told_apart(text: str) -> None:
    with pytest.raises(NotOhms, match=r"is no resistance; type such as 390"):
        parse_ohms(text)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("1,200", "could be 1.200 or 1200; type one of these"),
        ("12,500", "could be 12.500 or 12500; type one of these"),
        ("-1,200", "could be -1.200 or -1200; type one of these"),
        ("1,200 k", "could be 1.200k or 1200k; type one of these"),
        ("2e13", "is more ohms than any meter reads; check the digits and the unit"),
        ("11 Tohm", "is no resistance; type such as 390, 0.3, 1.2k or 3.3 kohm"),
        ("20000 G", "is more ohms than any meter reads; check the digits and the unit"),
        ("1e999", "is more ohms than any meter reads; check the digits and the unit"),
        ("0e500", "is more ohms than any meter reads; check the digits and the unit"),
        ("9" * 5000, "is more ohms than any meter reads; check the digits and the unit"),
        ("1e-300", "has more decimals than any meter shows; round it"),
        ("0." + "3" * 40, "has more decimals than any meter shows; round it"),
    ],
)
def test_a_wrong_resistance_is_refused_in_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_ohms(text)


def test_below_zero_is_left_to_the_reader_of_readings() -> None:
    assert parse_ohms("-0.3").ohm == -0.3
    assert parse_ohms("\N{MINUS SIGN}0.3").ohm == -0.3


def test_a_unit_is_taken_only_where_none_was_typed() -> None:
    assert parse_ohms("1.2", "kohm") == Quantity(1200.0, 100.0, has_unit=False)
    assert parse_ohms("1.2 ohm", "kohm") == Quantity(1.2, 0.1, has_unit=True)


@pytest.mark.parametrize("text", ["ohm", "Ω", "\N{OHM SIGN}", "R", "k", "kohm", " MΩ ", "m ohm"])
def test_units_of_resistance_are_known(text: str) -> None:
    assert is_unit(text)


@pytest.mark.parametrize("text", ["", "V", "volt", "%", "kk", "ohm ohm", "kilo meter"])
def test_other_units_are_not(text: str) -> None:
    assert not is_unit(text)


@pytest.mark.parametrize(
    ("ohm", "text"),
    [
        (0.0, "0 ohm"),
        (0.05, "0.05 ohm"),
        (390.0, "390 ohm"),
        (999.94, "999.9 ohm"),
        (999.96, "1 kohm"),
        (3300.0, "3.3 kohm"),
        (4.7e6, "4.7 Mohm"),
        (2e9, "2 Gohm"),
        (1e-7, "0.0000001 ohm"),
        (float("inf"), "open"),
    ],
)
def test_a_resistance_is_told_in_the_unit_a_person_would_use(ohm: float, text: str) -> None:
    assert format_ohms(ohm) == text


@given(st.floats(0.0, MOST_OHM))
@example(999.9949999999999)
@example(5e-324)
def test_what_is_told_is_the_value_to_four_digits(ohm: float) -> None:
    told = format_ohms(ohm)
    number, unit = told.split()
    factor = {"ohm": 1, "kohm": 1_000, "Mohm": 1_000_000, "Gohm": 1_000_000_000}[unit]
    assert float(number) * factor == pytest.approx(ohm, rel=5.01e-4, abs=0.0)
    assert 1.0 <= float(number) < 1000.0 or unit in ("ohm", "Gohm")


@st.composite
def quantities(draw: st.DrawFn) -> Quantity:
    exponent = draw(st.integers(-18, 13))
    step_ohm = float(Decimal(1).scaleb(exponent))
    # A float holds 15 digits for sure.
    count = draw(st.integers(0, min(10**15, 10 ** (13 - exponent))))
    return Quantity(float(Decimal(count).scaleb(exponent)), step_ohm)


@given(quantities())
@example(Quantity(0.0, LEAST_STEP_OHM))
@example(Quantity(1e13, LEAST_STEP_OHM))
@example(Quantity(1e13, 1e13))
@example(Quantity(0.1 + 0.2, 1e-17))
@example(Quantity(1.0, 1e-18))
def test_a_number_comes_back_with_its_digits(typed: Quantity) -> None:
    back = parse_ohms(format_exact(typed.ohm, typed.step_ohm))
    assert (back.ohm, back.step_ohm) == (typed.ohm, typed.step_ohm)


@given(st.text(st.sampled_from("0123456789.,eE+-kKmMGRΩ ohm"), max_size=12))
def test_whatever_is_read_comes_back(text: str) -> None:
    try:
        read = parse_ohms(text)
    except ValueError:
        return
    back = parse_ohms(format_exact(read.ohm, read.step_ohm))
    assert (back.ohm, back.step_ohm) == (read.ohm, read.step_ohm)
