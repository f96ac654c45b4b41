"""What was read cannot be explained away: withdrawn readings, and what shows a permit open."""

from typing import TYPE_CHECKING

import pytest
from tests.proof.conftest import SMALL

from benchproof.diagnose.verdict import PartVerdict
from benchproof.judge.cell import Result
from benchproof.plan.actions import Stop, TakeReading
from benchproof.proof.accept import flagged
from benchproof.proof.closing import closing, outcome_of
from benchproof.proof.events import Closed, Mistake, Mode, OtherProof, ProofOutcome, WorkDone
from benchproof.proof.otherproofs import said_to_others
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold
from benchproof.proof.timesshown import shown_times
from benchproof.proof.withdrawal import CAN_READ

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"
PERMIT = "D", frozenset("GH")


def close_as(state: State, outcome: ProofOutcome, who: str = "") -> Closed:
    why = "checked" if who else ""
    return closing(state, AT, "ab", "0.1.0", outcome, override_by=who, override_reason=why)


def explained_away(making: "Making", accepted: State, kind: Mistake = Mistake.SLIP) -> State:
    """Return a good proof in which 0.1, 0.1, 0.2 ohm were read of the permit, and withdrawn."""
    state = accepted
    for value in ("0.1", "0.1", "0.2"):
        state = state.after(making.taken("D", "G-H", value, again=True))
        state = state.after(making.withdrawn(state.seq, "probe slipped", kind))
    for _ in range(2):
        state = state.after(making.taken("D", "G-H", "OL", again=True))
    return state


@pytest.mark.parametrize("who", ["", "Jo Invented"])
def test_a_start_in_gear_withdrawn_as_slips_is_refused_in_one_sentence(
    making: "Making", accepted: State, who: str
) -> None:
    """Readings 0.1, 0.1, 0.2 ohm withdrawn by one person, then OL twice: it was accepted."""
    state = explained_away(making, accepted)
    with pytest.raises(ProofProblem) as refused:
        close_as(state, ProofOutcome.ACCEPTED, who)
    said = f"{refused.value}"
    assert said.startswith("Not accepted: DANGER: start permit G-H in D is not proved open")
    assert (
        "ohm, withdrawn as slip by ab: probe slipped, counts nevertheless: a slipped probe" in said
    )
    assert "\n" not in said
    assert state.as_left.results[PERMIT] is Result.FAIL
    assert state.dangers[0].cells == ("G-H in D",)


@pytest.mark.parametrize("kind", [Mistake.SLIP, Mistake.METER, Mistake.OTHER])
def test_no_number_of_readings_clears_what_the_mistake_cannot_read(
    making: "Making", accepted: State, kind: Mistake
) -> None:
    state = explained_away(making, accepted, kind)
    for lean, by in (("N", "ab"), ("3", "ab"), ("", "cd"), ("", "cd")):
        state = state.after(making.taken("D", "G-H", "OL", lean, again=True, by=by))
    assert len(state.as_left.kept) == 3
    assert "start-permit-open" in [one.name for one in state.objections if not one.overridable]


@pytest.mark.parametrize("kind", [Mistake.WRONG_CELL, Mistake.WRONG_KEY])
def test_a_wrong_cell_or_key_is_cleared_by_a_lean_or_a_second_person(
    making: "Making", accepted: State, kind: Mistake
) -> None:
    state = explained_away(making, accepted, kind)
    # The same person once more is not enough.
    alone = state.after(making.taken("D", "G-H", "OL", again=True))
    assert len(alone.as_left.kept) == 3
    for more in (
        making.taken("D", "G-H", "OL", "3", again=True),
        making.taken("D", "G-H", "OL", again=True, by="cd"),
    ):
        cleared = state.after(more)
        assert not cleared.as_left.kept
        assert not cleared.objections
        assert close_as(cleared, ProofOutcome.ACCEPTED).outcome is ProofOutcome.ACCEPTED
    # Nor is somebody without initials a second person, nor a reading that says the contrary.
    nobody = state.after(making.taken("D", "G-H", "OL", again=True, by=""))
    assert nobody.as_left.kept
    contrary = state.after(making.taken("D", "G-H", "30", "3", again=True))
    assert contrary.as_left.kept


