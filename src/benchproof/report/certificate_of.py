"""A certificate from a closed proof."""

from dataclasses import dataclass

from benchproof.align.window import Window, shape_of, window_of
from benchproof.diagnose.verdict import OffsetEstimate
from benchproof.family.ohms import format_ohms
from benchproof.family.problems import BadFile, TooLarge
from benchproof.judge.cell import COVERAGE
from benchproof.network.temperature import ROOM_C, UNTOLD_U_K
from benchproof.proof.events import MeterChosen
from benchproof.proof.problems import ProofProblem
from benchproof.proof.setting import Setting
from benchproof.proof.state import State
from benchproof.reading.value import Conditions
from benchproof.reading.warmth import growth_of
from benchproof.report.certificate import Alignment, Certificate, MeterShown
from benchproof.report.familyfigures import strip_of
from benchproof.report.judgedchart import With, chart_shown, hazards_of, worst_risk
from benchproof.report.layout import Rest, signed, span_text
from benchproof.report.strip import Strip

MOST_FOUND = 12
"""No more edges, offsets and sweeps than these are told one by one."""
_UNIT = {"deg": "deg", "gap": "of a detent gap"}


@dataclass(frozen=True)
class Recorded:
    """What the archive says of a proof beside its events.

    Attributes
    ----------
    proof : str
        Its tag.
    seq, hash : int and str
        Number and hash of the event that closed it.
    unit : str
        Tag of the unit that the part is for; may be empty.
    fitted : tuple of (str, str)
        What was new or reused: what it is, and which.
    """

    proof: str
    seq: int
    hash: str
    unit: str = ""
    fitted: tuple[tuple[str, str], ...] = ()


def origin(bought: bool, core: str, maker_class: str) -> str:
    """Return whether a part is new or reused, in words.

    Examples
    --------
    >>> origin(False, "C-77", "original")
    'reused, from core C-77; original maker'
    """
    if bought:
        where = "new, bought"
    else:
        where = f"reused, from core {core}" if core else "reused, core not noted"
    return f"{where}; {maker_class} maker"


def certificate_of(state: State, recorded: Recorded, version: str) -> Certificate:
    """Return the certificate of a proof.

    Parameters
    ----------
    state : State
        After the event that closed it.
    recorded : Recorded
        What the archive says of it.
    version : str
        Version of the program that draws it.

    Raises
    ------
    ProofProblem
        If the proof is still open.
    """
    closed = state.closed
    if closed is None:
        raise ProofProblem(
            f"{recorded.proof} is still open; close it first: benchproof proof close "
            f"{recorded.proof}."
        )
    family = state.ground.family
    found, left = state.as_found, state.as_left
    read_found, read_left = _with(found), _with(left)
    cells = left.judgement.cells
    risk, cell = worst_risk(family, cells, read_left)
    strip, alignment = _alignment(state)
    return Certificate(
        proof=recorded.proof,
        seq=recorded.seq,
        hash=recorded.hash,
        part=state.opened.part,
        family=family.name,
        outcome=closed.outcome,
        chart=chart_shown(
            family, found.judgement.cells, cells, len(state.settings) > 1, read_found, read_left
        ),
        meter=_meter(state),
        opened_at=state.opened.at,
        opened_by=state.opened.by,
        closed_at=closed.at,
        closed_by=closed.by,
        version=version,
        unit=recorded.unit,
        family_note=family.note,
        fitted=recorded.fitted,
        reasons=closed.reasons,
        override_by=closed.override_by,
        override_reason=closed.override_reason,
        worst_risk=risk,
        worst_cell=cell,
        alignment=alignment,
        part_at=_part_at(state),
        believed=_believed(state),
        strip=strip,
        dangers=state.dangers,
        hazards=hazards_of(state.ground.safety, cells),
        history=_history(state),
        flagged=tuple(one.sentence for one in state.flagged),
        remarks=_remarks(state),
    )


def _with(one: Setting) -> With:
    return With(one.meter, one.ambient_c)


