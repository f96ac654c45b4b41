"""A proof as a fold of its events."""

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.family.model import same_pair
from benchproof.judge.sheet import SheetVerdict, judge_sheet
from benchproof.plan.actions import BenchPlace
from benchproof.proof.codec import encode
from benchproof.proof.conclusion import digest_of
from benchproof.proof.events import (
    BodyTurned,
    Event,
    InspectionNoted,
    LeverAt,
    Mode,
    Photographed,
    Remarked,
    TurnTakenBack,
)
from benchproof.proof.ground import _basis
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"
CELLS = [(p, pair) for p in ("P", "R", "D") for pair in ("A-E", "B-E", "C-F")]
VALUES = ("c", "o", "0.1", "OL", "100", "101.3", "1.9", "55 kohm")

reading = st.tuples(st.sampled_from(CELLS), st.sampled_from(VALUES))


@st.composite
def histories(draw: st.DrawFn, making: "Making") -> list[Event]:
    """Events that can follow each other, after the first two."""
    state = making.started()
    for _ in range(draw(st.integers(0, 12))):
        counted = [one.seq for setting in state.settings for one in setting.taken]
        kinds = ["read", "read", "read", "lean", "turn", "remark", "lever", "see"]
        stands = [one.seq for one in state.noted_turns if one.back is None]
        kinds += ["take back"] * bool(stands)
        match draw(st.sampled_from(kinds + ["withdraw"] * 2 * bool(counted))):
            case "read":
                (position, pair), value = draw(reading)
                event: Event = making.taken(position, pair, value)
            case "lean":
                pair = draw(st.sampled_from(["A-E", "E-B", "A-B", "A-case"]))
                event = making.taken("R", pair, draw(st.sampled_from(VALUES)), lean="P")
            case "turn":
                event = BodyTurned(AT, "ab")
            case "take back":
                event = TurnTakenBack(AT, "ab", draw(st.sampled_from(stands)), "so")
            case "remark":
                event = Remarked(AT, "ab", "so")
            case "lever":
                event = LeverAt(AT, "ab", draw(st.sampled_from(["P", "R", "D"])))
            case "see":
                event = InspectionNoted(AT, "ab", "pins", "clean first")
            case _:
                event = making.withdrawn(draw(st.sampled_from(counted)))
        state = state.after(event)
    return list(state.events)


@settings(max_examples=25)
@given(data=st.data())
def test_one_event_more_is_the_fold_of_them_all(data: st.DataObject, making: "Making") -> None:
    """A screen that follows a proof must show what anyone who opens it later sees."""
    events = data.draw(histories(making))
    state = fold(events[:1], making.files)
    for count in range(1, len(events)):
        # Everything is looked at on the way, so that what is kept from step to step is used.
        assert state.next is not None
        state = state.after(events[count])
    whole = fold(events, making.files)
    assert state == whole
    assert digest_of(state) == digest_of(whole)


OTHERS = [(p, pair) for p in ("P", "R", "D") for pair in ("A-B", "A-case", "B-case")]


@settings(max_examples=40)
@given(data=st.data())
def test_the_order_of_different_cells_does_not_matter(
    data: st.DataObject, making: "Making"
) -> None:
    """The part does not know in which order it was read."""
    values = [(cell, data.draw(st.sampled_from(VALUES))) for cell in CELLS + OTHERS]
    other = data.draw(st.permutations(values))
    one, two = (
        making.followed(making.started(), *(making.taken(*cell, value) for cell, value in order))
        for order in (values, other)
    )
    assert one.as_left.judgement == two.as_left.judgement
    assert one.as_left.known is not None
    assert two.as_left.known is not None
    assert one.as_left.known.verdicts == pytest.approx(two.as_left.known.verdicts, abs=1e-12)
    assert one.as_left.known.hazard == pytest.approx(two.as_left.known.hazard, abs=1e-12)


@settings(max_examples=15)
@given(right=reading, rest=st.lists(reading, max_size=5))
def test_what_was_withdrawn_weighs_on_nothing_once_it_is_disproved(
    right: tuple[tuple[str, str], str], rest: list[tuple[tuple[str, str], str]], making: "Making"
) -> None:
    """A slip that was noticed and shown to be one must not weigh on the part."""
    before = making.followed(making.started(), *(making.taken(*c, value) for c, value in rest))
    slipped = before.after(making.taken("P", "A-E", "OL"))
    since = [
        making.taken("P", "A-E", "0.1"),
        making.taken("P", "A-E", "0.1", lean="R"),
        making.taken(*right[0], right[1]),
    ]
    undone = making.followed(slipped, making.withdrawn(slipped.seq), *since[:2])
    never = making.followed(before, *since[:2])
    assert not undone.as_left.kept
    undone, never = undone.after(since[2]), never.after(since[2])
    if undone.as_left.kept:
        # What came last speaks against the part, so the slip is not disproved after all.
        assert right == (("P", "A-E"), right[1])
        return
    assert undone.as_left.judgement == never.as_left.judgement
    assert undone.as_left.known == never.as_left.known


