"""Each rule of acceptance on the smallest state that it looks at: what it says, and of what."""

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import pytest
from tests.proof.conftest import AT, SMALL

from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine.examination import DiagnosisResult
from benchproof.family.expectation import ANY, CLOSED, OPEN
from benchproof.family.model import CellName, ChartRow, Role
from benchproof.family.safety import Question, safety_of
from benchproof.judge.cell import CellOutcome as Judged
from benchproof.judge.cell import JudgedCell, Result
from benchproof.judge.sheet import SheetVerdict
from benchproof.network.files import read_family
from benchproof.proof.accept import RULES, Objection, final, flagged, objections
from benchproof.proof.closing import closing, outcome_of
from benchproof.proof.events import (
    BodyTurned,
    Check,
    Closed,
    GearChecked,
    InspectionNoted,
    Mistake,
    Mode,
    OtherProof,
    ProofOutcome,
    ReadingSource,
    ReadingTaken,
    ReadingWithdrawn,
    WorkDone,
)
from benchproof.proof.otherproofs import said_to_others, unreadable
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State
from benchproof.proof.taking import TakenReading
from benchproof.proof.withdrawal import (
    KeptReading,
    Withdrawn,
    alone,
    corroborates,
    further_of,
    kept,
)
from benchproof.reading.evidence import ConductingStretch
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value

if TYPE_CHECKING:
    from benchproof.examine.ground import Ground

SAFETY = safety_of(
    read_family(
        b"pins,P,R,N,D,role\nG-H,closed,open,closed,open,start permit\n"
        b"A-E,closed,open,open,closed,range bit\n",
        "chart.csv",
    )
)
PERMIT = ChartRow(("G", "H"), (), Role.START_PERMIT)
BIT = ChartRow(("A", "E"), (), Role.RANGE_BIT)
BEYOND = OverRange()
LATER = "2026-03-03T14:05:09+01:00"


def measured(ohm: float) -> Measured:
    return Measured(ohm, 0.1)


def reading(
    position: str = "D", pair: str = "G-H", value: Value = BEYOND, lean: str = ""
) -> Reading:
    first, second = pair.split("-")
    return Reading(position, (first, second), value, lean=lean)


def cell(
    result: Result, position: str = "D", row: ChartRow = PERMIT, *values: Value, why: str = "so"
) -> JudgedCell:
    read = tuple(Reading(position, row.pair, value) for value in values)
    guarded = SAFETY.guards(position, row.pair)
    return JudgedCell(position, row, OPEN, OPEN, read, Judged(result, why), guarded)


def taken(seq: int, one: Reading, by: str = "ab") -> TakenReading:
    return TakenReading(seq, one, by)


def withdrawn(
    one: TakenReading, seq: int = 90, kind: Mistake = Mistake.SLIP, by: str = "ab"
) -> Withdrawn:
    return Withdrawn(one, 0, seq, ReadingWithdrawn(AT, by, one.seq, "slid off", kind))


@dataclass
class Fake:
    """What the rules look at of a state."""

    cells: tuple[JudgedCell, ...] = ()
    mode: Mode = Mode.PROVE
    verdict: SheetVerdict = SheetVerdict.PASS
    reasons: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    unfit: tuple[str, ...] = ()
    kept: tuple[KeptReading, ...] = ()
    taken: tuple[TakenReading, ...] = ()
    withdrawn: tuple[Withdrawn, ...] = ()
    known: DiagnosisResult | None = None
    dangers: tuple[str, ...] = ()
    others: tuple[tuple[int, OtherProof], ...] = ()
    work: tuple[tuple[int, WorkDone], ...] = ()
    turns: int = 0
    beside: tuple[ConductingStretch, ...] = ()
    due_on: str = ""
    tag: str = "M-1"
    meter: bool = True
    checks: tuple[GearChecked, ...] = ()
    inspections: tuple[InspectionNoted, ...] = ()
    events: tuple[ReadingTaken, ...] = ()
    closed: Closed | None = None
    seq: int = 50
    results: dict[CellName, Result] = field(default_factory=dict)

    @property
    def state(self) -> State:
        """The state."""
        judged = SimpleNamespace(cells=self.cells, verdict=self.verdict, reasons=self.reasons)
        left = SimpleNamespace(
            judgement=judged,
            kept=self.kept,
            taken=self.taken,
            withdrawn=self.withdrawn,
            known=self.known,
            dangers=self.dangers,
            results=self.results,
            examination=SimpleNamespace(beside=self.beside),
        )
        unfit = tuple(SimpleNamespace(sentence=text) for text in self.unfit)
        made = SimpleNamespace(
            check=lambda _: None,
            as_left=left,
            mode=self.mode,
            ground=SimpleNamespace(
                safety=replace(SAFETY, questions=self.questions),
                family=SimpleNamespace(detents_deg=(0.0, 20.0, 40.0), lever=True),
                basis=SimpleNamespace(unfit=unfit),
            ),
            opened=SimpleNamespace(family="small", at=AT, by="ab"),
            others=self.others,
            work=self.work,
            turns=(BodyTurned(AT, "ab"),) * self.turns,
            settings=(left,) * (self.turns + 1),
            seq=self.seq,
            meter_chosen=SimpleNamespace(tag=self.tag, name="handheld", due_on=self.due_on)
            if self.meter
            else None,
            checks=self.checks,
            inspections=self.inspections,
            events=self.events,
            closed=self.closed,
        )
        state = cast("State", made)
        made.objections = objections(state)
        return state

    @property
    def said(self) -> list[tuple[str, str]]:
        """What stands against it: rule and sentence."""
        return [(one.name, one.sentence) for one in objections(self.state)]

    @property
    def names(self) -> list[str]:
        """The rules alone."""
        return [name for name, _ in self.said]


