"""How a proof stands: what was read, what became of it, what stands against accepting the part."""

from typing import TYPE_CHECKING, Annotated, Literal, cast

from msgspec.structs import asdict

from benchproof.face.examined import (
    CellView,
    DangerView,
    DiagnosisView,
    NextView,
    SheetWord,
    cells_shown,
    dangers_shown,
    diagnosis_shown,
    next_shown,
)
from benchproof.face.foundin import (
    ConditionsView,
    EdgeNotedView,
    OffsetNotedView,
    SweepNotedView,
    found_in,
)
from benchproof.face.view import (
    CellPosition,
    FamilyName,
    Mode,
    Pins,
    Time,
    View,
    position_shown,
    says,
)
from benchproof.proof.events import Closed, ReadingTaken

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.conduct.automatic import Ended
    from benchproof.conduct.work import ProofStanding, Work
    from benchproof.judge.sheet import Judgement
    from benchproof.proof.replay import Replayed
    from benchproof.proof.state import State
    from benchproof.record.rows import ProofRow

Initials = Annotated[str, says("initials")]
OutcomeWord = Literal["accepted", "realign", "repair", "recheck", "likely-good", "abandoned"]


class MeterView(View, frozen=True):
    """The meter that reads."""

    name: Annotated[str, says("its name")]
    tag: Annotated[str, says("its tag among the gear, or empty")]
    lead_ohm: Annotated[float | None, says("as told")]
    ambient_c: Annotated[float | None, says("as told")]
    calibrated_on: Annotated[str | None, says("when it was calibrated, ISO 8601")]
    due_on: Annotated[str | None, says("when it must be calibrated again, ISO 8601")]
    identity: Annotated[str | None, says("what the instrument calls itself")]


class SheetView(View, frozen=True):
    """A chart as it was read."""

    verdict: Annotated[SheetWord, says("of the whole sheet")]
    reasons: Annotated[list[str], says("sentences: why")]
    cells: Annotated[list[CellView], says("row by row in lever order")]
    cautions: Annotated[list[str], says("sentences, hazards first")]


class ReadingView(View, frozen=True):
    """A reading that was recorded."""

    seq: Annotated[int, says("its number among the events")]
    at: Time
    by: Initials
    position: CellPosition
    pins: Pins
    lean: Annotated[str | None, says("the neighboring position toward which the lever was held")]
    again: Annotated[bool, says("whether the probes were set anew")]
    value: Annotated[str, says("as typed")]
    source: Annotated[
        Literal["typed", "sheet", "meter"],
        says("typed by a person, read from a sheet, or from the instrument"),
    ]
    conditions: Annotated[
        ConditionsView | None, says("what the part was under; `null` if nothing was told")
    ]
    turn: Annotated[
        int, says("how often the body had been turned; no turn that was taken back counts")
    ]
    withdrawn: Annotated[str | None, says("the reason; `null` if it was not")]
    withdrawn_as: Annotated[str | None, says("what it is put down to")]
    withdrawn_by: Annotated[str | None, says("initials")]
    counts: Annotated[bool, says("whether it counts; a withdrawn one may")]


class TurnView(View, frozen=True):
    """The body was turned, or it was noted by mistake that it was."""

    event: Annotated[int, says("its number among the events")]
    at: Time
    by: Initials
    note: Annotated[str, says("how far")]
    taken_back: Annotated[
        str | None, says("why it was taken back, for it was not turned; `null` if it stands")
    ]
    taken_back_at: Annotated[str | None, says("when, ISO 8601")]
    taken_back_by: Annotated[str | None, says("initials")]


class InspectionView(View, frozen=True):
    """How an item looked."""

    at: Time
    by: Initials
    item: Annotated[str, says("name on the checklist")]
    grade: Annotated[str, says("`sound`, `slight` or `bad`")]
    remark: Annotated[str, says("what was seen, in words")]


class CheckView(View, frozen=True):
    """How meter, leads or hook-up were checked."""

    at: Time
    by: Initials
    gear: Annotated[str, says("tag or name of the meter")]
    what: Annotated[Literal["no voltage", "leads", "known resistor"], says("what was checked")]
    value: Annotated[
        float | None, says("most volts on a pair, or ohms read; `null` for more than it can read")
    ]
    ok: Annotated[bool, says("whether it is good")]
    known_ohm: Annotated[float | None, says("of a known resistor")]
    limit_ohm: Annotated[float | None, says("of a known resistor")]
    lead_ohm: Annotated[float | None, says("taken off for the leads")]
    note: Annotated[str, says("what was noticed, such as drift")]


