"""What was seen by eye is evidence of the proof: folded from its events, replayed to the bit."""

import numpy as np
import pytest
from tests.proof.conftest import AT, Making

from benchproof.proof.closing import closing
from benchproof.proof.codec import decode, encode
from benchproof.proof.events import BodyTurned, Event, InspectionNoted, ProofOutcome
from benchproof.proof.replay import replay
from benchproof.proof.state import State, fold
from benchproof.reading.evidence import SeenCondition

BENT = InspectionNoted(AT, "ab", "bent pins (core C-1)", "do not reuse", "bad", "bent pins", "bad")
OLDER = InspectionNoted(AT, "ab", "bent pins (core C-1)", "do not reuse", "bad")
STRAIGHT = InspectionNoted(
    AT, "ab", "bent pins (core C-1)", "measure", "sound", "bent pins", "sound"
)


def open_in_p(making: Making, state: State) -> State:
    """Return it with a lost contact or pin read: two readings tell neither from the other."""
    return making.followed(
        state, making.taken("P", "A-E", "OL"), making.taken("P", "A-E", "OL", again=True)
    )


def probability(state: State, kind: str) -> float:
    assert state.as_left.diagnosis is not None
    return sum(c.probability for c in state.as_left.diagnosis.faults if c.fault.kind.value == kind)


def test_what_was_seen_makes_its_faults_likelier_and_is_told(making: Making) -> None:
    plain = open_in_p(making, making.shipped())
    seen = open_in_p(making, making.shipped().after(BENT))
    assert seen.as_left.evidence.seen == (SeenCondition("bent pins", "bad"),)
    assert probability(seen, "pin open") > 1.5 * probability(plain, "pin open")
    found = seen.as_left.diagnosis
    assert found is not None
    assert found.seen == ("bent pins (bad), seen by eye: pin open 5 times likelier at each place.",)
    lost = next(claim for claim in found.faults if claim.fault.kind.value == "pin open")
    assert "for: bent pins (bad) seen by eye, 5 times likelier." in lost.evidence
    assert plain.as_left.diagnosis is not None
    assert plain.as_left.diagnosis.seen == ()


def test_what_an_older_version_noted_is_the_same_bytes_and_the_same_digits(making: Making) -> None:
    payload = encode(OLDER)
    assert payload == (
        b'{"at":"2026-03-02T14:05:09+01:00","by":"ab","event":"inspection","grade":"do not reuse",'
        b'"item":"bent pins (core C-1)","remark":"bad"}'
    )
    assert decode(payload) == OLDER
    older = open_in_p(making, making.shipped().after(OLDER))
    plain = open_in_p(making, making.shipped())
    assert older.as_left.evidence == plain.as_left.evidence
    for one, other in zip(older.settings, plain.settings, strict=True):
        assert one.known == other.known


def test_the_latest_grade_counts_and_order_does_not(making: Making) -> None:
    """A pin that was straightened speaks for nothing; and the bits are those of any order."""
    start = making.shipped()
    mended = open_in_p(making, start.after(BENT)).after(STRAIGHT)
    plain = open_in_p(making, start.after(STRAIGHT))
    assert mended.as_left.evidence.seen == (SeenCondition("bent pins", "sound"),)
    assert mended.as_left.known == plain.as_left.known
    before = open_in_p(making, start.after(BENT))
    after = open_in_p(making, start).after(BENT)
    assert before.as_left.known == after.as_left.known
    again = after.after(BENT)
    assert again.as_left.known == after.as_left.known


def test_turning_the_body_does_not_mend_what_was_seen(making: Making) -> None:
    state = open_in_p(making, making.shipped().after(BENT))
    turned = state.after(BodyTurned(AT, "ab", "2 degrees"))
    assert turned.as_left.evidence.seen == turned.as_found.evidence.seen != ()
    later = open_in_p(making, making.shipped()).after(BodyTurned(AT, "ab", "")).after(BENT)
    assert later.as_left.evidence.seen == later.as_found.evidence.seen != ()


def test_a_proof_with_what_was_seen_replays_to_the_bit(making: Making) -> None:
    state = making.worked(making.shipped().after(BENT))
    closed = state.after(closing(state, AT, "ab", "0.1.0", ProofOutcome.REPAIR))
    events = tuple(decode(encode(event)) for event in closed.events)
    replayed = replay(events, making.files, "0.1.0")
    assert replayed.identical
    assert replayed.differences == ()


@pytest.mark.parametrize("seed", [3, 11])
def test_in_whatever_order_events_come_the_fold_is_the_same(making: Making, seed: int) -> None:
    rng = np.random.default_rng(seed)
    fluid = InspectionNoted(AT, "", "fluid in connector", "clean first", "slight; oily",
                            "fluid in connector", "slight")  # fmt: skip
    readings = [making.taken("P", "A-E", "OL"), making.taken("R", "G-H", "OL"),
                making.taken("D", "G-H", "OL")]  # fmt: skip
    first = making.shipped()
    known = None
    for _ in range(4):
        several: list[Event] = [BENT, fluid, *readings]
        rng.shuffle(several)
        state = first
        for event in several:
            state = state.after(event)
            assert state.as_left.known is not None, "so that what is known is carried on"
        assert state.as_left.known == fold(state.events, making.files).as_left.known
        known = known or state.as_left.known
        assert state.as_left.known == known
