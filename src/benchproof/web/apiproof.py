"""The API's operations on one proof: what can be done to it at the bench."""

from collections.abc import Callable
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.conduct.deciding import Figures, decided
from benchproof.conduct.finding import TypedEdge
from benchproof.face.examined import Decided, decided_shown
from benchproof.face.proved import Proof, proof_shown
from benchproof.family.names import MOST_LETTERS
from benchproof.proof.events import Mistake, ProofOutcome, Turned
from benchproof.proof.eventwords import LEAST_SPREAD
from benchproof.proof.problems import ProofProblem
from benchproof.reading.value import Conditions
from benchproof.shop.costs import Amount, Costs, Minutes, Rate
from benchproof.web.finding import found_edge, kept_sweep, measured_offset
from benchproof.web.metering import check_resistor, choose_gear, null_leads
from benchproof.web.openapi import Call, Operation
from benchproof.web.pages.deciding import figures_of
from benchproof.web.pages.proofstage import asked_of
from benchproof.web.proofactions import (
    Taking,
    close,
    keep_photograph,
    note_turn,
    read_other,
    read_sheet,
    remark,
    take,
    take_back,
    withdraw_shown,
    work_done,
)

Initials = Annotated[str, Meta(max_length=20)]
Place = Annotated[str, Meta(min_length=1, max_length=MOST_LETTERS)]
Words = Annotated[str, Meta(max_length=2000)]


class Under(Struct, forbid_unknown_fields=True, kw_only=True):
    """What the part is under when it is read."""

    part_c: Annotated[float, Meta(ge=-100.0, le=400.0)] | None = None
    part_c_u: Annotated[float, Meta(gt=0.0, le=400.0)] | None = None
    pressure_kpa: Annotated[float, Meta(ge=-110.0, le=100_000.0)] | None = None
    pressure_kpa_u: Annotated[float, Meta(gt=0.0, le=100_000.0)] | None = None
    supply_v: Annotated[float, Meta(ge=-1000.0, le=1000.0)] | None = None
    supply_v_u: Annotated[float, Meta(gt=0.0, le=1000.0)] | None = None

    @property
    def under(self) -> Conditions:
        """The same as a reading keeps it."""
        return Conditions(**{one: getattr(self, one) for one in Conditions.__dataclass_fields__})


class SomeCosts(Struct, forbid_unknown_fields=True, kw_only=True):
    """The shop's figures; what is left out is as this page has it."""

    currency: Annotated[str, Meta(min_length=1, max_length=30)] | None = None
    hour: Amount | None = None
    new_part: Amount | None = None
    comeback: Amount | None = None
    reuse_min: Minutes | None = None
    realign_min: Minutes | None = None
    clean_min: Minutes | None = None
    replace_min: Minutes | None = None
    good_comeback_rate: Rate | None = None
    new_comeback_rate: Rate | None = None
    misaligned_comeback_rate: Rate | None = None
    faulty_comeback_rate: Rate | None = None
    clean_cures_rate: Rate | None = None
    proof_finds_rate: Rate | None = None
    doubtful_good_rate: Rate | None = None


assert SomeCosts.__struct_fields__ == Costs.__struct_fields__, "every figure can be given"


class NewReading(Under, forbid_unknown_fields=True, kw_only=True):
    """A reading of a cell, its value as the meter showed it; no position without a lever."""

    position: Annotated[str, Meta(max_length=MOST_LETTERS)] = ""
    pins: Annotated[str, Meta(min_length=1, max_length=2 * MOST_LETTERS + 3)]
    value: Annotated[str, Meta(min_length=1, max_length=120)]
    lean: Annotated[str, Meta(max_length=MOST_LETTERS)] = ""
    again: bool = False
    by: Initials = ""


class NewEdge(Struct, forbid_unknown_fields=True):
    """A place where a pair changes, in the family's unit of angle, with what it reads beside it."""

    position: Place
    pins: Annotated[str, Meta(min_length=1, max_length=2 * MOST_LETTERS + 3)]
    angle: Annotated[float, Meta(ge=-3600.0, le=3600.0)]
    u: Annotated[float, Meta(ge=LEAST_SPREAD, le=3600.0)]
    below: Annotated[str, Meta(min_length=1, max_length=120)]
    above: Annotated[str, Meta(min_length=1, max_length=120)]
    series: Annotated[int, Meta(ge=0, le=1_000_000)] = 0
    zero_u: Annotated[float, Meta(ge=0.0, le=3600.0)] = 0.0
    turned: Literal["up", "down", ""] = ""
    note: Words = ""
    by: Initials = ""


class NewOffset(Struct, forbid_unknown_fields=True):
    """The offset as something else than readings tells it, in the family's unit of angle."""

    offset: Annotated[float, Meta(ge=-3600.0, le=3600.0)]
    u: Annotated[float, Meta(ge=LEAST_SPREAD, le=3600.0)]
    how: Annotated[str, Meta(max_length=200)] = "the marks"
    by: Initials = ""