class PhotographView(View, frozen=True):
    """A photograph."""

    hash: Annotated[str, says("of its content")]
    what: Annotated[str, says("what it shows")]


class WorkView(View, frozen=True):
    """What was done to the part."""

    at: Time
    by: Initials
    what: Annotated[str, says("what was done")]


class OtherProofView(View, frozen=True):
    """What another proof of the part came to."""

    proof: Annotated[str, says("its tag")]
    outcome: Annotated[str, says("as what it was closed, or `open`")]
    ended_at: Annotated[str, says("when it was closed, or opened")]
    ended_by: Initials
    override_by: Annotated[str | None, says("who answers for it")]
    against: Annotated[list[str], says("cells left against the chart")]
    starts_in_gear: Annotated[list[str], says("start permit cells that conducted in gear")]
    work: Annotated[list[str], says("what was noted in it as done")]


class RemarkView(View, frozen=True):
    """A remark."""

    at: Time
    by: Initials
    text: Annotated[str, says("as written")]


class ObjectionView(View, frozen=True):
    """What stands against accepting the part."""

    rule: Annotated[str, says("its name ([proof.md](proof.md))")]
    sentence: Annotated[str, says("what it is and what to do")]
    overridable: Annotated[bool, says("whether a person can answer for it")]


class ClosedView(View, frozen=True):
    """How a proof ended."""

    outcome: Annotated[OutcomeWord, says("as what it was closed")]
    at: Time
    by: Initials
    reasons: Annotated[list[str], says("sentences: what stood against accepting")]
    override_by: Annotated[str | None, says("who answered for accepting it")]
    override_reason: Annotated[str | None, says("and why")]
    digest: Annotated[str, says("of all that was concluded")]


class Proof(View, frozen=True):
    """How a proof stands."""

    dangers: Annotated[list[DangerView], says("worst first")]
    proof: Annotated[str, says("its tag")]
    part: Annotated[str, says("tag of the part")]
    family: FamilyName
    mode: Mode
    version: Annotated[str, says("of the program that opened it")]
    opened_at: Annotated[str, says("ISO 8601")]
    by: Initials
    events: Annotated[int, says("number of its last event")]
    hash: Annotated[str, says("of the chain of its events, up to the last")]
    meter: Annotated[MeterView | None, says("`null` if none was named")]
    bench: Annotated[str, says("name of the bench profile")]
    verdict: Annotated[SheetWord, says("of the readings as left, as `benchproof judge` has it")]
    reasons: Annotated[list[str], says("sentences: why")]
    cells: Annotated[list[CellView], says("row by row in lever order")]
    cautions: Annotated[list[str], says("sentences, hazards first")]
    as_found: Annotated[SheetView | None, says("`null` if the body was never turned")]
    readings: Annotated[list[ReadingView], says("withdrawn ones too")]
    edges: Annotated[list[EdgeNotedView], says("found by hand, withdrawn ones too")]
    offsets: Annotated[list[OffsetNotedView], says("measured otherwise, such as by the marks")]
    sweeps: Annotated[list[SweepNotedView], says("of the lever, withdrawn ones too")]
    turns: Annotated[list[TurnView], says("how the body was turned, taken back ones too")]
    inspections: Annotated[list[InspectionView], says("how the part looked")]
    checks: Annotated[list[CheckView], says("how meter, leads and hook-up were checked")]
    photographs: Annotated[list[PhotographView], says("in the order in which they were taken in")]
    work: Annotated[list[WorkView], says("what was done to the part")]
    other_proofs: Annotated[list[OtherProofView], says("what the part's other proofs came to")]
    flagged: Annotated[
        list[str],
        says("sentences: what nobody can answer for, of a part that an older version accepted"),
    ]
    remarks: Annotated[list[RemarkView], says("in the order in which they were written")]
    diagnosis: Annotated[DiagnosisView | None, says("`null` for a chart too large for it")]
    no_diagnosis: Annotated[str | None, says("then why")]
    next: Annotated[NextView, says("what to do next")]
    against: Annotated[list[ObjectionView], says("empty if nothing stands against accepting")]
    closed: Annotated[ClosedView | None, says("`null` while it is open")]