def test_nothing_stands_against_nothing() -> None:
    assert Fake().said == []
    assert final(Fake().state) == ()
    assert outcome_of(Fake().state) is ProofOutcome.ACCEPTED


OPENED = (
    " is not proved open (so): the engine could be cranked in gear. Nobody can answer for that."
)


def test_a_permit_that_fails_or_is_undecided() -> None:
    for result in (Result.FAIL, Result.UNDECIDED):
        said = Fake(cells=(cell(result),)).said
        assert said[0] == ("start-permit-open", f"DANGER: start permit G-H in D{OPENED}")
        assert len(said) == 2
        assert Fake(cells=(cell(result, "P"), cell(result, row=BIT))).names == [said[1][0]] * 2


def test_a_permit_not_read() -> None:
    unread = (cell(Result.MISSING), cell(Result.MISSING, "R"), cell(Result.MISSING, "P"))
    said = dict(Fake(cells=unread).said)
    assert said["start-permit-read"] == (
        "Start permit cells that must be open are not read: G-H in D, G-H in R. Nobody can answer "
        "for that."
    )
    assert said["every-cell-read"] == "3 cells are not read: G-H in D, G-H in R, G-H in P."
    turned = dict(Fake(cells=unread[:1], turns=1).said)["every-cell-read"]
    assert turned == "1 cell is not read since the body was turned: G-H in D."
    assert Fake(cells=unread[2:]).names == ["every-cell-read"]


@pytest.mark.parametrize(("count", "more"), [(12, ""), (13, " and 1 more"), (15, " and 3 more")])
def test_no_more_than_twelve_cells_are_named(count: int, more: str) -> None:
    (said,) = Fake(cells=(cell(Result.MISSING, "P"),) * count).said
    assert said[1] == f"{count} cells are not read: {', '.join(['G-H in P'] * 12)}{more}."


def test_what_fails_and_what_is_undecided() -> None:
    said = Fake(cells=(cell(Result.FAIL, row=BIT), cell(Result.UNDECIDED, row=BIT, why="why"))).said
    assert said == [
        (
            "no-cell-fails",
            "A-E in D fails: so. If a reading was wrong, withdraw it and read again.",
        ),
        (
            "no-cell-undecided",
            "A-E in D is undecided: why. Read it so that it decides.",
        ),
    ]


