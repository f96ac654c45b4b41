"""The API's operations on charts, alignment, foretelling and proofs."""

from math import isfinite
from typing import Annotated, Literal

from msgspec import Meta, Struct

from benchproof.align.remarks import turning_cautions, window_remarks
from benchproof.conduct.chartfile import checked, told
from benchproof.conduct.families import family_of, vehicle_read, window_read
from benchproof.conduct.opening import open_proof
from benchproof.conduct.shipped import USUAL_METER, shipped_bytes
from benchproof.conduct.work import Standing
from benchproof.examine.policy import NextStep
from benchproof.foretell.outlook import of_condition
from benchproof.foretell.proof import Known, cautions_of
from benchproof.foretell.stated import parse_fault
from benchproof.plan.actions import TakeReading
from benchproof.proof.events import Mode
from benchproof.reading.meterfile import read_meter
from benchproof.record.rows import ProofRow
from benchproof.web.apirecords import refusal
from benchproof.web.openapi import Call, Operation

Name = Annotated[str, Meta(max_length=80)]


class Chart(Struct, forbid_unknown_fields=True):
    """A chart as it is typed or pasted."""

    chart: Annotated[str, Meta(max_length=500_000)]
    name: Annotated[str, Meta(max_length=40)] = ""


class Said(Struct):
    """One thing said of a chart."""

    rule: str
    severity: str
    place: str
    sentence: str


class Correction(Struct):
    """A cell that may be a misprint, and what it may be."""

    pair: str
    position: str
    instead: str


class ChartChecked(Struct):
    """What is to be said of a chart."""

    readable: bool
    usable: bool
    problems: list[Said]
    findings: list[Said]
    corrections: list[Correction]


class WindowTold(Struct):
    """Between which offsets every cell holds; null where nothing ends it."""

    family: str
    unit: str
    empty: bool
    low: float | None
    high: float | None
    centre: float | None
    remarks: list[str]
    cautions: list[str]


class Condition(Struct, forbid_unknown_fields=True):
    """The stated condition of a part."""

    offset: Annotated[float, Meta(ge=-180, le=180)] = 0.0
    faults: Annotated[list[Annotated[str, Meta(max_length=200)]], Meta(max_length=3)] = []


class Follows(Struct):
    """What the vehicle does."""

    name: str
    grade: str
    sentence: str
    certain: bool


class OutlookTold(Struct):
    """What is foretold, hazards first."""

    of: str
    consequences: list[Follows]
    cautions: list[str]


class ProofSearch(Struct, forbid_unknown_fields=True):
    """Which proofs to list, the latest first."""

    beginning: Name = ""
    open: bool = False
    after: Name | None = None
    limit: Annotated[int, Meta(ge=1, le=1000)] = 50


class NewProof(Struct, forbid_unknown_fields=True):
    """A proof to open."""

    part: Annotated[str, Meta(min_length=1, max_length=40)]
    mode: Literal["find", "prove"] = "prove"
    meter: Name = ""
    bench: Name = ""
    by: Annotated[str, Meta(max_length=20)] = ""


class CellNow(Struct):
    """A cell of the chart as left."""

    position: str
    pins: tuple[str, str]
    result: str
    reason: str


class NextNow(Struct):
    """What to do next; no position if there is nothing more to read."""

    position: str | None
    pins: tuple[str, str] | None
    lean: str | None
    again: bool
    why: str
    seconds: float


class DangerNow(Struct):
    """What could hurt somebody; see family/danger.py."""

    signal: str
    rule: str
    sentence: str
    cells: list[str]
    probability: float | None
    check_first: str


class ProofNow(Struct):
    """How a proof stands, what could hurt somebody first."""

    dangers: list[DangerNow]
    proof: str
    part: str
    family: str
    mode: str
    events: int
    hash: str
    verdict: str
    reasons: list[str]
    cells: list[CellNow]
    next: NextNow
    against: list[str]
    cautions: list[str]
    closed_as: str | None


