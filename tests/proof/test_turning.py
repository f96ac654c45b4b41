"""A turn of the body that was typed by mistake: taken back, on record, and hiding nothing.

What stays a danger until it is read open again: 49 CFR 571.102 S3.1.3, as `test_every_view.py`
has it; that of readings that disagree the worst counts: common practice, no source.
"""

from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.proof.test_state import histories

from benchproof.judge.cell import Result
from benchproof.proof.codec import decode, encode
from benchproof.proof.conclusion import digest_of
from benchproof.proof.events import (
    BodyTurned,
    Event,
    Mistake,
    OtherProof,
    ProofOutcome,
    Remarked,
    TurnTakenBack,
)
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold
from benchproof.proof.timesshown import shown_times

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"
TURN = BodyTurned(AT, "ab", "two mm back")


def back(seq: int, by: str = "cd", reason: str = "typed in the wrong proof") -> TurnTakenBack:
    """Return the event that takes a turn back."""
    return TurnTakenBack(AT, by, seq, reason)


def in_danger(state: State) -> set[str]:
    """Return the cells that are told as a danger by what was read."""
    return {cell for one in state.seen if one.signal == "DANGER" for cell in one.cells}


def test_as_if_it_had_not_been_typed(making: "Making") -> None:
    """What was as found counts as left again, and the turn stays on record."""
    read = making.followed(
        making.started(), making.taken("P", "A-E", "0.1"), making.taken("R", "A-E", "OL")
    )
    turned = read.after(TURN)
    assert turned.as_left.taken == ()
    state = turned.after(back(5))
    assert state.as_left is state.as_found
    assert state.turns == ()
    assert state.as_left.taken == read.as_left.taken
    assert state.next == read.next
    assert state.at == read.at
    assert state.events == (*turned.events, back(5))
    (one,) = state.noted_turns
    assert (one.seq, one.event, one.back) == (5, TURN, back(5))
    assert one.told == (
        "Turned by ab: two mm back; taken back by cd (event 6), the body was not turned: "
        "typed in the wrong proof"
    )


def test_readings_since_stay_and_count_with_those_before(making: "Making") -> None:
    """They are of the body as it really stood; a cell read on both sides is one cell, read twice.

    Without lifting the probes it is one visit, which shows a permit open once.
    """
    state = making.followed(
        making.started(),
        making.taken("R", "C-F", "OL"),
        TURN,
        making.taken("R", "C-F", "OL"),
        making.taken("D", "C-F", "OL"),
        back(4),
    )
    left = state.as_left
    assert [one.seq for one in left.taken] == [3, 5, 6]
    read = [cell.name for cell in left.judgement.cells if cell.outcome.result is not Result.MISSING]
    assert read == ["C-F in R", "C-F in D"]
    assert [one.reading.visit for one in left.taken] == [3, 3, 6]
    assert shown_times(state) == {("R", frozenset("CF")): 1, ("D", frozenset("CF")): 1}


def test_a_danger_read_before_or_after_stands(making: "Making") -> None:
    """Open on one side of a turn that was none answers nothing: the readings disagree."""
    opens = [making.taken("D", "C-F", "OL", again=True)] * 2
    closed = making.taken("D", "C-F", "0.2")
    for before, after in (([closed], opens), (opens, [closed])):
        state = making.followed(making.started(), *before, TURN, *after)
        state = state.after(back(3 + len(before)))
        assert in_danger(state) == {"C-F in D"}
        assert next(one.name for one in state.objections) == "start-permit-open"


def test_a_reading_withdrawn_before_needs_as_much_against_it_as_ever(making: "Making") -> None:
    """What was read since counts against it by the same rule as without any turn."""
    state = making.followed(
        making.started(),
        making.taken("D", "C-F", "0.2"),
        making.withdrawn(3, "probes on A-E", Mistake.WRONG_CELL),
        TURN,
        making.taken("D", "C-F", "OL", again=True),
        back(5),
    )
    assert in_danger(state) == {"C-F in D"}
    (kept,) = state.as_left.kept
    assert kept.why.startswith("2 readings since must agree against it")
    more = state.after(making.taken("D", "C-F", "OL", again=True, by="cd"))
    assert more.as_left.kept == ()
    assert in_danger(more) == set()