def test_a_withdrawn_reading_of_a_permit_stands_with_its_cell() -> None:
    gone = KeptReading(
        withdrawn(taken(3, reading(value=measured(0.1)))), "a slip reads open", False
    )
    elsewhere = KeptReading(withdrawn(taken(4, reading("R", "A-E"))), "never", False)
    fake = Fake(cells=(cell(Result.FAIL),), kept=(gone, gone, elsewhere))
    said = dict(fake.said)
    assert said["start-permit-open"] == (
        "DANGER: start permit G-H in D is not proved open (so; reading 3, G-H in D, 0.1 ohm, "
        "withdrawn as slip by ab: slid off, counts nevertheless: a slip reads open): the engine "
        "could be cranked in gear. Nobody can answer for that."
    )
    assert fake.names.count("withdrawn-counts") == 1
    assert said["withdrawn-counts"].startswith("Reading 4 (A-E in R, ")
    assert said["withdrawn-counts"].endswith("slid off; it still counts: never.")
    undecided = Fake(cells=(cell(Result.UNDECIDED),), kept=(gone,))
    assert undecided.names == ["start-permit-open", "no-cell-undecided"]
    dotted = replace(elsewhere.gone.event, reason="slid off.")
    fake = Fake(kept=(replace(elsewhere, gone=replace(elsewhere.gone, event=dotted)),))
    assert "slid off; it still counts" in fake.said[0][1]
    marked = KeptReading(
        replace(gone.gone, taken=taken(5, gone.gone.taken.reading)), "never", False
    )
    both = dict(Fake(cells=(cell(Result.FAIL),), kept=(gone, marked)).said)["start-permit-open"]
    assert "a slip reads open; reading 5, G-H in D, 0.1 ohm, withdrawn as slip by ab" in both
    # A permit's cell that passes tells it by itself.
    assert Fake(cells=(cell(Result.PASS),), kept=(gone,)).names == ["withdrawn-counts"]


def test_read_twice_the_probes_set_anew() -> None:
    passed = cell(Result.PASS, "D", PERMIT, OverRange())
    again = ReadingTaken(AT, "ab", "D", ("G", "H"), "OL", again=True)

    def read(*seqs: int) -> Fake:
        one = reading()
        events = (again,) * 4
        return Fake((passed, passed), taken=tuple(taken(n, one) for n in seqs), events=events)

    assert read(1, 2).names == []
    assert read(1, 2, 3).names == []
    ((name, sentence),) = read(1).said
    assert name == "start-permit-twice"
    assert sentence.endswith("the probes set anew: G-H in D. Nobody can answer for that.")
    assert read().names == ["start-permit-twice"]
    # A cell that needs none, or that is no permit in gear, is not asked for.
    for other in (cell(Result.PASS), cell(Result.PASS, "P", PERMIT, OverRange())):
        assert Fake((other,)).names == []
    assert Fake((cell(Result.PASS, "D", BIT, OverRange()),)).names == []


def test_questions_and_the_chart() -> None:
    one = Question("positions", "Which?", ("1 is park", "2 is reverse"))
    said = Fake(questions=(one, Question("roles", "What?"))).said
    assert [name for name, _ in said] == ["roles-told", "roles-told"]
    assert said[0][1].startswith("Which? (We propose: 1 is park, 2 is reverse.) Answer it first (")
    assert said[1][1].startswith("What? Answer it first (benchproof audit small --say WHAT ")
    ((name, sentence),) = Fake(unfit=("G-H is charted closed.",)).said
    assert name == "chart-fit"
    assert "the starter from turning in gear: G-H is charted closed. Mend it" in sentence


def other(
    outcome: str = "abandoned",
    *,
    against: tuple[str, ...] = (),
    unsafe: tuple[str, ...] = (),
    number: int = 1,
    ended: str = AT,
    worked: str = "",
) -> OtherProof:
    return OtherProof(
        AT, "ab", f"S-1.{number}", number, outcome, ended, "ab",
        against=against, starts_in_gear=unsafe, worked_at=worked,
    )  # fmt: skip


WORK = WorkDone(AT, "cd", "contact replaced")


def test_another_proof_that_saw_a_start_in_gear() -> None:
    seen = (10, other(against=("G-H in D: low",), unsafe=("G-H in D: low", "G-H in R: low")))
    ((name, sentence),) = Fake(others=(seen,)).said
    assert name == "other-proof-safe"
    assert sentence.startswith(
        "DANGER: proof S-1.1 of this part saw the start permit conduct in gear (G-H in D: low, "
        "G-H in R: low); only"
    )
    read = (taken(20, reading()),)
    for at, clear in ((9, False), (10, False), (11, True), (19, True), (20, False), (21, False)):
        fake = Fake(others=(seen,), work=((at, WORK),), taken=read)
        assert (fake.names == []) is clear
    # Of several readings the first counts.
    several = (taken(20, reading()), taken(30, reading()))
    late = Fake(others=(seen,), work=((25, WORK),), taken=several)
    assert late.names == ["other-proof-safe"]
    # Before anything is read, work noted now is before the first reading.
    for at, clear in ((49, True), (50, True), (51, False)):
        assert (Fake(others=(seen,), work=((at, WORK),)).names == []) is clear
    # Turning the body mends no contact.
    assert Fake(others=(seen,), turns=1).names == ["other-proof-safe"]
    realigned = (10, replace(seen[1], outcome="realign"))
    assert Fake(others=(realigned,), turns=1).names == ["other-proof-safe"]


