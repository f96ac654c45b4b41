"""What to do next, from the state alone."""

from typing import TYPE_CHECKING

import pytest

from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine.policy import left_of
from benchproof.family.model import same_pair
from benchproof.family.safety import safety_of
from benchproof.plan.actions import BenchPlace, Stop, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.bench import read_bench
from benchproof.plan.route import route
from benchproof.proof.events import BodyTurned, Event, LeverAt, Mode
from benchproof.proof.state import State

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"


def asked(state: State) -> TakeReading:
    action = state.next.action
    assert isinstance(action, TakeReading)
    return action


@pytest.mark.parametrize("family", ["valley-coded-7", "ferry-two-of-four-6"])
def test_a_good_part_is_proved_along_the_shortest_route(making: "Making", family: str) -> None:
    state = making.shipped(family)
    planned = route(state.ground.family, state.bench, BenchPlace("P")).readings
    done = making.worked(state)
    read = [(one.reading.position, same_pair(one.reading.pair)) for one in done.as_left.taken]
    assert read == [(step.position, same_pair(step.pair)) for step in planned]
    assert done.next.action == Stop(PartVerdict.ACCEPT, "every cell is read")
    assert not left_of(done.as_left.examination.standing)
    assert not done.objections


def test_the_bench_decides_the_route(making: "Making") -> None:
    probes = making.shipped().after(making.bench())
    dial = making.shipped()
    firsts = []
    for state in (dial, probes):
        first = asked(state)
        firsts.append(asked(state.after(making.taken(first.position, first.pair, "0.1"))))
    # A selector steps through the pairs; with probes the lever moves.
    assert firsts[0].position == "P"
    assert firsts[1].position == "R"


def test_the_route_begins_where_the_lever_is(making: "Making") -> None:
    state = making.shipped().after(LeverAt(AT, "ab", "1"))
    assert asked(state).position == "1"


def test_start_permits_that_must_be_open_are_asked_for_twice(accepted: State) -> None:
    again = safety_of(accepted.ground.family).must_be_open
    assert again
    assert {cell for cell, times in accepted.as_left.times.items() if times == 2} == again


def test_a_cell_against_the_chart_is_read_again_at_once(making: "Making") -> None:
    state = making.shipped()
    first = asked(state)
    slipped = state.after(making.taken(first.position, first.pair, "OL"))
    assert asked(slipped) == TakeReading(first.position, first.pair, again=True)
    assert "lift the probes" in slipped.next.why
    # One slip among good readings decides nothing: the route goes on.
    good = slipped.after(making.taken(first.position, first.pair, "0.1"))
    assert asked(good) != asked(slipped)


def test_a_failure_left_behind_is_still_to_be_read_again(making: "Making") -> None:
    cell = "P", same_pair(("A", "E"))
    state = making.shipped().after(making.taken("P", "A-E", "OL"))
    assert left_of(state.as_left.examination.standing)[cell] == 1
    gone_on = state.after(making.taken("N", "C-E", "0.1"))
    assert left_of(gone_on.as_left.examination.standing)[cell] == 1
    assert cell not in left_of(
        gone_on.after(making.taken("P", "A-E", "OL")).as_left.examination.standing
    )


def test_it_stops_early_only_on_a_failure_that_decides(making: "Making") -> None:
    def broken(state: State, action: TakeReading) -> str:
        lost = same_pair(action.pair) == same_pair(("B", "E"))
        return "OL" if lost else making.charted(state, action)

    done = making.worked(making.shipped(), broken)
    action = done.next.action
    assert isinstance(action, Stop)
    assert action.verdict is PartVerdict.REPAIR
    assert 0 < len(done.as_left.taken) < len(making.worked(making.shipped()).as_left.taken)