def proof_now(standing: Standing) -> ProofNow:
    """Return how a proof stands."""
    state = standing.state
    judged, closed = state.as_left.judgement, state.closed
    return ProofNow(
        [
            DangerNow(
                one.signal.value,
                one.rule,
                one.sentence,
                list(one.cells),
                one.probability,
                one.check_first,
            )
            for one in state.dangers
        ],
        standing.tag,
        state.opened.part,
        state.ground.family.name,
        state.mode.value,
        state.seq,
        standing.hash,
        judged.verdict.value,
        list(judged.reasons),
        [
            CellNow(cell.position, cell.row.pair, cell.outcome.result.value, cell.outcome.reason)
            for cell in judged.cells
        ],
        _next(state.next),
        [one.sentence for one in state.objections],
        list(state.cautions),
        None if closed is None else closed.outcome.value,
    )


def _next(step: NextStep) -> NextNow:
    action = step.action
    if not isinstance(action, TakeReading):
        return NextNow(None, None, None, False, step.why, step.seconds)
    lean = action.lean or None
    return NextNow(action.position, action.pair, lean, action.again, step.why, step.seconds)


def _check(call: Call) -> ChartChecked:
    found = checked(call.body.chart, call.body.name)
    made = [told(found.family, one) for one in found.corrections] if found.family else []
    return ChartChecked(
        found.family is not None,
        found.usable,
        [Said("readable", "error", one.place, one.sentence) for one in found.problems],
        [Said(one.rule, one.severity.value, one.place, one.sentence) for one in found.findings],
        [Correction(*one) for one in made],
    )


def _window(call: Call) -> WindowTold:
    kept = family_of(call.site.store, call.path["key"])
    found = window_read(kept.content, kept.family.name)
    return WindowTold(
        found.family.name,
        found.unit,
        found.empty,
        found.low if isfinite(found.low) else None,
        found.high if isfinite(found.high) else None,
        found.centre,
        window_remarks(found),
        turning_cautions(found),
    )


def _foretell(call: Call) -> OutlookTold:
    kept = family_of(call.site.store, call.path["key"])
    vehicle = vehicle_read(kept.content, kept.family.name)
    try:
        faults = [parse_fault(text, vehicle.family) for text in call.body.faults]
    except ValueError as error:
        raise refusal(f"{error}.") from None
    outlook = of_condition(vehicle, call.body.offset, faults)
    meter = read_meter(shipped_bytes("meters", USUAL_METER), USUAL_METER)
    return OutlookTold(
        outlook.of,
        [
            Follows(one.rule.name, one.rule.grade.value, one.sentence, one.certain)
            for one in outlook.worth_telling
        ],
        cautions_of(Known(vehicle, (), meter)),
    )


def _proofs(call: Call) -> list[ProofRow]:
    asked, store = call.query, call.site.store
    before = None if asked.after is None else store.proofs.row(asked.after)
    return store.proofs.list(
        beginning=asked.beginning, open_only=asked.open, before=before, limit=asked.limit
    )


def _open(call: Call) -> ProofNow:
    new = call.body
    work = open_proof(
        call.site.store, new.part, Mode(new.mode), meter=new.meter, bench=new.bench, by=new.by
    )
    return proof_now(call.site.works.standing(work.tag))


def _proof(call: Call) -> ProofNow:
    return proof_now(call.site.works.standing(call.path["tag"]))


OPERATIONS = (
    Operation("POST", "/api/chart", "check_chart", "Audit a chart.", ChartChecked, _check,
              body=Chart),
    Operation("GET", "/api/families/{key}/window", "window", "Tell a family's window.", WindowTold,
              _window),
    Operation("POST", "/api/families/{key}/foretell", "foretell",
              "Foretell what a vehicle does with a part in a stated condition.", OutlookTold,
              _foretell, body=Condition),
    Operation("GET", "/api/proofs", "list_proofs", "List proofs.", list[ProofRow], _proofs,
              query=ProofSearch),
    Operation("POST", "/api/proofs", "open_proof", "Open a proof.", ProofNow, _open,
              body=NewProof, status=201),
    Operation("GET", "/api/proofs/{tag}", "get_proof", "Show how a proof stands.", ProofNow,
              _proof),
)  # fmt: skip