def test_another_proof_that_found_something() -> None:
    for outcome in ("realign", "repair", "recheck"):
        ((name, sentence),) = Fake(others=((10, other(outcome)),)).said
        assert name == "other-proof-mended"
        assert sentence.startswith(f"Proof S-1.1 of this part ({outcome}) speaks against it")
    for outcome in ("accepted", "likely-good", "abandoned", "open"):
        assert Fake(others=((10, other(outcome)),)).names == []
    cells = ("A-E in D: high", "A-E in P: high")
    ((_, sentence),) = Fake(others=((10, other("open", against=cells)),)).said
    assert "(open: A-E in D: high, A-E in P: high) speaks" in sentence
    read = (taken(5, reading()),)
    for at, clear in ((9, False), (10, False), (11, True), (60, True)):
        fake = Fake(others=((10, other("repair")),), work=((at, WORK),), taken=read)
        assert (fake.names == []) is clear
    # Turning the body is what a realignment asks for, and no repair.
    assert Fake(others=((10, other("realign")),), turns=1).names == []
    assert Fake(others=((10, other("repair")),), turns=1).names == ["other-proof-mended"]


def test_work_noted_in_a_later_proof_counts() -> None:
    first = (10, other("repair", number=2))

    def names(outcome: str = "abandoned", number: int = 3, worked: str = LATER) -> list[str]:
        second = (11, other(outcome, number=number, worked=worked))
        return Fake(others=(first, second)).names

    assert names() == []
    assert names(worked=AT) == []
    assert names(worked="2026-03-01T14:05:09+01:00") == ["other-proof-mended"]
    # The same hour told in another zone is the hour that counts.
    assert names(worked="2026-03-02T13:05:10+00:00") == []
    assert names(worked="2026-03-02T13:05:08+00:00") == ["other-proof-mended"]
    assert names(worked="") == ["other-proof-mended"]
    assert names(number=1) == names(number=2) == ["other-proof-mended"]
    still = (10, replace(first[1], outcome="open", against=("A-E in D",)))
    second = (11, other(number=3, worked=LATER))
    assert Fake(others=(still, second)).names == ["other-proof-mended"]
    unsafe = (10, replace(first[1], starts_in_gear=("G-H in D",)))
    assert Fake(others=(unsafe, second)).names == []


def test_withdrawn_and_not_read_again() -> None:
    gone = withdrawn(taken(5, reading("D", "A-E")))
    name: CellName = ("D", frozenset("AE"))
    charted = {name: Result.PASS}

    def names(*again: TakenReading) -> list[str]:
        return Fake(withdrawn=(gone,), results=charted, taken=again).names

    assert Fake(withdrawn=(gone,), results=charted).said == [
        (
            "withdrawn-read-again",
            f"{gone.told}. Its cell was not read again since; read it again.",
        )
    ]
    assert names(taken(6, reading("D", "A-E"))) == []
    assert names(taken(4, reading("D", "A-E"))) == ["withdrawn-read-again"]
    assert names(taken(6, reading("R", "A-E"))) == ["withdrawn-read-again"]
    assert names(taken(6, reading("D", "A-E", lean="R"))) == ["withdrawn-read-again"]
    assert names(taken(6, reading("D", "A-E")), taken(7, reading("R", "A-E"))) == []
    # Of a pair outside the chart nothing is asked.
    assert Fake(withdrawn=(gone,)).names == []
    opening = withdrawn(taken(1, reading("D", "A-E")))
    assert Fake(withdrawn=(opening,), results=charted).names == ["withdrawn-read-again"]
    first = withdrawn(taken(0, reading("D", "A-E")))
    assert Fake(withdrawn=(first,), results=charted).names == []


def test_doubts_of_the_sheet() -> None:
    fake = Fake(verdict=SheetVerdict.RECHECK, reasons=("Nothing conducts.", "Look."))
    assert fake.said == [
        ("readings-of-this-chart", "The readings are in doubt: Nothing conducts."),
        ("readings-of-this-chart", "The readings are in doubt: Look."),
    ]
    assert Fake(verdict=SheetVerdict.FAIL, reasons=("Nothing conducts.",)).said == []
    assert outcome_of(fake.state) is ProofOutcome.RECHECK


