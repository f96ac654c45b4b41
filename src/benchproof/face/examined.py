"""What is said of a part by its readings: dangers, questions, chart, what is believed, next."""

from typing import TYPE_CHECKING, Annotated, Literal

from benchproof.face.view import CellPosition, Pins, Span, View, position_shown, says
from benchproof.plan.actions import TakeReading
from benchproof.reading.value import format_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from benchproof.diagnose.verdict import Claim, Diagnosis
    from benchproof.examine.examination import Examination
    from benchproof.examine.policy import NextStep
    from benchproof.family.danger import Danger
    from benchproof.family.safety import Question
    from benchproof.judge.cell import JudgedCell
    from benchproof.plan.route import Route as RouteFound
    from benchproof.shop.decision import Decision

SheetWord = Literal["pass", "fail", "incomplete", "undecided", "recheck"]
CellWord = Literal["pass", "fail", "undecided", "missing"]


class DangerView(View, frozen=True):
    """What could hurt somebody."""

    signal: Annotated[
        Literal["DANGER", "WARNING", "CAUTION"],
        says("`DANGER` is a start in gear, `WARNING` lamps and wrong ranges"),
    ]
    rule: Annotated[str, says("its name")]
    sentence: Annotated[str, says("what is wrong and what to do")]
    cells: Annotated[list[str], says("as `G-H in D`; empty if it is believed only")]
    probability: Annotated[float | None, says("`null` where a reading shows it")]
    check_first: Annotated[str, says("what is likelier wrong than the part; may be empty")]


class QuestionView(View, frozen=True):
    """What nobody has said of the family; while there is one, nothing is accepted."""

    about: Annotated[str, says("`positions`, `start permit`, `roles` or `reverse`")]
    question: Annotated[str, says("a sentence")]
    proposal: Annotated[list[str], says("phrases; empty if we cannot tell")]


class CellView(View, frozen=True):
    """A cell of the chart."""

    position: CellPosition
    pins: Pins
    expected: Annotated[str, says("what is charted, but `open` where the pair must not conduct")]
    reading: Annotated[str | None, says("several parted by `, `; `null` if not read")]
    result: Annotated[
        CellWord, says("`undecided` where the meter cannot say, `missing` if not read")
    ]
    reason: Annotated[
        str, says("a phrase: value ± 2 standard uncertainties, what is allowed, the risk")
    ]


class OffsetView(View, frozen=True):
    """Where the moving part stands."""

    best: Annotated[float, says("the likeliest")]
    intervals95: Annotated[list[Span], says("more than one where the sign is not known")]
    sign_known: Annotated[bool, says("whether the readings tell the direction")]
    unit: Annotated[str, says("`deg`, or `gap` for fractions of a detent gap")]


class FaultView(View, frozen=True):
    """A fault, alone or with another."""

    fault: Annotated[str, says("its kind")]
    where: Annotated[str, says("its place: two nodes, a pin, `lever`")]
    probability: Annotated[float, says("of this fault, alone or with another")]
    tied: Annotated[list[str], says("other faults that make every reading just as likely")]
    evidence: Annotated[list[str], says("sentences, `for:` or `against:`")]


class DiagnosisView(View, frozen=True):
    """What is believed of the part."""

    verdicts: Annotated[
        dict[str, float],
        says(
            "probability of `accept`, `realign`, `repair or replace`, `check the hook-up`, "
            "`chart or family wrong`, `not explained`; they sum to one; "
            "`realign` only of a part with a lever"
        ),
    ]
    decided: Annotated[
        str | None, says("the verdict once it has 95 % and, to accept, no hazard is left")
    ]
    hazard: Annotated[
        float, says("probability that a start permit conducts where the starter must not turn")
    ]
    faults: Annotated[list[FaultView], says("likeliest first")]
    offset_deg: Annotated[OffsetView | None, says("how far out of line; `null` without a lever")]
    unknowable: Annotated[list[str], says("what these readings cannot tell")]
    seen: Annotated[list[str], says("what was seen by eye, and what it makes likelier")]


class NextView(View, frozen=True):
    """What to do next; no position to stop."""

    position: Annotated[str | None, says("lever position; `null` to stop, or without a lever")]
    pins: Annotated[Pins | None, says("the two pins; `null` to stop")]
    lean: Annotated[
        str | None, says("the neighboring position toward which to hold the lever off its detent")
    ]
    again: Annotated[bool, says("whether the probes are to be set anew first")]
    why: Annotated[str, says("a sentence")]
    expected_seconds: Annotated[float, says("moves included")]


class Advised(View, frozen=True):
    """The reading to take next."""

    dangers: Annotated[list[DangerView], says("worst first")]
    questions: Annotated[list[QuestionView], says("what nobody has said of the family")]
    diagnosis: Annotated[DiagnosisView | None, says("`null` for a chart too large for it")]
    next: Annotated[NextView, says("the reading to take next")]


class StepView(View, frozen=True):
    """A reading of a route."""

    position: CellPosition
    pins: Pins
    lean: Annotated[
        str | None, says("the neighboring position toward which to hold the lever off its detent")
    ]
    again: Annotated[bool, says("whether the probes are to be set anew first")]