@pytest.mark.parametrize(
    ("kind", "value", "possible"),
    [
        (Mistake.SLIP, "OL", True),
        (Mistake.SLIP, "o", True),
        (Mistake.SLIP, "5 Mohm", False),
        (Mistake.METER, "OL", True),
        (Mistake.METER, "2.1", True),
        (Mistake.METER, "2", False),
        (Mistake.METER, "c", False),
        (Mistake.WRONG_CELL, "c", True),
        (Mistake.WRONG_KEY, "0.1", True),
        (Mistake.OTHER, "OL", False),
    ],
)
def test_what_each_mistake_can_read(
    making: "Making", kind: Mistake, value: str, possible: bool
) -> None:
    """A slipped probe reads open; failing leads never read closed (common practice, no source)."""
    (reads,) = (one for one in CAN_READ if one.kind is kind)
    state = making.started().after(making.taken("P", "A-E", value))
    (taken,) = state.as_left.taken
    assert reads.can(taken.reading.value, state.ground.family) is possible
    assert bool(reads.otherwise) is (kind not in (Mistake.WRONG_CELL, Mistake.WRONG_KEY))


def test_every_mistake_is_told_what_it_can_read() -> None:
    assert [one.kind for one in CAN_READ] == list(Mistake)


def test_a_lean_or_a_reading_off_the_chart_is_disproved_by_one_more(making: "Making") -> None:
    for pair, lean in (("A-E", "R"), ("A-B", "")):
        read = making.started().after(making.taken("P", pair, "OL", lean))
        gone = read.after(making.withdrawn(read.seq))
        assert "not read again" in gone.as_left.kept[0].why
        assert not gone.after(making.taken("P", pair, "0.1", lean)).as_left.kept
        other = gone.after(making.taken("R", pair, "0.1"))
        assert other.as_left.kept


def test_who_withdraws_is_no_second_person(making: "Making", accepted: State) -> None:
    read = accepted.after(making.taken("D", "G-H", "0.1", by="ab"))
    gone = read.after(making.withdrawn(read.seq, "typed", Mistake.WRONG_KEY, by="cd"))
    again = making.followed(
        gone, *(making.taken("D", "G-H", "OL", again=True, by="cd") for _ in range(3))
    )
    assert again.as_left.kept


def test_the_proof_asks_for_what_clears_a_withdrawn_reading(
    making: "Making", accepted: State
) -> None:
    read = accepted.after(making.taken("D", "G-H", "0.1"))
    gone = read.after(making.withdrawn(read.seq, "typed", Mistake.WRONG_KEY))
    done = making.worked(gone)
    assert not done.as_left.kept
    assert not done.objections
    leans = [one.reading.lean for one in done.as_left.taken if one.seq > gone.seq]
    assert any(leans)


def test_a_kind_can_be_told_later_but_not_taken_back(making: "Making", accepted: State) -> None:
    read = accepted.after(making.taken("N", "F-E", "OL"))
    gone = read.after(making.withdrawn(read.seq, "?", Mistake.OTHER))
    assert "nobody said what kind" in gone.as_left.kept[0].why
    told = gone.after(making.withdrawn(read.seq, "slid off", Mistake.SLIP))
    assert told.as_left.kept[0].possible
    assert len(told.withdrawn) == 1
    with pytest.raises(ProofProblem, match="withdrawn before"):
        told.after(making.withdrawn(read.seq, "no, typed", Mistake.WRONG_KEY))
    assert not making.worked(told).objections


def test_a_reading_that_passes_ceases_to_count_at_once(making: "Making", accepted: State) -> None:
    """Nothing is explained away by taking away what speaks for the part."""
    more = accepted.after(making.taken("N", "F-E", "0.1"))
    gone = more.after(making.withdrawn(more.seq, "", Mistake.OTHER))
    assert not gone.as_left.kept


def test_marks_do_not_show_a_start_permit_open(making: "Making") -> None:
    """A buzzer is silent above some tens of ohms (common practice, no source)."""

    def marked(state: State, action: TakeReading) -> str:
        return "o" if set(action.pair) == {"G", "H"} else making.charted(state, action)

    state = making.worked(making.shipped(), marked)
    rules = {one.name: one for one in state.objections}
    cells = state.ground.safety.must_be_open
    assert "start-permit-open" in rules
    assert all(shown_times(state).get(cell, 0) == 0 for cell in cells)
    assert isinstance(state.next.action, Stop), "it does not ask for ever"
    with pytest.raises(ProofProblem, match="read ohms"):
        close_as(state, ProofOutcome.ACCEPTED, "Jo Invented")


