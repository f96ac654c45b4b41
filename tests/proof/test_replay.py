"""Replaying: the same, bit for bit, or what differs."""

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from benchproof.proof.closing import closing
from benchproof.proof.codec import decode, encode
from benchproof.proof.events import BodyTurned, Closed, Concluded, Event, ProofOutcome, Remarked
from benchproof.proof.replay import MOST_TOLD, replay
from benchproof.proof.state import State

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"


def stored(state: State) -> list[Event]:
    return [decode(encode(event)) for event in state.events]


@pytest.fixture
def closed(accepted: State) -> State:
    return accepted.after(closing(accepted, AT, "ab", "0.1.0"))


def test_a_closed_proof_replays_to_the_same_state(making: "Making", closed: State) -> None:
    found = replay(stored(closed.after(Remarked(AT, "ab", "shipped"))), making.files, "0.1.0")
    assert found.identical
    assert found.differences == ()
    assert found.state.closed == closed.closed
    assert found.recorded is not None
    assert found.concluded == found.recorded.concluded


def test_a_proof_turned_on_the_way_replays_too(making: "Making", accepted: State) -> None:
    turned = making.worked(accepted.after(BodyTurned(AT, "ab", "a little")))
    done = turned.after(closing(turned, AT, "ab", "0.1.0"))
    assert done.closed is not None
    assert done.closed.outcome is ProofOutcome.ACCEPTED
    assert replay(stored(done), making.files, "0.1.0").identical


def test_an_open_proof_replays_to_what_it_says_now(making: "Making", accepted: State) -> None:
    found = replay(stored(accepted), making.files, "0.1.0")
    assert found.identical
    assert found.recorded is None
    assert found.state == accepted


def as_if(closed: State, **then: object) -> list[Event]:
    """Return the events as if another version had concluded otherwise."""
    end = closed.closed
    assert end is not None
    otherwise = Concluded(**{**vars(end.concluded), "version": "0.0.9", **then})
    changed: Closed = replace(end, concluded=otherwise, digest="0" * 64)
    return [*closed.events[:-1], changed]


def test_what_another_version_concluded_otherwise_is_told(making: "Making", closed: State) -> None:
    end = closed.closed
    assert end is not None
    cells = list(end.concluded.cells)
    cells[3] = (cells[3][0], "undecided")
    verdicts = {**(end.concluded.verdicts or {}), "accept": 0.5}
    events = as_if(
        closed,
        verdict="undecided",
        cells=tuple(cells[:-1]),
        decided="",
        verdicts=verdicts,
        against=("It was said.",),
    )
    found = replay(events, making.files, "0.1.0")
    assert not found.identical
    told = "\n".join(found.differences)
    assert "The sheet as left was undecided and is pass." in told
    assert f"{cells[3][0]} as left was undecided and is pass." in told
    assert f"{cells[-1][0]} as left was not in the chart and is pass." in told
    assert "The diagnosis had decided nothing and decides accept." in told
    assert "The diagnosis gave accept 50.0000% and gives" in told
    assert "Against accepting it stood: It was said. Now stands: nothing" in told
    assert len(found.differences) == 6


def test_many_cells_are_told_by_their_number(making: "Making", closed: State) -> None:
    end = closed.closed
    assert end is not None
    cells = tuple((name, "fail") for name, _ in end.concluded.cells)
    found = replay(as_if(closed, cells=cells), making.files, "0.1.0")
    assert len(found.differences) == MOST_TOLD + 1
    assert found.differences[-1] == f"And {len(cells) - MOST_TOLD} more cells differ."


def test_a_digest_alone_that_differs_is_told_as_rounding(making: "Making", closed: State) -> None:
    found = replay(as_if(closed), making.files, "0.1.0")
    assert not found.identical
    (told,) = found.differences
    assert "only wording or last digits differ" in told


def test_what_this_version_would_not_accept_still_replays(
    making: "Making", accepted: State, closed: State
) -> None:
    """A stricter rule of a later version must not lock the archive."""
    end = closed.closed
    assert end is not None
    found = replay([*accepted.events[:10], end], making.files, "0.2.0")
    assert found.state.closed == end
    assert not found.identical
    assert any("not read" in difference for difference in found.differences)
