"""One question and its own answer: whole, in bytes, late, garbled, out of doubt."""

import pytest

from benchproof.instrument.conversation import MARKS, Conversation
from benchproof.instrument.problems import Doubt


def mark_of(message: bytes) -> str:
    return message.split(b";")[0].split()[1].decode()


def test_the_reply_whole_byte_by_byte_and_with_trailing_bytes() -> None:
    talk = Conversation()
    message = talk.ask("READ?")
    assert message == b"*ESE 1;READ?;*ESE?\n"
    assert talk.feed(b"+1.5E+0;1\n") == ("+1.5E+0",)
    talk.ask("READ?")
    got = [talk.feed(bytes([byte])) for byte in b"+2E+0;2\n"]
    assert got == [None] * (len(got) - 1) + [("+2E+0",)]
    talk.ask("READ?")
    assert talk.feed(b"+3E+0;3\n+4") == ("+3E+0",)
    talk.ask("READ?")
    # The stray bytes make the next line no reply to anything.
    with pytest.raises(Doubt):
        talk.feed(b"+5E+0;4;4\n")


def test_a_sign_before_the_mark_is_no_matter() -> None:
    talk = Conversation()
    talk.ask("READ?")
    assert talk.feed(b"+1.5E+0;+1\n") == ("+1.5E+0",)


def test_the_mark_comes_before_a_name_which_may_hold_anything() -> None:
    talk = Conversation()
    # IEEE 488.2: no query may follow *IDN? in a message (from memory).
    assert talk.ask_identity() == b"*ESE 1;*ESE?;*IDN?\n"
    assert talk.feed(b"1;works,M;1,0,1\n") == ("works,M;1,0,1",)
    talk.ask_identity()
    with pytest.raises(Doubt):
        talk.feed(b"1;works,M1,0,1\n")


def test_a_late_reply_is_dropped_and_its_own_one_awaited() -> None:
    talk = Conversation()
    talk.ask("READ?")
    talk.ask("READ?")
    assert talk.feed(b"+1E+0;1\n") is None
    assert talk.feed(b"+2E+0;2\n") == ("+2E+0",)


@pytest.mark.parametrize(
    "reply", [b"\n", b"1\n", b"+1E+0\n", b"+1E+0;2\n", b"1;1;1\n", b"\xff;1;1\n", b"+1E+0;01\n"]
)
def test_anything_else_puts_it_in_doubt(reply: bytes) -> None:
    talk = Conversation()
    talk.ask("READ?")
    with pytest.raises(Doubt):
        talk.feed(reply)


def test_marks_come_again_only_after_all_others() -> None:
    talk = Conversation()
    marks = [mark_of(talk.ask("READ?")) for _ in range(MARKS)]
    assert len({*marks}) == MARKS
    assert mark_of(talk.ask("READ?")) == marks[0]


def test_resync_drops_what_stands_before_its_reply() -> None:
    talk = Conversation()
    talk.ask("READ?")
    talk.feed(b"+1.5")
    mark = mark_of(talk.resync() + b"")
    assert talk.feed(b"E+0;1\n\xff\xff\n" + b"x" * 5000) is None
    assert talk.feed(f"\n{mark}\n".encode()) == ()


def test_without_marks_a_line_of_the_right_shape_is_the_reply() -> None:
    talk = Conversation(echo=False, ends=b"\r\n")
    assert talk.ask("MEAS:RES?") == b"MEAS:RES?\r\n"
    assert talk.feed(b"12.5\r\n") == ("12.5",)
    with pytest.raises(Doubt):
        talk.feed(b"12.5\n")
