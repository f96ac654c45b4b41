"""The table of what may follow what, walked cell by cell."""

import re
from hashlib import sha256
from typing import get_args

import pytest

from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Check,
    Closed,
    Concluded,
    EdgeFound,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    Mistake,
    OffsetMeasured,
    Opened,
    OtherProof,
    Photographed,
    ProofOutcome,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    SweepTaken,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.order import TABLE, Phase, why_not
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold, start

from .conftest import AT, SMALL, Making

CONCLUDED = Concluded("0", "fail", (), "fail", ())
ABANDONED = Closed(AT, "ab", ProofOutcome.ABANDONED, (), "", "", CONCLUDED, "0" * 64)
SWEEP = b"angle_deg,A-E\n0,1\n1,1\n"
KINDS: tuple[type[Event], ...] = get_args(Event)


def example(kind: type[Event], opened: Opened) -> Event:
    """Return an event of a kind that the small part's proof can take, were the table to let it."""
    made: dict[type[Event], Event] = {
        Opened: opened,
        BenchChosen: BenchChosen(AT, "ab", opened.bench_file, "bench"),
        MeterChosen: MeterChosen(AT, "ab", opened.meter_file, "meter"),
        LeverAt: LeverAt(AT, "ab", "R"),
        ReadingTaken: ReadingTaken(AT, "ab", "R", ("A", "E"), "OL"),
        EdgeFound: EdgeFound(AT, "ab", "R", ("A", "E"), 0.2, 0.1, "1", "OL"),
        OffsetMeasured: OffsetMeasured(AT, "ab", 0.1, 0.1, "the marks"),
        SweepTaken: SweepTaken(AT, "ab", sha256(SWEEP).hexdigest(), "sweep.csv"),
        ReadingWithdrawn: ReadingWithdrawn(AT, "ab", 3, "so", Mistake.WRONG_KEY),
        BodyTurned: BodyTurned(AT, "ab"),
        TurnTakenBack: TurnTakenBack(AT, "ab", 2, "so"),
        WorkDone: WorkDone(AT, "ab", "so"),
        OtherProof: OtherProof(AT, "ab", "S-1.2", 2, "open", AT),
        Photographed: Photographed(AT, "ab", "0" * 64),
        Remarked: Remarked(AT, "ab", "so"),
        InspectionNoted: InspectionNoted(AT, "ab", "seal", "sound"),
        GearChecked: GearChecked(AT, "ab", "M-1", Check.LEADS, 0.1, ok=True),
        Closed: ABANDONED,
    }
    return made[kind]


def at_phase(phase: Phase, making: Making) -> State:
    """Return a proof that has come so far: a turn is event 2, a reading since is event 3."""
    making.put(SWEEP)
    read = ReadingTaken(AT, "ab", "P", ("A", "E"), "1")
    events: list[Event] = [making.opened(SMALL), BodyTurned(AT, "ab"), read]
    if phase is Phase.UNREAD:
        # What was read is withdrawn, with its kind to be told still.
        events.append(ReadingWithdrawn(AT, "ab", 3, "so"))
    if phase is Phase.CLOSED:
        events.append(ABANDONED)
    return fold(events, making.files)


@pytest.mark.parametrize("phase", Phase)
@pytest.mark.parametrize("kind", KINDS, ids=[kind.__name__ for kind in KINDS])
def test_what_the_table_says_is_what_happens(
    kind: type[Event], phase: Phase, making: Making
) -> None:
    event, told = example(kind, making.opened(SMALL)), TABLE[kind][phase]
    if phase is Phase.NEW:
        if told:
            with pytest.raises(ProofProblem, match=re.escape(told)):
                start(event, making.files)
        else:
            assert start(event, making.files).seq == 1
        return
    state = at_phase(phase, making)
    assert state.phase is phase
    if told:
        why = told.format(outcome="abandoned")
        assert state.why_not(kind) == why
        with pytest.raises(ProofProblem, match=re.escape(why)):
            state.after(event)
    else:
        assert state.why_not(kind) == ""
        assert state.after(event).events[-1] == event


def test_every_kind_has_a_row_and_every_row_every_phase() -> None:
    assert set(TABLE) == set(KINDS)
    assert all(list(row) == list(Phase) for row in TABLE.values())
    assert all(why_not(kind, Phase.CLOSED) for kind in KINDS if kind is not Remarked)


def test_an_event_told_again_counts_once(making: Making) -> None:
    # As of any learner that is told its data: what was told before changes nothing.
    state = at_phase(Phase.READ, making)
    for seq, event in enumerate(state.events, 1):
        assert state.told(seq, event) is state
    after = state.told(4, Remarked(AT, "ab", "so"))
    assert after.seq == 4
    with pytest.raises(ProofProblem, match="Event 4 is not what follows event 4"):
        after.told(4, Remarked(AT, "ab", "other"))
    with pytest.raises(ProofProblem, match="Event 6 is not what follows event 4"):
        after.told(6, Remarked(AT, "ab", "so"))
