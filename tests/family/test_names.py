"""Positions, pins, pairs and roles as people type them."""

import re

import pytest

from benchproof.family.model import Role
from benchproof.family.names import (
    check_name,
    check_pin_name,
    match_name,
    match_pair,
    parse_role,
    split_pair,
)
from benchproof.family.problems import BadFile, Problems
from benchproof.family.sentence import did_you_mean, quoted


@pytest.mark.parametrize(
    "text",
    [
        *("A-B", " A - B ", "A–B", "A—B", "A\N{NON-BREAKING HYPHEN}B", "A\N{MINUS SIGN}B"),
        *("A/B", "A:B", "A B", "A to B", "A TO B", "A and B", "A & B", "A+B", "A,B", "A;B"),
    ],
)
def test_two_pins_are_parted_by_whatever_people_type(text: str) -> None:
    assert split_pair(text) == ("A", "B")


@pytest.mark.parametrize("text", ["A-case", "A-Case", "A to CASE"])
def test_the_case_is_a_pin_in_capitals_or_not(text: str) -> None:
    assert split_pair(text) == ("A", "case")


def test_small_letters_are_other_pins_than_capitals() -> None:
    assert split_pair("A-a") == ("A", "a")


@pytest.mark.parametrize("text", ["", "A", "AB", "A-", "A-B-C", "-"])
def test_a_pair_is_two_pins(text: str) -> None:
    with pytest.raises(ValueError, match="is not a pair of pins; type two pins such as A-B"):
        split_pair(text)


@pytest.mark.parametrize(
    "text", ["2026-01-02", "2026-01-02 00:00:00", "01:02:00", "02-Jan", "2.Jan", "Jan-02"]
)
def test_a_pair_that_became_a_date_is_recognised(text: str) -> None:
    with pytest.raises(ValueError, match="is a date that a spreadsheet made of two pins"):
        split_pair(text)


@pytest.mark.parametrize("text", ["1-2", "1:2", "12-31", "1/2", "J-1", "MAR-A"])
def test_a_pair_that_is_no_date_is_a_pair(text: str) -> None:
    assert len(split_pair(text)) == 2


def test_a_pin_is_matched_whatever_its_case_if_there_is_one() -> None:
    assert match_name(" a ", ["A", "B"], "pin") == "A"
    assert match_name("a", ["A", "a"], "pin") == "a"
    with pytest.raises(ValueError, match=r"'b' is no pin of this family; known are A, B, Bb, bB"):
        match_name("b", ["A", "B", "B", "Bb", "bB"], "pin")


def test_an_unknown_name_is_told_with_the_nearest_one() -> None:
    sentence = "'Neutrl' is no position of this family; did you mean 'Neutral'?"
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        match_name("Neutrl", ["Park", "Neutral"], "position")


def test_a_missing_name_is_told_as_missing() -> None:
    sentence = "names no position; known are P, R."
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        match_name(" ", ["P", "R"], "position")


def test_a_pair_of_one_pin_typed_two_ways_is_refused() -> None:
    sentence = "'A-a' names A twice; a pair is two different pins"
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        match_pair("A-a", ["A", "B"])


@pytest.mark.parametrize("name", ["P", "D 4", "2", "Ä", "1st", "N/A", "x" * 40])
def test_good_names_of_positions(name: str) -> None:
    assert check_name(name) == name


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("", "is empty; give it a name"),
        ("  ", "is empty; give it a name"),
        (" P", "has blanks around it or characters that do not print; type it again"),
        ("P\n", "has blanks around it or characters that do not print; type it again"),
        ("P\x1b[2J", "has blanks around it or characters that do not print; type it again"),
        ("x" * 41, "is longer than 40 letters; shorten it"),
        ("#1", "begins with #, which marks a comment; begin it otherwise"),
    ],
)
def test_names_that_no_table_can_hold_are_refused(name: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        check_name(name)


@pytest.mark.parametrize("name", ["A-1", "A 1", "A/1", "to", "A+"])
def test_pin_names_that_no_pair_can_name_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="has in it what parts the pins of a pair"):
        check_pin_name(name)


@pytest.mark.parametrize("name", ["case", "Case", "CASE"])
def test_no_pin_may_take_the_name_of_the_case(name: str) -> None:
    with pytest.raises(ValueError, match="is the housing's own name"):
        check_pin_name(name)


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("", Role.UNTOLD),
        ("none", Role.OTHER),
        ("range bit", Role.RANGE_BIT),
        ("Range-Bit 2", Role.RANGE_BIT),
        ("bit A", Role.RANGE_BIT),
        ("range", Role.RANGE_BIT),
        ("range level", Role.RANGE_LEVEL),
        ("starter", Role.START_PERMIT),
        ("START  PERMIT", Role.START_PERMIT),
        ("backup lamp", Role.REVERSE_LAMP),
        ("other", Role.OTHER),
    ],
)
def test_roles_as_people_type_them(text: str, role: Role) -> None:
    assert parse_role(text) is role


def test_a_mistyped_role_is_never_dropped() -> None:
    sentence = "'strt permit' is no role; did you mean 'start permit'? Or leave it empty."
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_role("strt permit")


def test_a_hint_lists_no_more_names_than_a_person_reads() -> None:
    hint = did_you_mean("x", [f"pin{n}" for n in range(200)])
    assert hint.startswith("known are pin0, pin1, ")
    assert hint.endswith("pin39 and 160 more.")


def test_a_quoted_text_is_short_and_safe_to_show() -> None:
    assert quoted("a\x1b[31mb\nc") == "'a [31mb c'"
    assert quoted("x" * 100) == "'" + "x" * 39 + "…'"


def test_problems_are_told_in_file_order_each_ended_and_on_one_line() -> None:
    problems = Problems("f.csv")
    problems.add("cell B10", "is wrong")
    problems.add("line 2 column 30", "is wrong\ntoo.")
    problems.add("", "is short; did you mean it?")
    with pytest.raises(BadFile) as refused:
        problems.raise_if_any()
    assert str(refused.value).splitlines() == [
        "f.csv: is short; did you mean it?",
        "f.csv, line 2 column 30: is wrong too.",
        "f.csv, cell B10: is wrong.",
    ]


def test_a_flood_of_problems_is_cut_and_counted() -> None:
    problems = Problems("f.csv")
    for number in range(99):
        problems.add(f"line {number}", "is wrong")
    with pytest.raises(BadFile) as refused:
        problems.raise_if_any()
    lines = str(refused.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "f.csv: and 79 more problems like these."
    with pytest.raises(BadFile, match=r"\nf.csv: and many more problems like these.$"):
        problems.add("line 100", "is wrong")