def test_after_marks_it_asks_until_two_numbers_show_it(making: "Making") -> None:
    seen: dict[tuple[str, frozenset[str]], int] = {}

    def first_marked(state: State, action: TakeReading) -> str:
        cell = action.position, frozenset(action.pair)
        seen[cell] = seen.get(cell, 0) + 1
        guarded = cell in state.ground.safety.must_be_open
        return "o" if guarded and seen[cell] == 1 else making.charted(state, action)

    state = making.worked(making.shipped(), first_marked)
    assert not state.objections
    cells = state.ground.safety.must_be_open
    assert min(shown_times(state)[cell] for cell in cells) >= 2


def test_a_closed_cell_that_a_buzzer_cannot_decide_is_asked_for_in_ohms(making: "Making") -> None:
    """It was passed as at most 2 ohm; a buzzer sounds up to some tens of ohms."""
    marks: list[TakeReading] = []

    def twice_marked(state: State, action: TakeReading) -> str:
        if (action.position, set(action.pair)) == ("N", {"F", "E"}) and len(marks) < 2:
            marks.append(action)
            return "c"
        return making.charted(state, action)

    state = making.worked(making.shipped(), twice_marked)
    assert len(marks) == 2
    assert not state.objections
    asked = making.shipped().after(making.taken("N", "F-E", "c"))
    assert asked.as_left.results["N", frozenset("FE")] is Result.UNDECIDED


def test_twice_without_setting_the_probes_anew_is_once(making: "Making", accepted: State) -> None:
    from tests.proof.test_accept import start_permit_not_read

    bare = start_permit_not_read(making, accepted)
    same = making.followed(bare, *(making.taken("D", "G-H", "OL") for _ in range(3)))
    assert shown_times(same)[PERMIT] == 1
    assert [one.name for one in same.objections] == ["start-permit-twice"]
    assert same.next.action == TakeReading("D", ("G", "H"), again=True)
    anew = same.after(making.taken("D", "G-H", "OL", again=True))
    assert shown_times(anew)[PERMIT] == 2
    assert not anew.objections
    moved = making.followed(
        bare,
        making.taken("D", "G-H", "OL"),
        making.taken("D", "F-E", making.charted(bare, TakeReading("D", ("F", "E")))),
        making.taken("D", "G-H", "OL"),
    )
    assert shown_times(moved)[PERMIT] == 2


def test_a_find_is_not_likely_good_with_a_cell_against_the_chart(making: "Making") -> None:
    found = making.worked(making.shipped(mode=Mode.FIND))
    assert outcome_of(found) is ProofOutcome.LIKELY_GOOD
    for value, said in (("OL", "N is against the chart"), ("1.99", "undecided")):
        state = found.after(making.taken("N", "F-E", value))
        assert outcome_of(state) is not ProofOutcome.LIKELY_GOOD
        with pytest.raises(ProofProblem, match=f"Not likely good: .*{said}"):
            close_as(state, ProofOutcome.LIKELY_GOOD)
    known = found.as_left.known
    assert known is not None
    assert known.decided is PartVerdict.ACCEPT


def test_the_fold_itself_refuses_to_accept_a_danger(making: "Making", accepted: State) -> None:
    end = close_as(accepted, ProofOutcome.ACCEPTED)
    unsafe = explained_away(making, accepted)
    with pytest.raises(ProofProblem, match="Not accepted: DANGER"):
        unsafe.after(end)
    # An older version may have recorded it: it is read, and flagged.
    old = fold([*unsafe.events, end], making.files)
    assert [one.name for one in flagged(old)] == ["start-permit-open"]
    assert f"{old.dangers[0]}".startswith("DANGER: this proof was accepted by older rules")
    assert not accepted.after(end).flagged


@pytest.mark.parametrize("value", ["0.1", "60", "150", "2351", "6000", "9000", "c"])
@pytest.mark.parametrize("position", ["R", "D", "1"])
def test_a_permit_below_the_open_limit_is_never_accepted(
    making: "Making", accepted: State, position: str, value: str
) -> None:
    """Read once among ever so many good readings, whoever answers for it."""
    state = accepted
    for one in (value, "OL", "OL", "OL", "OL"):
        state = state.after(making.taken(position, "G-H", one, again=True))
    assert outcome_of(state) not in (ProofOutcome.ACCEPTED, ProofOutcome.LIKELY_GOOD)
    with pytest.raises(ProofProblem, match=f"DANGER: start permit G-H in {position}"):
        close_as(state, ProofOutcome.ACCEPTED, "Jo Invented")


PERMIT_ROW = b'role = "start permit"\nexpect = ["closed", "open", "open"]'