class RunView(View, frozen=True):
    """How an automatic run ended."""

    complete: Annotated[bool, says("whether everything that is asked for is read")]
    ended: Annotated[str | None, says("why nothing more is read; `null` if it was stopped before")]
    problem: Annotated[str | None, says("what stopped it and what to do")]


class ProofRun(Proof, frozen=True):
    """How a proof stands once it has been run."""

    run: Annotated[RunView, says("how the run ended")]


class ProofListed(View, frozen=True):
    """A proof of a list."""

    danger: Annotated[
        str | None, says("signal word of the gravest danger that readings show; `null` if none")
    ]
    proof: Annotated[str, says("its tag")]
    part: Annotated[str, says("tag of the part")]
    mode: Mode
    opened_at: Time
    closed_as: Annotated[OutcomeWord | None, says("`null` while it is open")]
    events: Annotated[int, says("how many")]


class ProofsView(View, frozen=True):
    """Proofs, the latest first."""

    proofs: Annotated[list[ProofListed], says("the latest first")]


class Replay(View, frozen=True):
    """What came of replaying a proof."""

    proof: Annotated[str, says("its tag")]
    version: Annotated[str, says("of this program")]
    recorded_version: Annotated[str | None, says("of the one that closed it")]
    identical: Annotated[
        bool, says("whether it is the same as recorded, bit for bit; `true` while it is open")
    ]
    digest: Annotated[str, says("of what is concluded now")]
    recorded_digest: Annotated[str | None, says("of what was")]
    verdict: Annotated[SheetWord, says("of the readings as left, just before it was closed")]
    differences: Annotated[list[str], says("sentences")]


def proof_shown(work: "Work | ProofStanding") -> Proof:
    """Return how a proof stands, what could hurt somebody first."""
    state = work.state
    opened, left = state.opened, state.as_left
    sheet = sheet_shown(left.judgement, state.cautions)
    edges, offsets, sweeps = found_in(state)
    return Proof(
        dangers=dangers_shown(state.dangers),
        proof=work.tag,
        part=opened.part,
        family=state.ground.family.name,
        mode=opened.mode.value,
        version=opened.version,
        opened_at=opened.at,
        by=opened.by,
        events=state.seq,
        hash=work.hash,
        meter=_meter(state),
        bench=state.bench.name,
        verdict=sheet.verdict,
        reasons=sheet.reasons,
        cells=sheet.cells,
        cautions=sheet.cautions,
        as_found=sheet_shown(state.as_found.judgement, ()) if state.turns else None,
        readings=_readings(state),
        edges=edges,
        offsets=offsets,
        sweeps=sweeps,
        turns=_turns(state),
        inspections=[
            InspectionView(at=one.at, by=one.by, item=one.item, grade=one.grade, remark=one.remark)
            for one in state.inspections
        ],
        checks=[
            CheckView(
                at=one.at, by=one.by, gear=one.gear, what=one.what.value, value=one.value,
                ok=one.ok, known_ohm=one.known_ohm, limit_ohm=one.limit_ohm,
                lead_ohm=one.lead_ohm, note=one.note,
            )
            for one in state.checks
        ],
        photographs=[PhotographView(hash=one.hash, what=one.what) for one in state.photographs],
        work=[WorkView(at=one.at, by=one.by, what=one.what) for _, one in state.work],
        other_proofs=[
            OtherProofView(
                proof=one.proof, outcome=one.outcome, ended_at=one.ended_at,
                ended_by=one.ended_by, override_by=one.override_by or None,
                against=list(one.against), starts_in_gear=list(one.starts_in_gear),
                work=list(one.work),
            )
            for _, one in state.others
        ],
        flagged=[one.sentence for one in state.flagged],
        remarks=[RemarkView(at=one.at, by=one.by, text=one.text) for one in state.remarks],
        diagnosis=diagnosis_shown(left.diagnosis),
        no_diagnosis=state.ground.no_diagnosis or None,
        next=next_shown(state.next),
        against=[
            ObjectionView(rule=one.name, sentence=one.sentence, overridable=one.overridable)
            for one in state.objections
        ],
        closed=None if state.closed is None else _closed(state.closed),
    )  # fmt: skip


