"""What stands against accepting a part: each rule alone."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.proof.conftest import SMALL, shipped

from benchproof.judge.cell import Result
from benchproof.proof.accept import RULES
from benchproof.proof.closing import closing, outcome_of
from benchproof.proof.events import (
    BodyTurned,
    Check,
    EdgeFound,
    Event,
    GearChecked,
    InspectionNoted,
    MeterChosen,
    Mode,
    OtherProof,
    ProofOutcome,
    ReadingTaken,
)
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"
Spoil = Callable[["Making", State], State]


def again(making: "Making", state: State, keep: Callable[[Event], bool], **opened: str) -> State:
    """Fold a proof again without some of its events, opened otherwise if told."""
    events = [event for event in state.events[1:] if keep(event)]
    first = type(state.opened)(**{**vars(state.opened), **opened})
    return fold([first, *events], making.files)


def is_cell(event: Event, position: str, pair: tuple[str, str]) -> bool:
    return isinstance(event, ReadingTaken) and (event.position, event.pair) == (position, pair)


def opened_to_find(making: "Making", state: State) -> State:
    return again(making, state, lambda _: True, mode=Mode.FIND)


def one_cell_left_out(making: "Making", state: State) -> State:
    return again(making, state, lambda event: not is_cell(event, "N", ("F", "E")))


def one_cell_wrong(making: "Making", state: State) -> State:
    kept = one_cell_left_out(making, state)
    return making.followed(kept, making.taken("N", "F-E", "OL"), making.taken("N", "F-E", "0.1"))


def one_cell_only_marked(making: "Making", state: State) -> State:
    # The chart asks for 270 ohm there, which a continuity mark cannot show.
    kept = again(making, state, lambda event: not is_cell(event, "3", ("C", "E")))
    return kept.after(making.taken("3", "C-E", "c"))


def start_permit_read_once(making: "Making", state: State) -> State:
    seen: list[Event] = []

    def keep(event: Event) -> bool:
        if is_cell(event, "D", ("G", "H")):
            seen.append(event)
            return len(seen) == 1
        return True

    return again(making, state, keep)


def start_permit_not_read(making: "Making", state: State) -> State:
    return again(making, state, lambda event: not is_cell(event, "D", ("G", "H")))


def start_permit_closed(making: "Making", state: State) -> State:
    return making.followed(
        start_permit_not_read(making, state),
        making.taken("D", "G-H", "0.1"),
        making.taken("D", "G-H", "0.1", again=True),
        making.taken("D", "G-H", "0.1", again=True),
    )


def contact_open(making: "Making", state: State) -> State:
    kept = again(making, state, lambda event: not is_cell(event, "R", ("J", "K")))
    return making.followed(kept, *(making.taken("R", "J-K", "OL") for _ in range(3)))


def withdrawn_and_left(making: "Making", state: State) -> State:
    more = state.after(making.taken("N", "F-E", "0.1"))
    return more.after(making.withdrawn(more.seq))


def nothing_but_open(making: "Making", state: State) -> State:
    kept = again(making, state, lambda event: not isinstance(event, ReadingTaken))
    return making.worked(kept, lambda _, __: "OL")


def no_meter(making: "Making", state: State) -> State:
    return again(making, state, lambda event: not isinstance(event, MeterChosen))


def overdue(making: "Making", state: State) -> State:
    kept = again(making, state, lambda event: not isinstance(event, MeterChosen))
    meter = making.meter(due_on="2026-03-01")
    return fold([kept.opened, meter, *kept.events[1:]], making.files)


def edge_at_a_gear_detent(making: "Making", state: State) -> State:
    """Note that a permit opens a degree past D, read open there twice: no fault explains it."""
    edge = EdgeFound(AT, "ab", "D", ("G", "H"), 1.0, 0.2, "0.1", "OL")
    return state.after(edge)


def not_to_be_reused(making: "Making", state: State) -> State:
    return state.after(InspectionNoted(AT, "ab", "housing cracks", "do not reuse", "bad"))


def check_failed(making: "Making", state: State) -> State:
    good = GearChecked(AT, "ab", "M-1", Check.NO_VOLTAGE, 0.0, ok=True)
    return making.followed(
        state, good, GearChecked(AT, "ab", "M-1", Check.RESISTOR, 103.0, False, 100.0, 1.0)
    )


def roles_not_told(making: "Making", state: State) -> State:
    family = shipped("families", "valley-coded-7").replace(b'role = "start permit"\n', b"")
    return making.worked(making.started(family, "untold"))


def permit_charted_closed(making: "Making", state: State) -> State:
    permit = b'role = "start permit"\nexpect = ["closed", "open", "open"]'
    wrong = permit.replace(b'"closed", "open", "open"', b'"closed", "open", "closed"')
    assert permit in SMALL
    return making.worked(making.started(SMALL.replace(permit, wrong)))


def another(outcome: str, unsafe: bool = False) -> OtherProof:
    cells = ("G-H in D: 0.1 ohm",) if unsafe else ()
    return OtherProof(
        AT, "ab", "S-1.1", 1, outcome, AT, "ab", against=cells or ("A-E in P: over-range",),
        starts_in_gear=cells,
    )  # fmt: skip


def noted_at_opening(making: "Making", state: State, event: Event) -> State:
    return fold([*state.events[:2], event, *state.events[2:]], making.files)


def another_saw_a_start_in_gear(making: "Making", state: State) -> State:
    return noted_at_opening(making, state, another("repair", unsafe=True))


def another_found_a_fault(making: "Making", state: State) -> State:
    return noted_at_opening(making, state, another("repair"))


def slip_withdrawn(making: "Making", state: State) -> State:
    failed = state.after(making.taken("N", "F-E", "OL"))
    return making.followed(
        failed, making.withdrawn(failed.seq), making.taken("N", "F-E", "0.1", again=True)
    )


CASES: list[tuple[str, Spoil, str]] = [
    ("roles-told", roles_not_told, "Which pair is the start permit"),
    ("other-proof-safe", another_saw_a_start_in_gear, "DANGER: proof S-1.1 of this part saw"),
    ("chart-fit", permit_charted_closed, "Mend it, or say by name why it is right"),
    ("withdrawn-counts", slip_withdrawn, "it still counts: 2 readings since must agree"),
    ("other-proof-mended", another_found_a_fault, "Proof S-1.1 of this part (repair: A-E in P"),
    ("prove-mode", opened_to_find, "passes nothing; open one to prove"),
    ("every-cell-read", one_cell_left_out, "1 cell is not read: F-E in N."),
    ("no-cell-fails", one_cell_wrong, "F-E in N fails: 2 readings disagree"),
    ("no-cell-undecided", one_cell_only_marked, "C-E in 3 is undecided: marked closed"),
    ("start-permit-twice", start_permit_read_once, "probes set anew: G-H in D. Nobody"),
    ("start-permit-beside", edge_at_a_gear_detent, "G-H conducts at +1.0 deg from D"),
    ("start-permit-read", start_permit_not_read, "not read: G-H in D. Nobody"),
    ("start-permit-open", start_permit_closed, "DANGER: start permit G-H in D"),
    (
        "withdrawn-read-again",
        withdrawn_and_left,
        "(F-E in N, 0.1 ohm) withdrawn as slip by ab: probe slipped. Its cell was not",
    ),
    ("readings-of-this-chart", nothing_but_open, "in doubt: nothing conducts"),
    ("diagnosis-decided", contact_open, "The diagnosis leaves a doubt"),
    ("meter-named", no_meter, "No meter was named"),
    ("meter-calibrated", overdue, "M-1 was due for calibration on 2026-03-01"),
    ("gear-checked", check_failed, "The last check of M-1 (known resistor) failed"),
    ("inspection", not_to_be_reused, "not to reuse it: housing cracks (bad)"),
]


@pytest.mark.parametrize(("rule", "spoil", "said"), CASES)
def test_each_rule_by_itself(
    making: "Making", accepted: State, rule: str, spoil: Spoil, said: str
) -> None:
    assert not accepted.objections
    spoilt = spoil(making, accepted)
    found = {objection.name: objection.sentence for objection in spoilt.objections}
    assert said in found[rule]
    with pytest.raises(ProofProblem):
        closing(spoilt, AT, "ab", "0.1.0", ProofOutcome.ACCEPTED)


ALONE = {
    "other-proof-safe": another_saw_a_start_in_gear,
    "other-proof-mended": another_found_a_fault,
    "start-permit-twice": start_permit_read_once,
    "prove-mode": opened_to_find,
    "no-cell-fails": one_cell_wrong,
    "withdrawn-read-again": withdrawn_and_left,
    "meter-named": no_meter,
    "meter-calibrated": overdue,
    "gear-checked": check_failed,
    "inspection": not_to_be_reused,
}


@pytest.mark.parametrize("rule", ALONE)
def test_nothing_else_stands_against_it(making: "Making", accepted: State, rule: str) -> None:
    assert {one.name for one in ALONE[rule](making, accepted).objections} == {rule}


def test_the_rules_are_all_tested_and_have_names_of_their_own() -> None:
    assert sorted(case[0] for case in CASES) == sorted(rule.name for rule in RULES)


def test_a_check_that_is_good_again_stands_against_nothing(
    making: "Making", accepted: State
) -> None:
    again_good = GearChecked(AT, "ab", "M-1", Check.RESISTOR, 100.2, True, 100.0, 1.0)
    assert not check_failed(making, accepted).after(again_good).objections


def test_the_day_it_is_due_is_still_good(making: "Making", accepted: State) -> None:
    kept = again(making, accepted, lambda event: not isinstance(event, MeterChosen))
    for due, good in (("2026-03-02", True), ("2026-03-01", False), ("", True)):
        state = fold([kept.opened, making.meter(due_on=due), *kept.events[1:]], making.files)
        assert bool(state.objections) is not good


def test_a_withdrawn_reading_that_was_read_again_stands_against_nothing(
    making: "Making", accepted: State
) -> None:
    reread = withdrawn_and_left(making, accepted).after(making.taken("N", "F-E", "0.1"))
    assert not reread.objections


def test_a_passing_reading_before_does_not_stand_in_for_a_withdrawn_failure(
    making: "Making", accepted: State
) -> None:
    """Or any failure could be made to go away."""
    failed = accepted.after(making.taken("N", "F-E", "OL"))
    undone = failed.after(making.withdrawn(failed.seq))
    assert undone.as_left.results["N", frozenset("FE")] is Result.FAIL
    assert "withdrawn-read-again" in [one.name for one in undone.objections]


def test_after_turning_what_was_read_before_proves_nothing(
    making: "Making", accepted: State
) -> None:
    turned = accepted.after(BodyTurned(AT, "ab"))
    names = [one.name for one in turned.objections]
    assert "every-cell-read" in names
    assert "since the body was turned" in " ".join(one.sentence for one in turned.objections)
    assert not making.worked(turned).objections


def test_a_good_proof_is_accepted(accepted: State) -> None:
    closed = closing(accepted, AT, "ab", "0.1.0")
    assert closed.outcome is ProofOutcome.ACCEPTED
    assert closed.reasons == ()
    assert closed.override_by == ""
    assert closed.concluded.verdict == "pass"


def test_an_override_needs_a_name_and_a_reason_and_is_kept(
    making: "Making", accepted: State
) -> None:
    late = overdue(making, accepted)
    for by, reason in (("Jo Invented", ""), ("", "checked against the other meter"), ("  ", "x")):
        with pytest.raises(ProofProblem, match="needs both"):
            closing(late, AT, "ab", "0.1.0", override_by=by, override_reason=reason)
    closed = closing(
        late, AT, "ab", "0.1.0", override_by="Jo Invented", override_reason="checked since"
    )
    assert closed.outcome is ProofOutcome.ACCEPTED
    assert (closed.override_by, closed.override_reason) == ("Jo Invented", "checked since")
    assert len(closed.reasons) == 1
    assert "due for calibration" in closed.reasons[0]


@pytest.mark.parametrize(
    "spoil",
    [
        start_permit_closed,
        start_permit_not_read,
        start_permit_read_once,
        roles_not_told,
        another_saw_a_start_in_gear,
        opened_to_find,
    ],
)
def test_nobody_can_answer_for_a_start_permit_or_a_find(
    making: "Making", accepted: State, spoil: Spoil
) -> None:
    with pytest.raises(ProofProblem, match="Not accepted"):
        closing(
            spoil(making, accepted), AT, "ab", "0.1.0", override_by="Jo", override_reason="hurry"
        )


def test_an_override_of_nothing_or_of_another_outcome_is_refused(accepted: State) -> None:
    with pytest.raises(ProofProblem, match="Nothing stands against"):
        closing(accepted, AT, "ab", "0.1.0", override_by="Jo", override_reason="sure")
    with pytest.raises(ProofProblem, match="needs no override"):
        closing(
            accepted, AT, "ab", "0.1.0", ProofOutcome.REPAIR, override_by="Jo", override_reason="x"
        )


def test_a_proof_is_closed_once(accepted: State) -> None:
    closed = accepted.after(closing(accepted, AT, "ab", "0.1.0"))
    with pytest.raises(ProofProblem, match="closed as accepted"):
        closing(closed, AT, "ab", "0.1.0")


def test_as_what_it_is_closed_by_itself(making: "Making", accepted: State) -> None:
    assert outcome_of(making.shipped()) is None
    lost = making.worked(
        making.shipped(),
        lambda state, action: "OL" if "B" in action.pair else making.charted(state, action),
    )
    assert outcome_of(lost) is ProofOutcome.REPAIR
    assert outcome_of(start_permit_closed(making, accepted)) is ProofOutcome.REPAIR
    assert outcome_of(nothing_but_open(making, accepted)) is ProofOutcome.RECHECK
    assert outcome_of(one_cell_wrong(making, accepted)) is None
    found = making.worked(making.shipped(mode=Mode.FIND))
    assert outcome_of(found) is ProofOutcome.LIKELY_GOOD
    with pytest.raises(ProofProblem, match=r"Nothing is decided yet \(.*[^.]\); read on"):
        closing(making.shipped(), AT, "ab", "0.1.0")
    assert closing(making.shipped(), AT, "ab", "0.1.0", ProofOutcome.ABANDONED).reasons


def test_why_nothing_is_decided_is_told_by_what_the_proof_is_for(making: "Making") -> None:
    """A find can end as likely good, so what stands against that is told; else what comes first."""
    for mode in Mode:
        state = making.followed(making.shipped(mode=mode), making.taken("P", "A-E", "OL"))
        with pytest.raises(ProofProblem) as told:
            closing(state, AT, "ab", "0.1.0")
        against = "(A-E in P is against the chart or undecided: "
        assert (against in f"{told.value}") is (mode is Mode.FIND)
        first = state.objections[0].sentence.rstrip(".")
        assert (f"({first})" in f"{told.value}") is (mode is Mode.PROVE)


def test_how_many_more_stand_against_accepting_is_told(making: "Making") -> None:
    state = making.followed(making.shipped(), making.taken("P", "A-E", "OL"))
    # Of those only that a person can answer for; else the first of the others refuses it.
    state.__dict__["objections"] = tuple(one for one in state.objections if one.overridable)
    assert len(state.objections) > 2
    with pytest.raises(ProofProblem) as told:
        closing(state, AT, "ab", "0.1.0", ProofOutcome.ACCEPTED)
    assert f"({len(state.objections) - 1} more: see" in f"{told.value}"
    state.__dict__["objections"] = state.objections[:1]
    with pytest.raises(ProofProblem) as alone:
        closing(state, AT, "ab", "0.1.0", ProofOutcome.ACCEPTED)
    assert f"{alone.value}" == f"Not accepted: {state.objections[0].sentence}"


def test_a_chart_too_large_for_a_diagnosis_is_proved_by_judgement(
    making: "Making", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchproof.diagnose.tables.MOST_WORK", 100.0)
    pins = [f"X{n}" for n in range(50)]
    rows = [f"{a}-{b},closed,open" for a, b in zip(pins[::2], pins[1::2], strict=True)]
    family = "\n".join(["pins,P,D", "start permit,none", *rows]).encode()
    state = making.started(family, "large")
    assert state.as_left.posterior is None
    assert any("only the chart is judged" in caution for caution in state.cautions)
    done = making.worked(state)
    assert len(done.as_left.taken) == 50
    assert not done.objections
    closed = closing(done, AT, "ab", "0.1.0")
    assert closed.outcome is ProofOutcome.ACCEPTED
    assert closed.concluded.verdicts is None
    # To find works likewise: there is nothing to choose readings by.
    assert making.worked(making.started(family, "large", Mode.FIND)).next == done.next


def test_cautions_stand_where_the_act_is(making: "Making", accepted: State) -> None:
    fresh = " ".join(making.shipped().cautions)
    assert "unplugged from the vehicle and de-energised" in fresh
    assert "wheels chocked" not in fresh
    turned = " ".join(accepted.after(BodyTurned(AT, "ab")).cautions)
    assert "tightening turns the body" in turned
    danger = start_permit_closed(making, accepted)
    assert f"{danger.dangers[0]}".startswith("DANGER: start permit G-H in D")
    assert any("repair business" in caution for caution in danger.cautions)
    assert any("due for calibration" in caution for caution in overdue(making, accepted).cautions)
    assert any("No meter was named" in caution for caution in no_meter(making, accepted).cautions)


def test_where_it_says_to_realign_it_says_how_not_to_be_run_over(making: "Making") -> None:
    from benchproof.diagnose.verdict import PartVerdict
    from benchproof.network.states import at_detents, pair_ohms
    from benchproof.plan.actions import TakeReading
    from benchproof.reading.ideal import shown
    from benchproof.reading.value import Measured, format_value

    def off(state: State, action: TakeReading) -> str:
        family = state.ground.family
        assert family.detents_deg is not None
        lean = 0.0
        p = family.positions.index(action.position)
        if action.lean:
            toward = family.detents_deg[family.positions.index(action.lean)]
            lean = 0.3 * (toward - family.detents_deg[p])
        ohms = pair_ohms(family, [action.pair], at_detents(family, 6.0 + lean))
        value = shown(float(ohms[p, 0]), state.as_left.meter)
        return format_value(value) + (" ohm" if isinstance(value, Measured) else "")

    done = making.worked(making.shipped(mode=Mode.FIND), off)
    assert done.as_left.known is not None
    assert done.as_left.known.decided is PartVerdict.REALIGN
    assert any("wheels chocked" in caution for caution in done.cautions)
    assert outcome_of(done) is ProofOutcome.REALIGN


def test_every_rule_is_documented() -> None:
    documented = (Path(__file__).parents[2] / "docs" / "proof.md").read_text(encoding="utf-8")
    for rule in RULES:
        (row,) = (line for line in documented.splitlines() if line.startswith(f"| `{rule.name}` |"))
        assert row.endswith(f"| {'yes' if rule.overridable else 'no'} |")