class NewSweep(Struct, forbid_unknown_fields=True):
    """A sweep of the lever, its trace in base64; `meter` is what read it if not the proof's."""

    content: Annotated[bytes, Meta(min_length=1, max_length=20_000_000)]
    name: Annotated[str, Meta(max_length=120)] = "sweep"
    meter: Annotated[str, Meta(max_length=120)] = ""
    note: Words = ""
    by: Initials = ""


class NewSheet(Under, forbid_unknown_fields=True, kw_only=True):
    """A sheet of readings, CSV or XLSX in base64: all of it is recorded, or none."""

    content: Annotated[bytes, Meta(min_length=1, max_length=20_000_000)]
    name: Annotated[str, Meta(max_length=120)] = "sheet"
    by: Initials = ""


class NewMeter(Struct, forbid_unknown_fields=True):
    """Meter or bench of a proof, by a tag of the gear or a name that comes along."""

    meter: Annotated[str, Meta(max_length=120)] = ""
    bench: Annotated[str, Meta(max_length=120)] = ""
    lead_ohm: Annotated[float, Meta(ge=0.0, le=100.0)] | None = None
    ambient_c: Annotated[float, Meta(ge=-40.0, le=60.0)] | None = None
    by: Initials = ""


class NewLeads(Struct, forbid_unknown_fields=True):
    """What the leads read, their tips joined anew each time, parted by blanks.

    Empty to have the instrument read them.
    """

    values: Annotated[str, Meta(max_length=200)] = ""
    by: Initials = ""


class NewResistor(Struct, forbid_unknown_fields=True):
    """A known resistor: its ohms, and what it reads; that is empty to have the instrument read it.

    `limit` is how far it may be off; empty for 1 % and twice the meter's uncertainty.
    """

    known: Annotated[str, Meta(min_length=1, max_length=40)]
    value: Annotated[str, Meta(max_length=40)] = ""
    limit: Annotated[str, Meta(max_length=40)] = ""
    by: Initials = ""


class ByInstrument(Under, forbid_unknown_fields=True, kw_only=True):
    """Take the reading that is asked for from the instrument, if no event came since `events`."""

    events: Annotated[int, Meta(ge=1)]
    by: Initials = ""


class Withdrawal(Struct, forbid_unknown_fields=True):
    """Withdraw a reading, by its number among the events; `kind` is what it is put down to."""

    event: Annotated[int, Meta(ge=1, le=2**53)]
    reason: Words = ""
    kind: Literal["slip", "wrong cell", "wrong key", "meter or leads", "other"] = "other"
    by: Initials = ""


class NewWork(Struct, forbid_unknown_fields=True):
    """What was done to the part, and by whom; noted before its first reading."""

    what: Annotated[str, Meta(min_length=1, max_length=2000)]
    by: Annotated[str, Meta(min_length=1, max_length=20)]


class Turn(Struct, forbid_unknown_fields=True):
    """The body was turned."""

    note: Words = ""
    by: Initials = ""


class TakenBack(Struct, forbid_unknown_fields=True):
    """Take back a turn of the body that was noted by mistake, by its number among the events."""

    event: Annotated[int, Meta(ge=1, le=2**53)]
    by: Annotated[str, Meta(min_length=1, max_length=20)]
    reason: Words = ""


class NewRemark(Struct, forbid_unknown_fields=True):
    """A remark."""

    text: Annotated[str, Meta(min_length=1, max_length=2000)]
    by: Initials = ""


class NewPhotograph(Struct, forbid_unknown_fields=True):
    """A photograph, its content in base64."""

    content: Annotated[bytes, Meta(min_length=1, max_length=20_000_000)]
    what: Annotated[str, Meta(max_length=200)] = ""
    by: Initials = ""


class Closing(Struct, forbid_unknown_fields=True):
    """Close a proof: as what is named, or as what is decided; an override needs both its fields."""

    outcome: (
        Literal["accepted", "realign", "repair", "recheck", "likely-good", "abandoned"] | None
    ) = None
    override_by: Annotated[str, Meta(max_length=120)] = ""
    override_reason: Words = ""
    by: Initials = ""


def _told(call: Call, _: str) -> Proof:
    """Return how the proof stands after something was done, of which the screens are told."""
    tag = call.path["tag"]
    call.site.hub.publish(f"proof/{tag}")
    call.site.hub.publish("proofs")
    return proof_shown(call.site.works.standing(tag))