def known(
    accept: float, hazard: float = 0.0, decided: PartVerdict | None = None
) -> DiagnosisResult:
    verdicts = dict.fromkeys(PartVerdict, 0.0)
    return DiagnosisResult(
        {**verdicts, PartVerdict.ACCEPT: accept, PartVerdict.REPAIR: 1.0 - accept}, hazard, decided
    )


def test_what_the_diagnosis_leaves_open() -> None:
    assert Fake(known=known(0.99)).said == []
    ((name, sentence),) = Fake(known=known(0.9, 1e-6)).said
    assert name == "diagnosis-decided"
    assert sentence == (
        "The diagnosis leaves a doubt: accept has 90.0 %, a start in gear under one in a million; "
        "see what to read next."
    )
    assert "a start in gear 0.0002;" in Fake(known=known(0.99, 2e-4)).said[0][1]
    # Something other that is decided is no acceptance.
    assert Fake(known=known(0.01)).names == ["diagnosis-decided"]


def test_the_meter() -> None:
    assert Fake(meter=False).names == ["meter-named"]
    for due, named in (("2026-03-02", []), ("2026-03-01", ["meter-calibrated"]), ("", [])):
        assert Fake(due_on=due).names == named
    assert Fake(due_on="2026-03-01").said[0][1].startswith("M-1 was due for calibration on 2026-03")
    assert Fake(due_on="2026-03-01", tag="").said[0][1].startswith("handheld was due")


def test_the_last_check_of_each_kind_counts() -> None:
    def check(what: Check, ok: bool) -> GearChecked:
        return GearChecked(AT, "ab", "M-1", what, 103.0, ok=ok)

    bad, good = check(Check.RESISTOR, False), check(Check.RESISTOR, True)
    assert Fake(checks=(bad, good)).names == []
    assert Fake(checks=(good, bad)).said == [
        (
            "gear-checked",
            "The last check of M-1 (known resistor) failed; put it right, and check again.",
        )
    ]
    assert Fake(checks=(bad, check(Check.NO_VOLTAGE, True))).names == ["gear-checked"]


def test_the_last_inspection_of_each_item_counts() -> None:
    def noted(item: str, grade: str, remark: str = "") -> InspectionNoted:
        return InspectionNoted(AT, "ab", item, grade, remark)

    bad, good = noted("cracks", "do not reuse", "long"), noted("cracks", "good")
    assert Fake(inspections=(bad, good)).names == []
    assert Fake(inspections=(good, bad)).said == [
        ("inspection", "The inspection says not to reuse it: cracks (long).")
    ]
    assert Fake(inspections=(noted("cracks", "do not reuse"),)).said[0][1].endswith("it: cracks.")
    assert Fake(inspections=(bad, noted("seal", "good"))).names == ["inspection"]


FINAL = {
    "start-permit-beside",
    "start-permit-open",
    "start-permit-read",
    "start-permit-twice",
    "roles-told",
    "other-proof-safe",
    "prove-mode",
}


def test_nobody_can_answer_for_these_and_no_others() -> None:
    assert {rule.name for rule in RULES if not rule.overridable} == FINAL
    fake = Fake(cells=(cell(Result.MISSING),), mode=Mode.FIND, meter=False)
    assert [(one.name, one.overridable) for one in objections(fake.state)] == [
        ("start-permit-read", False),
        ("prove-mode", False),
        ("every-cell-read", True),
        ("meter-named", True),
    ]
    assert [one.name for one in final(fake.state)] == ["start-permit-read", "prove-mode"]


def test_only_a_part_that_was_accepted_is_flagged() -> None:
    def closed(outcome: ProofOutcome) -> Closed:
        return cast("Closed", SimpleNamespace(outcome=outcome))

    unread = (cell(Result.MISSING),)
    assert flagged(Fake(unread).state) == ()
    assert flagged(Fake(unread, closed=closed(ProofOutcome.REPAIR)).state) == ()
    found = flagged(Fake(unread, closed=closed(ProofOutcome.ACCEPTED)).state)
    assert [type(one) for one in found] == [Objection]
    assert flagged(Fake(closed=closed(ProofOutcome.ACCEPTED)).state) == ()