def run_shown(work: "Work", ended: "Ended") -> ProofRun:
    """Return how a proof stands once it has been run."""
    run = RunView(
        complete=ended.stop is not None and not ended.failed,
        ended=None if ended.stop is None else ended.stop.reason,
        problem=ended.problem or None,
    )
    return ProofRun(**asdict(proof_shown(work)), run=run)


def proofs_shown(rows: "Iterable[ProofRow]", words: "Iterable[str]") -> list[ProofListed]:
    """Return proofs, each with the signal word of what it shows."""
    return [
        ProofListed(
            danger=word or None,
            proof=row.tag,
            part=row.part,
            mode=cast("Mode", row.mode),
            opened_at=row.opened_at.isoformat(),
            closed_as=cast("OutcomeWord | None", row.closed_as),
            events=row.last_seq,
        )
        for row, word in zip(rows, words, strict=True)
    ]


def replay_shown(tag: str, found: "Replayed") -> Replay:
    """Return what came of replaying a proof."""
    recorded = found.recorded
    return Replay(
        proof=tag,
        version=found.concluded.version,
        recorded_version=None if recorded is None else recorded.concluded.version,
        identical=found.identical,
        digest=found.digest,
        recorded_digest=None if recorded is None else recorded.digest,
        verdict=cast("SheetWord", found.concluded.verdict),
        differences=list(found.differences),
    )


def sheet_shown(judged: "Judgement", cautions: "tuple[str, ...] | list[str]") -> SheetView:
    """Return a chart as it was read."""
    return SheetView(
        verdict=judged.verdict.value,
        reasons=list(judged.reasons),
        cells=cells_shown(judged.cells),
        cautions=list(cautions),
    )


def _meter(state: "State") -> MeterView | None:
    meter = state.meter_chosen
    if meter is None:
        return None
    return MeterView(
        name=state.as_left.meter.name,
        tag=meter.tag,
        lead_ohm=meter.lead_ohm,
        ambient_c=meter.ambient_c,
        calibrated_on=meter.calibrated_on or None,
        due_on=meter.due_on or None,
        identity=meter.identity or None,
    )


def _readings(state: "State") -> list[ReadingView]:
    gone = {one.taken.seq: one.event for one in state.withdrawn}
    counting = {one.gone.taken.seq for setting in state.settings for one in setting.kept}
    turned = {one.seq for one in state.noted_turns if one.back is None}
    turn, listed = 0, []
    for seq, event in enumerate(state.events, 1):
        turn += seq in turned
        if isinstance(event, ReadingTaken):
            why = gone.get(seq)
            listed.append(
                ReadingView(
                    seq=seq,
                    at=event.at,
                    by=event.by,
                    position=position_shown(event.position),
                    pins=event.pair,
                    lean=event.lean or None,
                    again=event.again,
                    value=event.value,
                    source=event.source.value,
                    conditions=_conditions(event),
                    turn=turn,
                    withdrawn=None if why is None else why.reason,
                    withdrawn_as=None if why is None else why.kind.value,
                    withdrawn_by=None if why is None else why.by,
                    counts=why is None or seq in counting,
                )
            )
    return listed


def _conditions(event: "ReadingTaken") -> ConditionsView | None:
    told = {name: getattr(event, name) for name in ConditionsView.__struct_fields__}
    return None if all(one is None for one in told.values()) else ConditionsView(**told)


def _turns(state: "State") -> list[TurnView]:
    return [
        TurnView(
            event=one.seq,
            at=one.event.at,
            by=one.event.by,
            note=one.event.note,
            taken_back=None if one.back is None else one.back.reason,
            taken_back_at=None if one.back is None else one.back.at,
            taken_back_by=None if one.back is None else one.back.by,
        )
        for one in state.noted_turns
    ]


def _closed(closed: Closed) -> ClosedView:
    return ClosedView(
        outcome=closed.outcome.value,
        at=closed.at,
        by=closed.by,
        reasons=list(closed.reasons),
        override_by=closed.override_by or None,
        override_reason=closed.override_reason or None,
        digest=closed.digest,
    )