def _read(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    typed = new.position, new.pins, new.value
    return _told(
        call, read_other(call.site, tag, new.by, typed, new.lean, again=new.again, under=new.under)
    )


def _edge(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    typed = TypedEdge(
        new.position,
        new.pins,
        new.angle,
        new.u,
        new.below,
        new.above,
        new.series,
        new.zero_u,
        Turned(new.turned),
        new.note,
    )
    return _told(call, found_edge(call.site, tag, new.by, typed))


def _offset(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    return _told(call, measured_offset(call.site, tag, new.by, new.offset, new.u, new.how))


def _sweep(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    said = kept_sweep(call.site, tag, new.by, new.content, new.name, new.meter, new.note)
    return _told(call, said)


def _sheet(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    return _told(call, read_sheet(call.site, tag, new.by, new.content, new.name, new.under))


def _gear(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    said = choose_gear(call.site, tag, new.by, new.meter, new.bench, new.lead_ohm, new.ambient_c)
    return _told(call, said)


def _leads(call: Call) -> Proof:
    new = call.body
    return _told(call, null_leads(call.site, call.path["tag"], new.by, new.values))


def _resistor(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    return _told(call, check_resistor(call.site, tag, new.by, new.known, new.value, new.limit))


def _take(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    step = asked_of(call.site.works.standing(tag).state)
    if step is None:
        raise ProofProblem(f"{tag}: nothing more is asked for.")
    action = step.action
    shown = Taking(action.position, step.pins, action.lean, action.again, new.events, "", new.under)
    return _told(call, take(call.site, tag, new.by, shown))


def _withdraw(call: Call) -> Proof:
    new, tag = call.body, call.path["tag"]
    kind = Mistake(new.kind)
    return _told(call, withdraw_shown(call.site, tag, new.by, new.event, new.reason, kind))


def _work(call: Call) -> Proof:
    return _told(call, work_done(call.site, call.path["tag"], call.body.by, call.body.what))


def _turn(call: Call) -> Proof:
    return _told(call, note_turn(call.site, call.path["tag"], call.body.by, call.body.note))


def _take_back(call: Call) -> Proof:
    new = call.body
    return _told(call, take_back(call.site, call.path["tag"], new.by, new.event, new.reason))


def _remark(call: Call) -> Proof:
    return _told(call, remark(call.site, call.path["tag"], call.body.by, call.body.text))


def _photograph(call: Call) -> Proof:
    new = call.body
    return _told(
        call,
        keep_photograph(call.site, call.path["tag"], new.by, new.content, "photograph", new.what),
    )


def _close(call: Call) -> Proof:
    new = call.body
    outcome = None if new.outcome is None else ProofOutcome(new.outcome)
    return _told(
        call,
        close(call.site, call.path["tag"], new.by, outcome, new.override_by, new.override_reason),
    )


def _decide(call: Call) -> Decided:
    state = call.site.works.standing(call.path["tag"]).state
    before = figures_of(call.site)
    values = msgspec.structs.asdict(call.body)
    given = {name: value for name, value in values.items() if value is not None}
    costs = msgspec.structs.replace(before.costs, **given)
    found, remarks = decided(state, Figures(costs, before.own or bool(given)))
    if found is None:
        raise ProofProblem(remarks[0])
    questions = state.as_left.examination.questions
    return decided_shown(state.dangers, questions, found, costs.currency, remarks)


def _operation(
    what: str, name: str, summary: str, do: Callable[[Call], Proof], body: type[Struct]
) -> Operation:
    path = f"/api/proofs/{{tag}}/{what}"
    return Operation("POST", path, name, summary, Proof, do, body=body, status=201)


OPERATIONS = (
    Operation("POST", "/api/proofs/{tag}/decide", "decide", "Price what can be done with the part.",
              Decided, _decide, body=SomeCosts),
    _operation("readings", "add_reading", "Record a reading of a cell.", _read, NewReading),
    _operation("taken", "take_reading", "Take the reading that is asked for from the instrument.",
               _take, ByInstrument),
    _operation("edges", "add_edge", "Record an edge that was found.", _edge, NewEdge),
    _operation("offsets", "add_offset", "Record an offset measured otherwise, as by the marks.",
               _offset, NewOffset),
    _operation("sweeps", "add_sweep", "Record a sweep of the lever.", _sweep, NewSweep),
    _operation("gear", "choose_gear", "Choose meter or bench.", _gear, NewMeter),
    _operation("leads", "null_leads", "Null the leads.", _leads, NewLeads),
    _operation("resistor", "check_resistor", "Check meter and leads with a known resistor.",
               _resistor, NewResistor),
    _operation("sheets", "add_sheet", "Record a sheet of readings.", _sheet, NewSheet),
    _operation("withdrawals", "withdraw_reading", "Withdraw a reading.", _withdraw, Withdrawal),
    _operation("work", "note_work", "Note what was done to the part.", _work, NewWork),
    _operation("turns", "turn_body", "Note that the body was turned.", _turn, Turn),
    _operation("turns/taken-back", "take_back_turn",
               "Take back a turn of the body that was noted by mistake.", _take_back, TakenBack),
    _operation("remarks", "add_remark", "Add a remark.", _remark, NewRemark),
    _operation("photographs", "add_photograph", "Add a photograph.", _photograph, NewPhotograph),
    _operation("closing", "close_proof", "Close a proof.", _close, Closing),
)  # fmt: skip