class RouteView(View, frozen=True):
    """The shortest order of a full proof."""

    bench: Annotated[str, says("name of the bench profile")]
    seconds: Annotated[float, says("how long it takes, moves included")]
    readings: Annotated[list[StepView], says("in order")]


class ChoiceView(View, frozen=True):
    """Something that can be done with the part."""

    choice: Annotated[
        Literal["reuse", "realign", "clean and retest", "replace"], says("what is done")
    ]
    expected: Annotated[float, says("all that it is expected to cost")]
    work: Annotated[float, says("the part of it that is work")]
    parts: Annotated[float, says("the part of it that is a new part")]
    comebacks: Annotated[float, says("the part of it that is comebacks")]
    barred: Annotated[str | None, says("why it is out of the question")]


class Decided(View, frozen=True):
    """What each choice is expected to cost."""

    dangers: Annotated[list[DangerView], says("worst first")]
    questions: Annotated[list[QuestionView], says("what nobody has said of the family")]
    best: Annotated[
        Literal["reuse", "realign", "clean and retest", "replace"], says("what costs least")
    ]
    currency: Annotated[str, says("as the costs name it")]
    choices: Annotated[list[ChoiceView], says("the cheapest first, those that are barred last")]
    remarks: Annotated[list[str], says("sentences, hazards first")]


def dangers_shown(dangers: "Iterable[Danger]") -> list[DangerView]:
    """Return what could hurt somebody."""
    return [
        DangerView(
            signal=one.signal.value,
            rule=one.rule,
            sentence=one.sentence,
            cells=list(one.cells),
            probability=one.probability,
            check_first=one.check_first,
        )
        for one in dangers
    ]


def questions_shown(questions: "Iterable[Question]") -> list[QuestionView]:
    """Return what nobody has said of the family."""
    return [
        QuestionView(about=one.name, question=one.sentence, proposal=list(one.proposal))
        for one in questions
    ]


def cells_shown(cells: "Sequence[JudgedCell]") -> list[CellView]:
    """Return the cells of a chart that was judged."""
    return [
        CellView(
            position=position_shown(cell.position),
            pins=cell.row.pair,
            expected=cell.expectation.shown,
            reading=", ".join(format_value(one.value) for one in cell.readings) or None,
            result=cell.outcome.result.value,
            reason=cell.outcome.reason,
        )
        for cell in cells
    ]


def faults_shown(claims: "Iterable[Claim]") -> list[FaultView]:
    """Return faults."""
    return [
        FaultView(
            fault=claim.fault.kind.value,
            where=claim.fault.where,
            probability=claim.probability,
            tied=[fault.name for fault in claim.tied],
            evidence=list(claim.evidence),
        )
        for claim in claims
    ]


def diagnosis_shown(found: "Diagnosis | None") -> DiagnosisView | None:
    """Return what is believed; None for a chart too large for it."""
    if found is None:
        return None
    offset = found.offset
    return DiagnosisView(
        verdicts={verdict.value: p for verdict, p in found.verdicts.items()},
        decided=None if found.decided is None else found.decided.value,
        hazard=found.hazard,
        faults=faults_shown(found.faults),
        offset_deg=None
        if offset is None
        else OffsetView(
            best=offset.best,
            intervals95=list(offset.intervals95),
            sign_known=offset.sign_known,
            unit=offset.unit,
        ),
        unknowable=list(found.unknowable),
        seen=list(found.seen),
    )


def next_shown(step: "NextStep") -> NextView:
    """Return what to do next."""
    action = step.action
    if not isinstance(action, TakeReading):
        return NextView(
            position=None, pins=None, lean=None, again=False, why=step.why, expected_seconds=0.0,
        )  # fmt: skip
    return NextView(
        position=position_shown(action.position),
        pins=action.pair,
        lean=action.lean or None,
        again=action.again,
        why=step.why,
        expected_seconds=step.seconds,
    )


def advised_shown(found: "Examination") -> Advised:
    """Return the reading to take next."""
    return Advised(
        dangers=dangers_shown(found.dangers),
        questions=questions_shown(found.questions),
        diagnosis=diagnosis_shown(found.believed),
        next=next_shown(found.next),
    )


def route_shown(bench: str, found: "RouteFound") -> RouteView:
    """Return the shortest order of a full proof."""
    return RouteView(
        bench=bench,
        seconds=found.seconds,
        readings=[
            StepView(
                position=position_shown(one.position),
                pins=one.pair,
                lean=one.lean or None,
                again=one.again,
            )
            for one in found.readings
        ],
    )


def decided_shown(
    dangers: "Iterable[Danger]",
    questions: "Iterable[Question]",
    decided: "Decision",
    currency: str,
    remarks: "Sequence[str]",
) -> Decided:
    """Return what each choice is expected to cost, what could hurt somebody first."""
    return Decided(
        dangers=dangers_shown(dangers),
        questions=questions_shown(questions),
        best=decided.best.value,
        currency=currency,
        choices=[
            ChoiceView(
                choice=one.choice.value,
                expected=one.expected,
                work=one.work,
                parts=one.parts,
                comebacks=one.comebacks,
                barred=one.barred or None,
            )
            for one in decided.choices
        ],
        remarks=list(remarks),
    )
