"""Bytes and text of SCPI; forms of numbers by IEEE 488.2, from memory."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.instrument.scpi import (
    MOST_LINE,
    Lines,
    NotScpi,
    parse_channel_list,
    parse_error,
    parse_identity,
    parse_number,
    parse_string,
    parse_switches,
    quoted_string,
    split_reply,
)

REPLY = b"+1.23400000E+02\r\n"


def test_a_line_whole_byte_by_byte_and_with_trailing_bytes() -> None:
    assert Lines().feed(REPLY) == ["+1.23400000E+02"]
    lines = Lines()
    assert [lines.feed(REPLY[n : n + 1]) for n in range(len(REPLY))][-1] == ["+1.23400000E+02"]
    lines = Lines()
    assert lines.feed(REPLY + b"12") == ["+1.23400000E+02"]
    assert lines.feed(b"3\n") == ["123"]


@pytest.mark.parametrize("length", range(len(REPLY)))
def test_a_reply_cut_short_is_no_line(length: int) -> None:
    assert Lines().feed(REPLY[:length]) == []


def test_a_line_without_end_is_refused_and_forgotten() -> None:
    lines = Lines()
    with pytest.raises(NotScpi):
        lines.feed(b"1" * (MOST_LINE + 1))
    assert lines.feed(b"2\n") == ["2"]


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", "12"),
        ("+12", "12"),
        ("-0.5", "-0.5"),
        ("+1.23400000E+02", "123.4"),
        ("9.9E37", "9.9E37"),
        (" 1e3 ", "1000"),
    ],
)
def test_numbers_in_the_forms_nr1_nr2_nr3(text: str, number: str) -> None:
    assert parse_number(text) == Decimal(number)


@pytest.mark.parametrize(
    "text",
    # What a line that drops bytes makes of +1.23E+02, and what int() and float() would take.
    [
        "",
        "+",
        "1.2E",
        "1.2E+",
        "1.",
        ".5",
        "E2",
        "1 2",
        "1_000",
        "nan",
        "inf",
        "0x10",
        "\uff11",
        "1,2",
    ],
)
def test_no_number(text: str) -> None:
    with pytest.raises(NotScpi):
        parse_number(text)


@given(st.text(alphabet='abE+-.0123456789;,"', max_size=12))
def test_what_is_taken_for_a_number_is_that_number(text: str) -> None:
    try:
        number = parse_number(text)
    except NotScpi:
        return
    assert float(number) == float(text)


def test_errors_as_instruments_send_them() -> None:
    # The standard's own examples of error -113 and of no error.
    assert parse_error('0,"No error"') == (0, "No error")
    assert parse_error('+0,"No error"') == (0, "No error")
    assert parse_error('-222,"Data ""out"" of range;x"') == (-222, 'Data "out" of range;x')
    for text in ("0", "0,No error", '0,"No error', "x"):
        with pytest.raises(NotScpi):
            parse_error(text)


def test_identity_of_four_fields_of_fewer_and_of_more() -> None:
    assert f"{parse_identity('invented works,M1,0,1.0')}" == "invented works, M1, 0, 1.0"
    assert parse_identity("board").maker == "board"
    assert parse_identity("a,b,c,d,e").firmware == "d,e"
    for text in ("", ",x", "a\\xff,b"):
        with pytest.raises(NotScpi):
            parse_identity(text)


def test_states_of_channels_are_as_many_as_were_asked_for() -> None:
    assert parse_switches("1, +0", 2) == (True, False)
    for text in ("1", "1,0,0", "1,2", "1,", ""):
        with pytest.raises(NotScpi):
            parse_switches(text, 2)


def test_channel_lists() -> None:
    assert parse_channel_list("(@101, 1!2)") == ["101", "1!2"]
    for text in ("@101", "(@)", "(@101,)", "(@a)"):
        with pytest.raises(NotScpi):
            parse_channel_list(text)


@given(st.text(alphabet="abc\"';,", max_size=10))
def test_quoted_text_comes_back_and_its_semicolons_part_nothing(text: str) -> None:
    assert parse_string(quoted_string(text)) == text
    if "'" not in text:
        assert split_reply(f"1;{quoted_string(text)};2") == ["1", quoted_string(text), "2"]
