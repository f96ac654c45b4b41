"""A small seeded sample of the proof benchmark; the whole of it is `make bench-proof`."""

import pytest

import proof
from benchproof.plan.actions import Stop
from benchproof.proof.conclusion import digest_of
from benchproof.proof.events import Mode


@pytest.mark.parametrize("mode", Mode)
def test_a_sample_ends_and_replays_to_the_same_bits(mode: Mode) -> None:
    done, times = proof.run("valley-coded-7", mode, parts=6, seed=3)
    assert len(done) == 6
    assert len(times) == sum(len(state.as_left.taken) for state in done)
    for state in done:
        assert isinstance(state.next.action, Stop)
        assert proof.replayed(state) == digest_of(state)


def test_what_nothing_stands_against_has_passed_in_every_cell() -> None:
    done, _ = proof.run("valley-coded-7", Mode.PROVE, parts=25, seed=4)
    accepted = [state for state in done if not state.objections]
    assert 5 < len(accepted) < 25
    for state in accepted:
        assert {result.value for result in state.as_left.results.values()} == {"pass"}
