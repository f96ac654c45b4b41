"""What happened at one cell: readings in order, the one that decides, what may be a slip."""

from typing import TYPE_CHECKING

import pytest
from tests.proof.conftest import Making

from benchproof.judge.cell import Result
from benchproof.proof.cellstory import CellStory, story_of
from benchproof.proof.events import Mistake
from benchproof.proof.state import State, start
from benchproof.shipped.contents import shipped_bytes

if TYPE_CHECKING:
    from collections.abc import Sequence

CLOSED, GEAR = ("P", ("A", "E")), ("D", ("G", "H"))


def read(place: tuple[str, tuple[str, str]], values: "Sequence[str]") -> tuple[Making, State]:
    making = Making()
    state = start(making.opened(shipped_bytes("families", "valley-coded-7"), "v"), making.files)
    for value in values:
        state = state.after(making.taken(*place, value))
    return making, state


def told(story: CellStory) -> list[tuple[str, bool, bool]]:
    return [
        (one.outcome.result.value if one.outcome else "", one.decides, one.may_be_slip)
        for one in story.readings
    ]


def test_each_has_its_own_result_and_the_worst_decides() -> None:
    _, state = read(CLOSED, ("OL", "0.2"))
    story = story_of(state, *CLOSED)
    assert told(story) == [("fail", True, True), ("pass", False, False)]
    assert story.slip is story.readings[0]
    assert story.beside == ("R",)
    assert story.cell is not None
    assert story.cell.outcome.result is Result.FAIL


@pytest.mark.parametrize(
    ("place", "values"),
    [
        (CLOSED, ("OL",)),
        (CLOSED, ("0.2", "OL")),
        (CLOSED, ("OL", "OL")),
        (CLOSED, ("5000", "0.2")),
        (GEAR, ("0.2", "OL")),
        (GEAR, ("0.2", "OL", "OL")),
    ],
)
def test_what_is_no_slip_is_not_offered_as_one(
    place: tuple[str, tuple[str, str]], values: "Sequence[str]"
) -> None:
    """A slipped probe reads open, never a low value (common practice, no source)."""
    _, state = read(place, values)
    assert story_of(state, *place).slip is None


def test_a_slip_stays_in_its_place_and_counts_until_enough_is_against_it() -> None:
    making, state = read(CLOSED, ("OL", "0.2"))
    seq = story_of(state, *CLOSED).readings[0].taken.seq
    state = state.after(making.withdrawn(seq))
    first, second = story_of(state, *CLOSED).readings
    assert first.kept is not None
    assert first.counts
    assert first.decides
    assert not first.may_be_slip, "its kind was told"
    state = state.after(making.taken(*CLOSED, "0.2", lean="R"))
    first, second, leaned = story_of(state, *CLOSED).readings
    assert not first.counts
    assert second.decides
    assert leaned.outcome is None


def test_one_undone_without_a_kind_may_still_be_called_a_slip() -> None:
    making, state = read(CLOSED, ("OL", "0.2"))
    seq = story_of(state, *CLOSED).readings[0].taken.seq
    state = state.after(making.withdrawn(seq, "undone", Mistake.OTHER))
    assert [one.may_be_slip for one in story_of(state, *CLOSED).readings] == [True, False]


def test_a_pair_off_the_chart_has_a_story_too() -> None:
    _, state = read(("P", ("A", "G")), ("OL",))
    story = story_of(state, "P", ("G", "A"))
    assert (story.cell, len(story.readings), story.slip) == (None, 1, None)