def test_off_the_route_it_goes_on_from_where_it_is(making: "Making") -> None:
    state = making.shipped().after(making.taken("D", "F-E", "0.1"))
    left = left_of(state.as_left.examination.standing)
    assert ("D", same_pair(("F", "E"))) not in left
    found = route(state.ground.family, state.bench, state.at, left)
    assert asked(state) == found.readings[0]
    assert len(found.readings) == sum(left.values())


def test_a_route_of_what_is_left_is_no_longer_than_the_whole(making: "Making") -> None:
    state = making.shipped()
    family, whole = state.ground.family, route(state.ground.family, state.bench, state.at)
    for count in (1, 10, 30):
        read = [
            making.taken(step.position, step.pair, making.charted(state, step))
            for step in whole.readings[:count]
        ]
        after = making.followed(state, *read)
        rest = route(family, after.bench, after.at, left_of(after.as_left.examination.standing))
        assert rest.seconds < whole.seconds
        assert len(rest.readings) == len(whole.readings) - count


def test_a_reading_withdrawn_is_asked_for_again(making: "Making") -> None:
    state = making.shipped()
    first = asked(state)
    after = making.followed(
        state,
        making.taken(first.position, first.pair, "0.1"),
        making.withdrawn(3),
    )
    assert asked(after) == first


def test_after_turning_every_cell_is_asked_for_again(making: "Making", accepted: State) -> None:
    turned = accepted.after(BodyTurned(AT, "ab"))
    count = sum(left_of(turned.as_left.examination.standing).values())
    assert count == sum(left_of(making.shipped().as_left.examination.standing).values())
    assert turned.as_left.start == accepted.at


@pytest.mark.parametrize("mode", Mode)
def test_a_pair_that_the_bench_cannot_reach_does_not_stop_it(making: "Making", mode: Mode) -> None:
    state = making.shipped(mode=mode)
    fixed = b"""
name = "relays"
[seconds]
reading = 1
per_detent = 1
lean = 2
[pairs]
kind = "selector"
per_step = 0.1
"""
    assert read_bench(fixed, "relays.toml").name == "relays"
    chosen = making.bench()
    relays = type(chosen)(AT, "ab", making.put(fixed), "relays")
    for pair in ("A-G", "A-case", "A-B"):
        after = making.followed(state, relays, making.taken("R", pair, "OL"))
        assert asked(after).pair in {row.pair for row in after.ground.family.chart}


def test_find_follows_the_course_ahead(making: "Making") -> None:
    state = making.shipped(mode=Mode.FIND)
    posterior = state.as_left.posterior
    assert posterior is not None
    advice = course(posterior, state.bench, BenchPlace("P")).advice
    assert asked(state) == advice.action
    assert state.next.why == advice.why
    done = making.worked(state)
    assert done.next.action == Stop(PartVerdict.ACCEPT, "likely good; prove before shipping")
    assert len(done.as_left.taken) < 20


def test_find_gives_up_on_nonsense(making: "Making") -> None:
    state = making.started(mode=Mode.FIND)
    cells = [(p, pair) for p in ("P", "R", "D") for pair in ("A-E", "B-E", "C-F")]
    # As many readings as the chart has cells, which explain nothing in particular.
    values = ["101", "55 kohm", "101"] * 3
    events: list[Event] = [
        making.taken(*cell, value) for cell, value in zip(cells, values, strict=True)
    ]
    done = making.followed(state, *events)
    assert isinstance(done.next.action, Stop)


def test_the_next_step_hangs_on_the_state_alone(making: "Making") -> None:
    """Asked twice, or of a state made otherwise, it is the same."""
    state = making.shipped(mode=Mode.FIND)
    first = asked(state)
    one = state.after(making.taken(first.position, first.pair, "0.1"))
    assert one.next == one.next
    detour = making.followed(
        state,
        making.taken(first.position, first.pair, "0.1"),
        making.taken("N", "A-E", "OL"),
        making.withdrawn(4),
        LeverAt(AT, "ab", first.position),
    )
    assert asked(detour).lean == asked(one).lean
