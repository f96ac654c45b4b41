"""Initials are somebody's: of whoever the archive knows, or left out."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchproof.conduct.opening import open_proof
from benchproof.conduct.people import check_answering, check_somebody
from benchproof.conduct.proofactions import (
    note_work,
    take_back_turn,
    take_reading,
    take_sheet,
    turn,
    withdraw,
)
from benchproof.conduct.work import Work
from benchproof.proof.closing import closing
from benchproof.proof.codec import encode
from benchproof.proof.events import (
    InspectionNoted,
    Mode,
    Opened,
    OtherProof,
    ProofOutcome,
    Remarked,
)
from benchproof.record.problems import RecordProblem
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import Store, open_store
from benchproof.shipped.contents import shipped_bytes

FAMILY = "valley-coded-7"
AT = "2026-03-02T14:05:09+01:00"
NOBODY = (
    "'zz': nobody in this archive has these initials; add them with benchproof person add zz, or "
    "on the page under People."
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(f"{tmp_path}/shop.sqlite", lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("families", FAMILY))
        store.parts.add(PartRow("S-1", FAMILY, file, datetime.now(UTC)))
        store.people.add(PersonRow("ab", "Ab Invented"))
        yield store


def test_no_act_bears_the_initials_of_nobody(store: Store) -> None:
    """Nothing is recorded, and the sentence says how to add that person."""
    work = open_proof(store, "S-1", Mode.PROVE, meter="depot-bench", by="ab")
    take_reading(work, "ab", ("P", "A-E", "0.1"))
    turn(work, "ab")
    before = work.state
    acts = (
        lambda: take_reading(work, "zz", ("P", "A-E", "0.1")),
        lambda: take_sheet(work, "zz", b"pins,P\nA-E,0.1\n", "one.csv"),
        lambda: withdraw(work, "zz", 3, "slid off"),
        lambda: note_work(work, "zz", "cleaned"),
        lambda: turn(work, "zz"),
        lambda: take_back_turn(work, "zz"),
        lambda: work.record(Remarked(AT, "zz", "so")),
        lambda: work.append(lambda s: closing(s, AT, "zz", "0.1.0", ProofOutcome.ABANDONED)),
    )
    for act in acts:
        with pytest.raises(RecordProblem) as problem:
            act()
        assert str(problem.value) == NOBODY
    assert work.state is before
    assert Work(store, "S-1.1").state.events == before.events
    with pytest.raises(RecordProblem, match="'zz': nobody"):
        open_proof(store, "S-1", Mode.PROVE, by="zz")
    assert len(store.proofs.list()) == 1
    # Once added they are somebody's; left out they are nobody's.
    store.people.add(PersonRow("zz", ""))
    take_reading(work, "zz", ("P", "A-E", "0.1"))
    take_reading(work, "", ("P", "A-E", "0.1"))
    assert [event.by for event in work.state.events[-2:]] == ["zz", ""]


def test_who_answers_for_an_override_is_somebody(store: Store) -> None:
    for who in ("", "ab", "Ab Invented"):
        check_answering(store, who)
    with pytest.raises(RecordProblem) as problem:
        check_answering(store, "Jo Invented")
    assert str(problem.value) == (
        "'Jo Invented': nobody in this archive has this name or these initials, and an override is "
        "somebody's; add them with benchproof person add INITIALS --name 'Jo Invented', or on the "
        "page under People."
    )


def test_what_an_older_version_let_in_is_gone_on_with(store: Store) -> None:
    """A proof opened by initials that nobody has is read, added to and closed all the same."""
    first = open_proof(store, "S-1", Mode.PROVE, meter="depot-bench")
    opened = first.state.opened
    older = Opened(**{**vars(opened), "by": "old"})
    tag = store.proofs.open("S-1", encode(older), mode="prove")
    work = Work(store, tag)
    work.record(OtherProof(AT, "old", "S-1.1", 1, "open", AT))
    work.record(InspectionNoted(AT, "old", "pins", "sound"))
    take_reading(work, "ab", ("P", "A-E", "0.1"))
    assert work.state.opened.by == "old"


@pytest.mark.parametrize("initials", ["\x1b[2J", "a b'c", "ü" * 90])
def test_odd_initials_cannot_take_over_a_terminal(store: Store, initials: str) -> None:
    with pytest.raises(RecordProblem) as problem:
        check_somebody(store, initials)
    assert "\x1b" not in str(problem.value)
    assert "\n" not in str(problem.value)