@pytest.mark.parametrize(
    ("decided", "outcome"),
    [
        (PartVerdict.REALIGN, ProofOutcome.REALIGN),
        (PartVerdict.REPAIR, ProofOutcome.REPAIR),
        (PartVerdict.HOOK_UP, ProofOutcome.RECHECK),
        (PartVerdict.CHART, ProofOutcome.RECHECK),
        (PartVerdict.UNEXPLAINED, ProofOutcome.RECHECK),
        (PartVerdict.ACCEPT, None),
        (None, None),
    ],
)
def test_what_is_decided_closes_it(
    decided: PartVerdict | None, outcome: ProofOutcome | None
) -> None:
    fake = Fake(meter=False, known=known(0.5, decided=decided))
    assert outcome_of(fake.state) is outcome
    assert outcome_of(Fake(meter=False).state) is None


def test_a_find_is_likely_good_only_with_nothing_against_it() -> None:
    good = Fake(mode=Mode.FIND, known=known(0.99, decided=PartVerdict.ACCEPT))
    assert outcome_of(good.state) is ProofOutcome.LIKELY_GOOD
    for result, likely in (
        (Result.PASS, 1),
        (Result.MISSING, 1),
        (Result.FAIL, 0),
        (Result.UNDECIDED, 0),
    ):
        found = outcome_of(replace(good, cells=(cell(result, row=BIT),)).state)
        assert (found is ProofOutcome.LIKELY_GOOD) is bool(likely)
    assert outcome_of(replace(good, dangers=("DANGER: so",)).state) is None
    assert outcome_of(replace(good, questions=(Question("roles", "What?"),)).state) is None


def test_a_sheet_in_doubt_is_not_likely_good() -> None:
    fake = Fake(mode=Mode.FIND, verdict=SheetVerdict.RECHECK, reasons=("Nothing conducts.",))
    with pytest.raises(ProofProblem, match="Not likely good: Nothing conducts"):
        closing(fake.state, AT, "ab", "0.1.0", ProofOutcome.LIKELY_GOOD)


# What was withdrawn

FAMILY = read_family(SMALL, "small.toml")
METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
GROUND = cast(
    "Ground",
    SimpleNamespace(family=FAMILY, safety=safety_of(FAMILY), meter=METER, ambient_c=None),
)
AGAIN = "2 readings since must agree against it, one of them with the lever held toward a neighbor"


def kept_of(one: Reading, kind: Mistake, *since: TakenReading) -> list[str]:
    found = kept(GROUND, since, [withdrawn(taken(5, one), 6, kind)])
    return [one.why for one in found]


LOW, HIGH = measured(0.1), measured(50.0)


@pytest.mark.parametrize(
    ("kind", "value", "can"),
    [
        (Mistake.SLIP, OverRange(), True),
        (Mistake.SLIP, Mark.OPEN, True),
        (Mistake.SLIP, Mark.CLOSED, False),
        (Mistake.SLIP, measured(50.0), False),
        (Mistake.WRONG_CELL, LOW, True),
        (Mistake.WRONG_KEY, LOW, True),
        (Mistake.METER, OverRange(), True),
        (Mistake.METER, Mark.OPEN, True),
        (Mistake.METER, Mark.CLOSED, False),
        (Mistake.METER, measured(2.0), False),
        (Mistake.METER, measured(2.1), True),
        (Mistake.OTHER, OverRange(), False),
    ],
)
def test_what_each_mistake_can_read(kind: Mistake, value: Value, can: bool) -> None:
    """A slipped probe reads open, never 0.1 ohm (common practice, no source)."""
    # Charted 100 ohm, so none of these values is right.
    (found,) = kept(GROUND, [], [withdrawn(taken(5, reading("P", "B-E", value)), 6, kind)]) or (
        kept(GROUND, [], [withdrawn(taken(5, reading("R", "C-F", value)), 6, kind)])
        or kept(GROUND, [], [withdrawn(taken(5, reading("P", "A-E", value)), 6, kind)])
    )
    assert found.possible is can
    assert found.why.startswith(AGAIN) is can
    if not can:
        said = {"slip": "never that", "meter or leads": "never closed", "other": "nobody said"}
        assert said[kind] in found.why