@settings(max_examples=60)
@given(data=st.data())
def test_taking_back_hides_no_danger(data: st.DataObject, making: "Making") -> None:
    """And it leaves what the same readings say without that turn, bit for bit."""
    events = data.draw(histories(making))
    at = data.draw(st.integers(2, len(events)))
    events = [*events[:at], TURN, *events[at:]]
    state = fold(_later(events, at), making.files)
    taken = state.after(back(at + 1))
    assert in_danger(state) <= in_danger(taken)
    without: list[Event] = list(taken.events)
    without[at] = without[-1] = Remarked(AT, "ab", "not turned")
    assert digest_of(taken) == digest_of(fold(without, making.files))
    assert digest_of(taken) == digest_of(fold(taken.events, making.files))


def _later(events: list[Event], at: int) -> list[Event]:
    """Return the events, those that name one after a place naming it where it is now."""
    from dataclasses import replace

    from benchproof.proof.events import ReadingWithdrawn

    return [
        replace(one, seq=one.seq + 1)
        if isinstance(one, ReadingWithdrawn | TurnTakenBack) and one.seq > at
        else one
        for one in events
    ]


def test_of_two_turns_each_can_be_taken_back(making: "Making") -> None:
    """The other stands, and parts the readings as before."""
    state = making.followed(
        making.started(),
        making.taken("P", "A-E", "0.1"),
        TURN,
        making.taken("R", "A-E", "OL"),
        TURN,
        making.taken("D", "A-E", "0.1"),
    )

    def parted(now: State) -> list[list[int]]:
        return [[one.seq for one in setting.taken] for setting in now.settings]

    assert parted(state) == [[3], [5], [7]]
    assert parted(state.after(back(4))) == [[3, 5], [7]]
    assert parted(state.after(back(6))) == [[3], [5, 7]]
    both = making.followed(state, back(4), back(6))
    assert parted(both) == [[3, 5, 7]]
    again = both.after(TURN)
    assert parted(again) == [[3, 5, 7], []]
    assert again.as_found.taken == both.as_left.taken


@pytest.mark.parametrize(
    ("seq", "by", "said"),
    [
        (3, "cd", "Event 3 is no turn of the body; only a turn can be taken back so."),
        (9, "cd", "There is no event 9; the proof has 4 events."),
        (4, " ", "Say who takes the turn back (--by INITIALS): what was read before counts again."),
    ],
)
def test_only_a_turn_is_taken_back(making: "Making", seq: int, by: str, said: str) -> None:
    state = making.followed(making.started(), making.taken("P", "A-E", "0.1"), TURN)
    with pytest.raises(ProofProblem) as problem:
        state.after(back(seq, by))
    assert str(problem.value) == said


def test_once_and_not_after_the_end(making: "Making") -> None:
    state = making.followed(making.started(), TURN, back(3))
    with pytest.raises(ProofProblem, match=r"^Turn 3 was taken back before \('typed in the"):
        state.after(back(3))
    end = making.followed(making.started(), TURN)
    from benchproof.proof.closing import closing

    closed = end.after(closing(end, AT, "ab", "0.1.0", ProofOutcome.ABANDONED))
    with pytest.raises(ProofProblem, match=r"^This proof is closed as abandoned"):
        closed.after(back(3))


def test_a_turn_that_was_none_mends_no_realign(making: "Making") -> None:
    """Another proof said realign; only a turn that stands answers that."""
    other = OtherProof(AT, "ab", "S-1.0", 1, "realign", AT)
    state = making.followed(making.started(), other, TURN)
    assert "other-proof-mended" not in {one.name for one in state.objections}
    assert "other-proof-mended" in {one.name for one in state.after(back(4)).objections}


def test_the_event_as_bytes_and_an_older_turn() -> None:
    """A turn that was recorded before turns could be taken back is read as it was."""
    event = back(5)
    assert encode(event) == (
        b'{"at":"2026-03-02T14:05:09+01:00","by":"cd","event":"turn taken back",'
        b'"reason":"typed in the wrong proof","seq":5}'
    )
    assert decode(encode(event)) == event
    older = b'{"at":"2026-03-02T14:05:09+01:00","by":"ab","event":"body turned"}'
    assert decode(older) == BodyTurned(AT, "ab")
