"""What the archive knows of a part is ground of its proofs, and stands on its papers."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from benchproof.conduct.metering import Instrument, name_meter
from benchproof.conduct.opening import note_known, open_proof
from benchproof.conduct.papers import certificate, part_tag
from benchproof.conduct.proofactions import note_work, take_reading, take_sheet, withdraw
from benchproof.conduct.shelflist import shelved
from benchproof.conduct.work import Work, now
from benchproof.proof.closing import closing
from benchproof.proof.events import Mistake, Mode, ProofOutcome
from benchproof.proof.problems import ProofProblem
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.record.rows import CoreRow, GearRow, PartRow, PersonRow
from benchproof.record.store import Store, open_store
from benchproof.report.text import certificate_text
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family, shipped_meter

FAMILY = "valley-coded-7"
AT = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(f"{tmp_path}/shop.sqlite", lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("families", FAMILY))
        store.cores.add(CoreRow("C-1", AT))
        for initials, name in (("ab", "invented"), ("cd", ""), ("jo", "Jo Invented")):
            store.people.add(PersonRow(initials, name))
        store.parts.add(PartRow("S-1", FAMILY, file, AT, core="C-1"))
        for tag, name in (("M-1", "depot-bench"), ("M-2", "ordinary-handheld")):
            meter = store.files.put(shipped_bytes("meters", name))
            store.gear.add(GearRow(tag, "meter", meter, date(2026, 1, 1), date(2100, 1, 1)))
        yield store


def opened(store: Store, mode: Mode = Mode.PROVE, meter: str = "M-1") -> Work:
    return open_proof(store, "S-1", mode, meter=meter, by="ab", another=True)


def read_good(work: Work) -> None:
    readings = ideal_readings(shipped_family(FAMILY), shipped_meter("depot-bench"))
    take_sheet(work, "ab", write_readings(readings).encode(), "good.csv")
    for position in ("R", "D", "3", "2", "1"):
        take_reading(work, "ab", (position, "G-H", "OL"), again=True)


def close(work: Work, outcome: ProofOutcome | None = None, who: str = "") -> None:
    note_known(work)
    why = "looked at again" if who else ""
    work.append(
        lambda state: closing(
            state, now(), "ab", "0.1.0", outcome, override_by=who, override_reason=why
        )
    )


def rules(work: Work) -> list[str]:
    return [one.name for one in work.state.objections]


def told(store: Store, tag: str) -> str:
    return " ".join(certificate_text(certificate(store, tag)).split())


def test_a_repair_that_nobody_did_is_not_forgotten(store: Store) -> None:
    """Proof 1 closed as repair, proof 2 accepted: the certificate never mentioned proof 1."""
    first = opened(store)
    take_reading(first, "ab", ("P", "A-E", "OL"))
    close(first, ProofOutcome.REPAIR)
    second = opened(store)
    read_good(second)
    assert rules(second) == ["other-proof-mended"]
    with pytest.raises(ProofProblem, match=r"Proof S-1\.1 of this part \(repair: A-E in P"):
        close(second)
    close(second, who="Jo Invented")
    assert "Other proof S-1.1: repair," in told(store, "S-1.2")
    assert "against the chart: A-E in P" in told(store, "S-1.2")


def test_a_start_in_gear_is_cleared_by_a_repair_and_a_whole_proof_only(store: Store) -> None:
    first = opened(store, Mode.FIND)
    take_reading(first, "ab", ("D", "G-H", "0.1"))
    close(first, ProofOutcome.ABANDONED)
    second = opened(store)
    read_good(second)
    with pytest.raises(ProofProblem, match=r"DANGER: proof S-1\.1"):
        close(second, ProofOutcome.ACCEPTED, who="Jo Invented")
    with pytest.raises(ProofProblem, match="who did it"):
        note_work(second, "", "contact replaced")
    note_work(second, "cd", "contact replaced")
    assert rules(second) == ["other-proof-safe"], "every cell is to be read after it"
    third = opened(store)
    assert "other-proof-safe" not in rules(third), "work was noted in the second"
    read_good(third)
    close(third, ProofOutcome.ACCEPTED)
    paper = told(store, third.tag)
    assert "DANGER: G-H in D" in paper
    assert "done since: contact replaced (cd)" in paper


def test_a_proof_left_open_or_opened_later_counts_too(store: Store) -> None:
    first, second = opened(store), opened(store)
    read_good(first)
    assert rules(first) == []
    take_reading(second, "ab", ("D", "G-H", "0.1"))
    with pytest.raises(ProofProblem, match=r"DANGER: proof S-1\.2"):
        close(first)
    assert [event.outcome for _, event in first.state.others] == ["open"]


def test_work_noted_before_another_proof_ended_does_not_clear_what_it_saw(store: Store) -> None:
    first, second = opened(store), opened(store)
    note_work(second, "cd", "contact replaced")
    take_reading(first, "ab", ("D", "G-H", "0.1"))
    third = opened(store)
    assert "other-proof-safe" in rules(third)


def test_what_did_not_change_is_noted_once(store: Store) -> None:
    first, second = opened(store), opened(store)
    seq = second.state.seq
    note_known(second)
    assert second.state.seq == seq
    take_reading(first, "ab", ("P", "A-E", "0.1"))
    note_known(second)
    assert second.state.seq == seq


def test_a_record_that_cannot_be_read_may_hold_anything(store: Store) -> None:
    store.proofs.open("S-1", b"no event", mode="prove")
    work = opened(store)
    read_good(work)
    assert rules(work) == ["other-proof-mended"]
    assert "its record cannot be read" in work.state.objections[0].sentence


def test_a_core_not_to_be_reused_gives_no_accepted_parts(store: Store) -> None:
    store.conditions.note(core="C-1", item="housing cracks", grade="bad", remark="at the ear")
    work = opened(store)
    read_good(work)
    assert rules(work) == ["inspection"]
    with pytest.raises(ProofProblem, match=r"not to reuse it: housing cracks \(core C-1\)"):
        close(work)
    # Graded anew, the latest counts; the proof still open is told when it is closed.
    store.conditions.note(core="C-1", item="housing cracks", grade="sound")
    close(work)
    assert "Inspected by eye: housing cracks (core C-1): measure, sound" in told(store, work.tag)


def test_a_withdrawn_reading_stands_on_the_paper_with_cell_value_kind_and_who(
    store: Store,
) -> None:
    work = opened(store)
    read_good(work)
    take_reading(work, "ab", ("N", "F-E", "OL"))
    withdraw(work, "ab", None, "slid off", Mistake.SLIP)
    take_reading(work, "ab", ("N", "F-E", "0.1"), again=True)
    close(work, ProofOutcome.ACCEPTED, who="Jo Invented")
    paper = told(store, work.tag)
    assert "F-E in N, OL) withdrawn as slip by ab: slid off; it still counts: 2 readings" in paper


def test_the_paper_tells_what_conducts_and_not_the_open_read_after_it(store: Store) -> None:
    work = opened(store)
    take_reading(work, "ab", ("D", "G-H", "0.1"))
    withdraw(work, "ab", None, "slid off", Mistake.SLIP)
    for _ in range(2):
        take_reading(work, "ab", ("D", "G-H", "OL"), again=True)
    close(work, ProofOutcome.REPAIR)
    assert "DANGER: start permit G-H in D reads 0.1 ohm:" in told(store, work.tag)


def test_an_override_shows_on_shelf_and_tag_by_name(store: Store) -> None:
    work = opened(store)
    take_sheet(work, "ab", b"pins,P\nA-E,OL\n", "bad.csv")
    withdraw(work, "ab")
    read_good(work)
    close(work, ProofOutcome.ACCEPTED, who="Jo Invented")
    store.shelf.move("S-1", "stock")
    (one,) = shelved(store)
    assert (one.override_by, one.override_reason) == ("Jo Invented", "looked at again")
    tag = part_tag(store, store.parts.get("S-1"))
    assert tag.last is not None
    assert tag.last.override_by == "Jo Invented"
    assert "OVERRIDE" in tag.standing


def test_a_part_that_was_proved_needs_nobody_to_answer_for_it(store: Store) -> None:
    work = opened(store)
    read_good(work)
    close(work)
    store.shelf.move("S-1", "stock")
    assert [one.override_by for one in shelved(store)] == [""]


def test_the_meter_that_reads_is_the_meter_that_is_recorded(store: Store) -> None:
    work = opened(store, meter="M-2")
    name_meter(work, Instrument("M-1", "Invented, bench meter, 7"), "ab")
    chosen = work.state.meter_chosen
    assert chosen is not None
    assert (chosen.tag, chosen.identity, chosen.due_on) == (
        "M-1",
        "Invented, bench meter, 7",
        "2100-01-01",
    )
    seq = work.state.seq
    read_good(work)
    name_meter(work, Instrument("M-1", "Invented, bench meter, 7"), "ab")
    assert work.state.meter_chosen == chosen
    assert work.state.seq > seq
    for other in (Instrument("M-2"), Instrument("M-1", "Invented, bench meter, 8")):
        with pytest.raises(ProofProblem, match=r"S-1\.1 has readings of M-1, and this meter is"):
            name_meter(work, other, "ab")
    close(work)
    paper = told(store, work.tag)
    assert "(M-1)" in paper
    assert "Invented, bench meter, 7" in paper


def test_a_gear_file_that_does_not_say_which_meter_it_is_vouches_for_none(store: Store) -> None:
    work = opened(store, meter="M-1")
    with pytest.raises(ProofProblem, match='add which = "M-1" to its'):
        name_meter(work, Instrument(), "ab")
    unnamed = opened(store, meter="")
    name_meter(unnamed, Instrument("", "some meter"), "ab")
    assert unnamed.state.meter_chosen is None
    named = opened(store, meter="")
    name_meter(named, Instrument("M-1"), "ab")
    assert named.state.meter_chosen is not None
    of_a_file = opened(store, meter="depot-bench")
    name_meter(of_a_file, Instrument("", "some meter"), "ab")
    chosen = of_a_file.state.meter_chosen
    assert chosen is not None
    assert (chosen.tag, chosen.identity) == ("", "some meter")


def test_an_overdue_meter_that_reads_stands_against_accepting(store: Store) -> None:
    file = store.files.put(shipped_bytes("meters", "depot-bench"))
    store.gear.add(GearRow("M-3", "meter", file, date(2019, 1, 1), date(2020, 1, 1)))
    work = opened(store, meter="M-1")
    name_meter(work, Instrument("M-3", "Invented"), "ab")
    read_good(work)
    assert rules(work) == ["meter-calibrated"]


def seen_in(work: Work) -> set[tuple[str, str]]:
    return {(one.item, one.grade) for one in work.state.as_left.evidence.seen}


def test_what_the_intake_saw_of_core_and_part_is_evidence(store: Store) -> None:
    """It was noted on the paper only, and nothing that is believed knew of it."""
    store.conditions.note(core="C-1", item="bent pins", grade="bad", by="ab")
    store.conditions.note(part="S-1", item="fluid in connector", grade="slight")
    work = opened(store)
    assert seen_in(work) == {("bent pins", "bad"), ("fluid in connector", "slight")}
    assert work.state.as_left.diagnosis is not None
    assert [one.partition(",")[0] for one in work.state.as_left.diagnosis.seen] == [
        "bent pins (bad)", "fluid in connector (slight)",
    ]  # fmt: skip
    assert Work(store, work.tag).state.as_left.known == work.state.as_left.known


def test_what_is_looked_at_again_counts_as_it_was_seen_last(store: Store) -> None:
    """Bad, put right, bad again: the last word of the intake is the last word of the proof."""
    store.conditions.note(core="C-1", item="bent pins", grade="bad")
    work = opened(store)
    for grade in ("sound", "bad"):
        store.conditions.note(core="C-1", item="bent pins", grade=grade)
        note_known(work)
        note_known(work)
        assert seen_in(work) == {("bent pins", grade)}
    assert [one.graded for one in work.state.inspections] == ["bad", "sound", "bad"]


def test_what_an_older_version_noted_becomes_evidence_when_looked_up(store: Store) -> None:
    store.conditions.note(core="C-1", item="bent pins", grade="bad", by="ab")
    work = opened(store)
    now_noted = work.state.inspections[-1]
    older = replace(now_noted, checked=None, graded=None)
    work.record(older)
    assert seen_in(work) == set()
    note_known(work)
    assert seen_in(work) == {("bent pins", "bad")}