@pytest.mark.parametrize("charted", [b"closed", b"any", b"100 ohm"])
@pytest.mark.parametrize("value", ["0.1", "100 ohm", "OL"])
def test_a_chart_that_lets_the_starter_turn_in_gear_accepts_no_part(
    making: "Making", charted: bytes, value: str
) -> None:
    """Whoever answers for the chart: a part that conducts there is not accepted."""
    row = PERMIT_ROW.replace(b'"closed", "open", "open"', b'"closed", "%b", "open"' % charted)
    assert PERMIT_ROW in SMALL

    def answer(state: State, action: TakeReading) -> str:
        if set(action.pair) == {"C", "F"}:
            return value if action.position == "R" else making.charted(state, action)
        on_chart = set(action.pair) in ({"A", "E"}, {"B", "E"})
        return making.charted(state, action) if on_chart else "OL"

    state = making.worked(making.started(SMALL.replace(PERMIT_ROW, row)), answer)
    opened = value == "OL" and charted == b"any"
    assert ("start-permit-open" in [one.name for one in state.objections]) is not opened
    if opened:
        return
    with pytest.raises(ProofProblem, match="Not accepted"):
        close_as(state, ProofOutcome.ACCEPTED, "Jo Invented")
    assert outcome_of(state) is not ProofOutcome.ACCEPTED


@pytest.mark.parametrize("names", ["PK,Rv,Nt,Dr", "1,2,3,4", "P,R,N,D"])
def test_a_chart_whose_roles_nobody_told_accepts_no_part(making: "Making", names: str) -> None:
    chart = f"pins,{names}\nA-E,closed,open,closed,open\nG-H,closed,open,closed,open\n"
    first, reverse, *_ = names.split(",")
    good = making.worked(making.started(chart.encode(), "untold"))
    assert "roles-told" in [one.name for one in good.objections]
    unsafe = making.followed(
        making.started(chart.encode(), "untold"),
        making.taken(first, "G-H", "0.1"),
        *(making.taken(reverse, "G-H", "0.1", again=True) for _ in range(2)),
    )
    for state in (good, unsafe):
        assert outcome_of(state) is not ProofOutcome.ACCEPTED
        with pytest.raises(ProofProblem, match="Not accepted"):
            close_as(state, ProofOutcome.ACCEPTED, "Jo Invented")


def other_of(state: State) -> OtherProof:
    return said_to_others(state, "S-1.1", 1, AT, "ab")


def test_what_an_abandoned_proof_saw_is_told_to_the_next(making: "Making", accepted: State) -> None:
    unsafe = explained_away(making, accepted)
    left = unsafe.after(close_as(unsafe, ProofOutcome.ABANDONED))
    said = other_of(left)
    assert said.outcome == "abandoned"
    assert said.starts_in_gear[0].startswith("G-H in D: 7 readings disagree")
    assert other_of(accepted).against == ()
    # A start permit that reads open where it should is a fault, but starts nothing in gear.
    broken = other_of(accepted.after(making.taken("P", "G-H", "OL")))
    assert broken.against
    assert not broken.starts_in_gear


def test_only_a_repair_before_the_first_reading_clears_a_start_in_gear(
    making: "Making", accepted: State
) -> None:
    unsafe = explained_away(making, accepted)
    said, work = other_of(unsafe), WorkDone(AT, "cd", "start contact replaced")
    opened, meter, *rest = accepted.events
    before = fold([opened, meter, said, work, *rest], making.files)
    assert not before.objections
    for late in ([opened, meter, said, *rest, work], [opened, meter, work, said, *rest]):
        state = fold(late, making.files)
        assert [one.name for one in state.objections] == ["other-proof-safe"]
        with pytest.raises(ProofProblem, match=r"DANGER: proof S-1\.1"):
            close_as(state, ProofOutcome.ACCEPTED, "Jo Invented")


def test_other_findings_are_cleared_by_work_or_answered_for(
    making: "Making", accepted: State
) -> None:
    failed = accepted.after(making.taken("N", "F-E", "OL"))
    noted = accepted.after(other_of(failed.after(close_as(failed, ProofOutcome.REPAIR))))
    assert [one.name for one in noted.objections] == ["other-proof-mended"]
    assert close_as(noted, ProofOutcome.ACCEPTED, "Jo Invented").override_by == "Jo Invented"
    assert not noted.after(WorkDone(AT, "cd", "contact cleaned")).objections
    for nobody in (WorkDone(AT, " ", "cleaned"), WorkDone(AT, "cd", " ")):
        with pytest.raises(ProofProblem, match="who did it"):
            noted.after(nobody)