def test_withdrawn_readings_stay_among_the_events(making: "Making") -> None:
    state = making.started().after(making.taken("P", "A-E", "OL"))
    after = state.after(making.withdrawn(3, "touched the wrong pin"))
    assert after.as_left.taken == ()
    assert after.seq == 4
    assert after.events[2] == state.events[2]
    assert after.withdrawn[0].event.reason == "touched the wrong pin"
    assert state.as_left.taken != ()


@pytest.mark.parametrize(
    ("seq", "said"),
    [
        (3, "Reading 3 \\(A-E in P, OL\\) was withdrawn before \\('probe slipped'\\)"),
        (2, "Event 2 is no reading"),
        (99, "There is no reading 99; the proof has 4 events"),
    ],
)
def test_only_a_reading_that_counts_can_be_withdrawn(making: "Making", seq: int, said: str) -> None:
    state = making.followed(making.started(), making.taken("P", "A-E", "OL"), making.withdrawn(3))
    with pytest.raises(ProofProblem, match=said):
        state.after(making.withdrawn(seq))


def test_what_was_read_before_the_body_was_turned_is_as_found(making: "Making") -> None:
    state = making.followed(
        making.started(), making.taken("P", "A-E", "OL"), making.taken("R", "C-F", "0.1")
    )
    assert state.as_found is state.as_left
    turned = state.after(BodyTurned(AT, "ab", "3 mm clockwise"))
    assert turned.as_found.judgement == state.as_left.judgement
    assert turned.as_left.judgement.verdict is SheetVerdict.INCOMPLETE
    read = turned.after(making.taken("P", "A-E", "0.1"))
    assert [one.seq for one in read.as_left.taken] == [6]
    assert [one.seq for one in read.as_found.taken] == [3, 4]
    # Between two turns a reading is neither as found nor as left.
    again = read.after(BodyTurned(AT, "ab"))
    assert again.as_found.taken == state.as_left.taken
    assert again.as_left.taken == ()
    assert len(again.settings) == 3


def test_a_reading_as_found_can_be_withdrawn_later(making: "Making") -> None:
    state = making.followed(
        making.started(), making.taken("P", "A-E", "OL"), BodyTurned(AT, "ab"), making.withdrawn(3)
    )
    assert state.as_found.taken == ()


def test_after_the_end_only_remarks_follow(making: "Making", accepted: State) -> None:
    from benchproof.proof.closing import closing

    closed = accepted.after(closing(accepted, AT, "ab", "0.1.0"))
    assert closed.after(Remarked(AT, "ab", "shipped")).closed == closed.closed
    for event in (making.taken("P", "A-E", "0.1"), BodyTurned(AT, "ab"), making.withdrawn(3)):
        with pytest.raises(ProofProblem, match="closed as accepted; open a new one"):
            closed.after(event)


def test_a_proof_is_opened_once_and_first(making: "Making") -> None:
    state = making.started()
    with pytest.raises(ProofProblem, match="open already"):
        state.after(state.opened)
    with pytest.raises(ProofProblem, match="does not begin"):
        fold([making.taken("P", "A-E", "0.1")], making.files)
    with pytest.raises(ProofProblem, match="no events"):
        fold([], making.files)


def test_a_missing_file_is_told(making: "Making") -> None:
    opened = making.opened(b"never put")
    with pytest.raises(ProofProblem, match="is missing; restore it"):
        fold([opened], {})


def test_a_meter_is_chosen_before_the_first_reading(making: "Making") -> None:
    state = making.started().after(making.taken("P", "A-E", "0.1"))
    with pytest.raises(ProofProblem, match="taken with another meter"):
        state.after(making.meter("workshop-dial"))
    undone = state.after(making.withdrawn(3)).after(making.meter("workshop-dial"))
    assert undone.as_left.meter.name != state.as_left.meter.name


def test_a_value_is_parsed_with_the_meters_own_marks(making: "Making") -> None:
    """The invented dial shows 0 for closed and 1 for open."""
    dial = making.started().after(making.meter("workshop-dial"))
    cells = dial.after(making.taken("P", "A-E", "1")).as_left.judgement.cells
    assert cells[0].outcome.reason == "marked open, should be closed"
    cells = making.started().after(making.taken("P", "A-E", "1")).as_left.judgement.cells
    assert cells[0].outcome.result.value == "pass"


def test_leads_that_were_not_nulled_are_taken_off(making: "Making") -> None:
    meter = replace(making.meter("ordinary-handheld"), lead_ohm=1.5, ambient_c=10.0)
    state = making.started().after(meter).after(making.taken("P", "A-E", "1.6"))
    assert state.as_left.judgement.cells[0].outcome.reason.startswith("0.1 ohm")
    assert state.as_left.ambient_c == 10.0