def test_what_speaks_for_the_part_ceases_to_count() -> None:
    assert kept_of(reading("R", "C-F", OverRange()), Mistake.OTHER) == []
    assert kept_of(reading("P", "A-E", LOW), Mistake.OTHER) == []
    # A mark that could not decide says nothing that a number does not say better.
    assert kept_of(reading("R", "C-F", Mark.OPEN), Mistake.OTHER) == []
    assert kept_of(reading("R", "C-F", Mark.CLOSED), Mistake.OTHER) != []
    assert kept_of(reading("P", "A-E", measured(2.0)), Mistake.OTHER) != []
    # Nothing is known of a pair outside the chart, so it is to be read again.
    outside = reading("P", "A-B", LOW)
    assert kept_of(outside, Mistake.WRONG_KEY) == ["it was not read again since"]
    assert kept_of(outside, Mistake.WRONG_KEY, taken(7, outside)) == []
    leaned = reading("D", "C-F", LOW, "R")
    assert kept_of(leaned, Mistake.WRONG_KEY) == ["it was not read again since"]
    assert kept_of(leaned, Mistake.WRONG_KEY, taken(7, reading("D", "C-F"))) != []
    assert kept_of(leaned, Mistake.WRONG_KEY, taken(7, reading("D", "C-F", lean="R"))) == []


def test_what_clears_a_withdrawn_reading() -> None:
    bad, good = reading("D", "C-F", LOW), reading("D", "C-F")
    lean = reading("D", "C-F", lean="R")

    def cleared(*since: TakenReading) -> bool:
        return kept_of(bad, Mistake.WRONG_KEY, *since) == []

    assert cleared(taken(7, good), taken(8, lean))
    assert cleared(taken(7, good), taken(8, good, "cd"))
    assert cleared(taken(7, good), taken(8, good), taken(9, lean))
    assert not cleared(taken(7, lean))
    assert not cleared(taken(7, good), taken(8, good))
    assert not cleared(taken(4, good), taken(8, lean))
    assert not cleared(taken(5, good), taken(8, lean))
    assert not cleared(taken(7, reading("R", "C-F")), taken(8, lean))
    undecided = taken(9, reading("D", "C-F", Mark.OPEN))
    assert kept_of(bad, Mistake.WRONG_KEY, taken(7, good), taken(8, lean), undecided) == [
        "the readings since do not agree against it"
    ]
    gone = withdrawn(taken(5, bad, "ab"), 6, by="ef")
    assert [corroborates(gone, taken(7, good, by)) for by in ("ab", "ef", "cd", "")] == [
        *(False, False, True, False)
    ]
    assert not corroborates(withdrawn(taken(5, bad, "")), taken(7, good, "cd"))
    assert corroborates(gone, taken(7, lean, "ab"))
    assert further_of(gone, [taken(7, good), taken(3, good)]) == (taken(7, good),)


def test_a_reading_by_itself() -> None:
    assert alone(GROUND, reading("D", "C-F", LOW)) is Result.FAIL
    assert alone(GROUND, reading("P", "F-C", LOW)) is Result.PASS
    assert alone(GROUND, reading("D", "C-F", Mark.OPEN)) is Result.UNDECIDED
    assert alone(GROUND, reading("R", "A-E", Mark.OPEN)) is Result.PASS
    assert alone(GROUND, reading("D", "A-C", LOW)) is None


def test_a_reading_of_a_pair_charted_twice_counts_by_its_worst_row() -> None:
    (row,) = (row for row in FAMILY.chart if row.pair == ("A", "E"))
    for expect in ((CLOSED, OPEN, OPEN), (OPEN, OPEN, OPEN)):
        twice = replace(FAMILY, chart=(*FAMILY.chart, replace(row, expect=expect)))
        ground = cast(
            "Ground",
            SimpleNamespace(family=twice, safety=safety_of(twice), meter=METER, ambient_c=None),
        )
        assert alone(ground, reading("D", "A-E", LOW)) is Result.FAIL
        assert alone(ground, reading("R", "A-E")) is Result.PASS


def test_undecided_in_one_row_is_worse_than_passing_in_another() -> None:
    (row,) = (row for row in FAMILY.chart if row.pair == ("A", "E"))
    rows = (replace(row, expect=(OPEN,) * 3), replace(row, expect=(ANY,) * 3))
    twice = replace(FAMILY, chart=rows)
    ground = cast(
        "Ground",
        SimpleNamespace(family=twice, safety=safety_of(FAMILY), meter=METER, ambient_c=None),
    )
    assert alone(ground, reading("D", "A-E", measured(10_000.0))) is Result.UNDECIDED


def test_nobody_took_a_reading_unless_told() -> None:
    assert TakenReading(1, reading()).by == ""


def test_how_a_withdrawn_reading_is_told() -> None:
    one = withdrawn(taken(5, reading("D", "G-H", LOW, "R")))
    assert one.told == (
        "Reading 5 (G-H in D leaned toward R, 0.1 ohm) withdrawn as slip by ab: slid off"
    )
    nobody = withdrawn(taken(5, reading("D", "G-H", Mark.CLOSED)), by="")
    assert nobody.told.startswith("Reading 5 (G-H in D, closed) withdrawn as slip by nobody named")


