"""What a chart cell asks for, in every form that people type."""

import re
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.expectation import (
    ANY,
    CLOSED,
    OPEN,
    Expectation,
    FamilyLimits,
    Kind,
    parse_expectation,
)

LIMITS = FamilyLimits(closed_at_most_ohm=5.0, open_at_least_ohm=20_000.0, tolerance_percent=10.0)


@pytest.mark.parametrize(
    "text", ["closed", "Closed", " CLOSED ", "c", "cl", "shut", "continuity", "on", "yes"]
)
def test_words_for_closed(text: str) -> None:
    assert parse_expectation(text) == CLOSED
    assert parse_expectation(text).bounds(LIMITS) == (0.0, 5.0)


@pytest.mark.parametrize("text", ["open", "O", "off", "no", "OL", "no  continuity", "inf", "∞"])
def test_words_for_open(text: str) -> None:
    assert parse_expectation(text) == OPEN
    assert parse_expectation(text).bounds(LIMITS) == (20_000.0, inf)


@pytest.mark.parametrize("text", ["any", "*", "Don't care"])
def test_words_for_anything(text: str) -> None:
    assert parse_expectation(text) == ANY
    assert parse_expectation(text).bounds(LIMITS) == (0.0, inf)


@pytest.mark.parametrize(
    ("text", "nominal_ohm", "low_ohm", "high_ohm"),
    [
        ("390 ohm", 390.0, 351.0, 429.0),
        ("390", 390.0, 351.0, 429.0),
        ("3,3 kΩ", 3300.0, 2970.0, 3630.0),
        ("4R7", 4.7, 4.23, 5.17),
        ("0.5 ohm", 0.5, 0.45, 0.55),
        ("390 ohm ±5%", 390.0, 370.5, 409.5),
        ("390 +-5%", 390.0, 370.5, 409.5),
        ("390 ohm +/- 5 %", 390.0, 370.5, 409.5),
        ("390 ohm + - 5%", 390.0, 370.5, 409.5),
        ("390 ohm ±20 ohm", 390.0, 370.0, 410.0),
        ("10k ±1k", 10_000.0, 9_000.0, 11_000.0),
        ("4k7 ±10%", 4700.0, 4230.0, 5170.0),
        ("3.3 kohm 3.1..3.5", 3300.0, 3100.0, 3500.0),
        ("3,3 kohm 3,1..3,5", 3300.0, 3100.0, 3500.0),
        ("3.3 kohm (3.1 to 3.5)", 3300.0, 3100.0, 3500.0),
        ("3.3 kohm, 3.1..3.5 kohm", 3300.0, 3100.0, 3500.0),
        ("3.3 3.1..3.5 kohm", 3300.0, 3100.0, 3500.0),
        ("1 kohm 900 ohm..1.1 kohm", 1000.0, 900.0, 1100.0),
        ("3k3 3k1..3k5", 3300.0, 3100.0, 3500.0),
    ],
)
def test_a_resistance_with_and_without_limits_of_its_own(
    text: str, nominal_ohm: float, low_ohm: float, high_ohm: float
) -> None:
    read = parse_expectation(text)
    assert (read.kind, read.nominal_ohm) == (Kind.OHMS, nominal_ohm)
    assert read.bounds(LIMITS) == pytest.approx((low_ohm, high_ohm))
    assert read.conducts
    assert str(read) == text


@pytest.mark.parametrize(
    "text",
    [
        *("3.1..3.5 kohm", "3.1-3.5 kohm", "3.1 – 3.5 kohm", "3.1 to 3.5 kohm", "3,1..3,5 kohm"),
        *("3.1 kohm...3.5 kohm", "3.1 kohm..3.5", "3100..3500", "3k1-3k5", "3,1-3,5k"),
    ],
)
def test_a_span_gives_its_unit_once(text: str) -> None:
    read = parse_expectation(text)
    assert (read.kind, read.nominal_ohm) == (Kind.OHMS, None)
    assert read.bounds(LIMITS) == (3100.0, 3500.0)


@pytest.mark.parametrize("text", ["< 0.5 ohm", "<0.5", "≤ 0,5 Ω", "max 0.5", "less than 0.5 ohm"])
def test_closed_with_a_limit_of_its_own(text: str) -> None:
    read = parse_expectation(text)
    assert (read.kind, read.bounds(LIMITS)) == (Kind.CLOSED, (0.0, 0.5))
    assert read.conducts


@pytest.mark.parametrize(
    "text", ["> 100 kohm", ">=100k", "≥ 100 kΩ", "min. 100k", "over 100 kohm", "more than 100k"]
)
def test_open_with_a_limit_of_its_own(text: str) -> None:
    read = parse_expectation(text)
    assert (read.kind, read.bounds(LIMITS)) == (Kind.OPEN, (100_000.0, inf))
    assert not read.conducts


RIGHT = "type closed, open, any, or ohms such as '390 ohm', '390 ohm ±5%' or '3.3 kohm 3.1..3.5'"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", f"is empty; {RIGHT}"),
        ("  ", f"is empty; {RIGHT}"),
        ("closd", f"is no expectation; {RIGHT}"),
        ("390 ohm 5%", f"is no expectation; {RIGHT}"),
        ("nan", f"is no expectation; {RIGHT}"),
        ("nan ohm", f"is no expectation; {RIGHT}"),
        ("about 390", f"is no expectation; {RIGHT}"),
        ("0", "is zero ohms; type closed"),
        ("0 ohm", "is zero ohms; type closed"),
        ("1", "could be a mark or a number; type closed, open, or '1 ohm'"),
        ("0,3", "could be a mark or a number; type closed, open, or '0,3 ohm'"),
        ("-5 ohm", "is negative; ohms are never below zero"),
        ("390 ohm ±-5%", "is negative; ohms are never below zero"),
        ("390 ohm ±5", "has a tolerance without a unit; type such as ±5% or ±20 ohm"),
        (
            "390 ohm ±100%",
            "has a tolerance as large as the value itself; check both numbers and their units",
        ),
        ("1,200 ohm", "could be 1.200 or 1200; type one of these"),
        ("1e999 ohm", "is more ohms than any meter reads; check the digits and the unit"),
        ("> 1e-300", "has more decimals than any meter shows; round it"),
    ],
)
def test_what_is_no_expectation_is_refused_in_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_expectation(text)


def test_limits_that_cross_are_read_as_typed_and_left_to_the_audit() -> None:
    assert parse_expectation("3.5..3.1 kohm").bounds(LIMITS) == (3500.0, 3100.0)


def test_equal_expectations_may_be_typed_differently() -> None:
    assert parse_expectation("3.3 kohm") == parse_expectation("3300 ohm")
    assert str(parse_expectation("3300  ohm")) == "3300 ohm"


def test_an_expectation_made_by_the_program_tells_its_kind() -> None:
    assert str(Expectation(Kind.CLOSED)) == "closed"


@given(st.text(st.sampled_from("0123456789.,kKMmGRΩohm%±+-/<>()[] to…–"), max_size=20))
def test_any_text_is_an_expectation_or_one_sentence(text: str) -> None:
    try:
        read = parse_expectation(text)
    except ValueError as error:
        sentence = str(error)
    else:
        sentence = ""
    if sentence:
        assert re.fullmatch(r"[^\n;]+; [^\n]+[^.]", sentence)
        return
    assert min(read.bounds(LIMITS)) >= 0.0
    assert parse_expectation(str(read)) == read