@pytest.mark.parametrize(
    ("position", "pair", "value", "lean", "said"),
    [
        ("Q", ("A", "E"), "0.1", "", "'Q' is no position of small; known are P, R, D"),
        ("P", ("A", "Z"), "0.1", "", "'Z' is no pin of small"),
        ("P", ("A", "A"), "0.1", "", "names one pin twice"),
        ("P", ("A", "E"), "maybe", "", "'maybe' is no reading; type c"),
        ("P", ("A", "E"), "nan", "", "'nan'"),
        ("P", ("A", "E"), "900 Gohm", "", "more than .* can read; type OL"),
        ("P", ("A", "E"), "> 900 Gohm", "", "more than .* can read; type OL"),
        ("P", ("A", "E"), "0.1", "D", "D is not next to P"),
        ("P", ("A", "E"), "0.1", "X", "'X' is no position"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(
    making: "Making", position: str, pair: tuple[str, str], value: str, lean: str, said: str
) -> None:
    with pytest.raises(ProofProblem, match=said) as refused:
        making.started().after(making.taken(position, pair, value, lean))
    assert "\n" not in str(refused.value)


def test_state_knows_where_lever_and_meter_stand(making: "Making") -> None:
    state = making.started()
    assert state.at == BenchPlace("P")
    leaned = state.after(LeverAt(AT, "ab", "R", "D"))
    assert (leaned.at, leaned.lean) == (BenchPlace("R"), "D")
    assert leaned.as_left.start == BenchPlace("R")
    read = leaned.after(making.taken("D", "A-E", "0.1"))
    assert (read.at, read.lean) == (BenchPlace("D", ("A", "E")), "")


def test_pictures_and_words_are_kept(making: "Making") -> None:
    state = making.followed(
        making.started(),
        Photographed(AT, "ab", "0" * 64, "pins"),
        InspectionNoted(AT, "cd", "seal", "clean first", "oily"),
        Remarked(AT, "ab", "stiff"),
    )
    assert [one.what for one in state.photographs] == ["pins"]
    assert [one.remark for one in state.inspections] == ["oily"]
    assert [one.text for one in state.remarks] == ["stiff"]


def test_a_whole_proof_judges_as_the_sheet_of_its_readings(accepted: State) -> None:
    readings = [one.reading for one in accepted.as_left.taken]
    family = accepted.ground.family
    judged = judge_sheet(family, readings, accepted.as_left.meter)
    assert judged.verdict is accepted.as_left.judgement.verdict is SheetVerdict.PASS
    charted = {(p, same_pair(row.pair)) for row in family.chart for p in family.positions}
    assert set(accepted.as_left.times) == charted


@settings(max_examples=40)
@given(values=st.lists(st.sampled_from(VALUES), min_size=3, max_size=5), data=st.data())
def test_what_was_read_of_other_parts_does_not_show(
    values: list[str], data: st.DataObject, making: "Making"
) -> None:
    """What is kept from part to part must not know which part came first."""

    def conclusion(order: list[str]) -> str:
        events = [making.taken("R", "A-E", value) for value in order]
        return digest_of(making.followed(making.started(), *events))

    _basis.cache_clear()
    alone = conclusion(values)
    _basis.cache_clear()
    conclusion(data.draw(st.permutations(values)))
    # A mark agrees with every number that a buzzer is silent at, and is still none of them.
    for value in VALUES:
        conclusion([value] * len(values))
    assert conclusion(values) == alone


SCRIPT = """
import sys
from pathlib import Path
from hashlib import sha256
from benchproof.proof.codec import decode
from benchproof.proof.conclusion import digest_of
from benchproof.proof.state import fold

folder = Path(sys.argv[1])
files = {path.name: path.read_bytes() for path in (folder / "files").iterdir()}
events = [decode(line) for line in (folder / "events").read_bytes().splitlines()]
print(digest_of(fold(events, files)))
"""


def digest_elsewhere(events: Sequence[Event], files: dict[str, bytes], folder: Path) -> str:
    (folder / "files").mkdir(exist_ok=True)
    for key, content in files.items():
        (folder / "files" / key).write_bytes(content)
    (folder / "events").write_bytes(b"\n".join(encode(event) for event in events))
    found = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(folder)],
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHONHASHSEED": "4711"},
        text=True,
    )
    return found.stdout.strip()


@pytest.mark.parametrize("mode", Mode)
def test_another_process_comes_to_the_same_bits(
    making: "Making", tmp_path: Path, mode: Mode
) -> None:
    """Also if this one has seen other readings of the same cells before, in another order."""
    texts = ["0.1", "OL", "o", "1.9", "c"]

    def history(values: list[str]) -> State:
        cells = [("R", "A-E"), ("N", "B-E"), ("D", "G-H"), ("D", "G-H"), ("R", "A-E")]
        events = [making.taken(*cell, v) for cell, v in zip(cells, values, strict=True)]
        return making.followed(making.shipped(mode=mode), *events)

    digest_of(history(texts[::-1]))
    state = history(texts)
    assert digest_elsewhere(state.events, making.files, tmp_path) == digest_of(state)