# What a proof says to the others


def said(
    *rounds: tuple[JudgedCell, ...], work: int = 0, closed: Closed | None = None
) -> OtherProof:
    made = SimpleNamespace(
        closed=closed,
        opened=SimpleNamespace(at=AT, by="ab"),
        settings=[
            SimpleNamespace(judgement=SimpleNamespace(cells=cells), noted=()) for cells in rounds
        ],
        ground=SimpleNamespace(safety=SAFETY),
        work=tuple(
            (n, WorkDone(LATER if n + 1 == work else AT, "cd", f"step {n}" + "x" * 400))
            for n in range(work)
        ),
    )
    return said_to_others(cast("State", made), "S-1.2", 2, LATER, "ef")


def test_what_is_said_of_an_open_proof() -> None:
    found = said(())
    assert found == OtherProof(LATER, "ef", "S-1.2", 2, "open", AT, "ab")
    assert said((), work=2).worked_at == LATER


def test_what_is_said_of_a_closed_proof() -> None:
    end = cast(
        "Closed",
        SimpleNamespace(outcome=ProofOutcome.REPAIR, at=LATER, by="gh", override_by="Jo Invented"),
    )
    found = said((), closed=end)
    assert (found.outcome, found.ended_at, found.ended_by) == ("repair", LATER, "gh")
    assert found.override_by == "Jo Invented"


def test_which_cells_are_said() -> None:
    failed = cell(Result.FAIL, "D", BIT, LOW)
    permit = cell(Result.FAIL, "D", PERMIT, OverRange(), LOW, why="low")
    opened = cell(Result.FAIL, "R", PERMIT, OverRange(), Mark.OPEN)
    free = cell(Result.FAIL, "P", PERMIT, LOW)
    unread = cell(Result.FAIL, "N", PERMIT)
    undecided = cell(Result.UNDECIDED, "R", PERMIT, LOW)
    found = said((failed, permit, opened, free, unread, undecided))
    assert found.against == (
        "A-E in D: so",
        "G-H in D: low",
        "G-H in R: so",
        "G-H in P: so",
    )
    assert found.starts_in_gear == ("G-H in D: low",)
    # What was read after the body was turned takes the place of what was read before.
    after = cell(Result.PASS, "D", BIT, LOW)
    nothing = cell(Result.MISSING, "D", PERMIT)
    later = said((failed, permit), (after, nothing))
    assert later.against == ("G-H in D: low",)
    long = said(tuple(cell(Result.FAIL, f"D{n}", BIT, LOW, why="y" * 400) for n in range(20)))
    assert len(long.against) == 12
    assert {len(told) for told in long.against} == {300}
    many = said(tuple(replace(permit, row=replace(PERMIT)) for n in range(1)), work=20)
    assert len(many.work) == 12
    assert {len(told) for told in many.work} == {300}
    assert many.work[1].startswith("step 1x")
    twice = said((permit, cell(Result.PASS, "D", ChartRow(("H", "G"), ()), LOW)))
    assert twice.against == ("G-H in D: low",)


def test_more_unsafe_cells_than_can_be_told() -> None:
    cells = tuple(
        replace(cell(Result.FAIL, "D", PERMIT, LOW), outcome=Judged(Result.FAIL, f"{n}"))
        for n in range(20)
    )
    assert len(said(cells).starts_in_gear) == 12


def test_what_stands_for_a_proof_that_cannot_be_read() -> None:
    found = unreadable("S-1.2", 2, None, AT, LATER, "ef")
    assert (found.outcome, found.ended_at) == ("open", AT)
    assert found.against == ("its record cannot be read",)
    assert unreadable("S-1.2", 2, "repair", AT, LATER, "ef").outcome == "repair"


def test_a_reading_of_a_sheet_counts_as_set_anew() -> None:
    sheet = ReadingTaken(AT, "ab", "D", ("G", "H"), "OL", source=ReadingSource.SHEET)
    passed = cell(Result.PASS, "D", PERMIT, OverRange())
    both = tuple(taken(n, reading()) for n in (1, 2))
    assert Fake((passed,), taken=both, events=(sheet, sheet)).names == []
    plain = replace(sheet, source=ReadingTaken(AT, "ab", "D", ("G", "H"), "OL").source)
    assert Fake((passed,), taken=both, events=(plain, plain)).names == ["start-permit-twice"]