def _meter(state: State) -> MeterShown:
    chosen, meter = state.meter_chosen, state.as_left.meter
    name = meter.name if chosen else f"not named; taken as an {meter.name} (invented)"
    told = chosen or MeterChosen(state.opened.at, "", state.opened.meter_file, meter.name)
    leads = meter.leads
    calm = meter.calm_c
    return MeterShown(
        name=name,
        tag=told.tag,
        calibrated_on=told.calibrated_on,
        due_on=told.due_on,
        leads="nulled" if leads.nulled else f"{format_ohms(leads.ohm)}, taken off",
        temperature=(
            f"not noted; taken as {calm[0]:g} to {calm[1]:g} °C"
            if told.ambient_c is None
            else f"{told.ambient_c:g} °C"
        ),
        bench=state.bench.name,
        identity=told.identity,
    )


def _alignment(state: State) -> tuple[Strip | None, Alignment]:
    """Return the travel figure and where the part stands, as far as the family lets it be told."""
    try:
        window = window_of(shape_of(state.ground.family, state.ground.priors), state.ground.priors)
    except (TooLarge, BadFile):
        return None, Alignment()
    diagnosis = state.as_left.diagnosis
    offset = diagnosis.offset if diagnosis and state.as_left.taken else None
    if offset is None or offset.unit != window.unit:
        return strip_of(window), Alignment(window=_window_text(window))
    rest = Rest(offset.best, offset.intervals95)
    return strip_of(window, rest), Alignment(_offset_text(offset), _window_text(window))


def _part_at(state: State) -> str:
    """Return at which temperatures a part was read whose ohms depend on it, in words."""
    told: dict[str, None] = {}
    for one in state.as_left.taken:
        if growth_of(one.reading, state.ground.family) is not None:
            told[_warmth_text(one.reading.conditions)] = None
    return ", ".join(told)


def _warmth_text(under: Conditions) -> str:
    if under.part_c is None:
        low, high = ROOM_C
        return f"not told; taken as {low:g} to {high:g} °C"
    u = UNTOLD_U_K if under.part_c_u is None else under.part_c_u
    return f"{under.part_c:g} ± {COVERAGE * u:g} °C"


def _believed(state: State) -> str:
    """Return what is likely wrong with a part without a lever, in words; empty if nothing is."""
    diagnosis = state.as_left.diagnosis
    if state.ground.family.lever or diagnosis is None:
        return ""
    return diagnosis.likeliest


def _offset_text(offset: OffsetEstimate) -> str:
    where = " or ".join(span_text(span, "").strip() for span in offset.intervals95)
    return f"{signed(offset.best, _UNIT[offset.unit])}, 95 % in {where}"


def _window_text(window: Window) -> str:
    """Return a window in words; empty if there is none, or it is open to a side."""
    if window.centre is None:
        return ""
    text = span_text((window.low, window.high), _UNIT[window.unit])
    low, high = window.mm(window.low), window.mm(window.high)
    if low is None or high is None:
        return text
    return f"{text} ({span_text((low, high), 'mm')} at the marks)"


def _history(state: State) -> tuple[str, ...]:
    """Return what is known of the part beside its readings, and which of them were withdrawn."""
    return (
        *(f"Other proof {one.told}" for _, one in state.others),
        *(f"Work by {one.by}: {one.what}" for _, one in state.work),
        *(
            f"Inspected by eye: {one.item}: {one.grade}{f', {one.remark}' if one.remark else ''}"
            for one in state.inspections
        ),
        *state.withdrawn_told,
    )


def _found(state: State) -> tuple[str, ...]:
    """Return the edges, offsets and sweeps in words, the first of very many."""
    told = state.noted_told
    more = len(told) - MOST_FOUND
    return told if more <= 0 else (*told[:MOST_FOUND], f"{more} more in the record")


def _remarks(state: State) -> tuple[str, ...]:
    said = [
        *(one[0].upper() + one[1:] for one in _found(state)),
        *(one.told for one in state.noted_turns),
        *(f"Gear checked: {check.told}" for check in state.checks),
        *(f"Remark by {one.by or 'nobody named'}: {one.text}" for one in state.remarks),
    ]
    photographs = len(state.photographs)
    if photographs:
        said.append(f"Photographs in the record: {photographs}.")
    return tuple(said)
