"""Readings judged, a sweep judged, or both, as a program is shown them."""

from typing import TYPE_CHECKING, Annotated, Literal

from benchproof.face.examined import (
    CellView,
    DangerView,
    DiagnosisView,
    NextView,
    QuestionView,
    SheetWord,
    cells_shown,
    dangers_shown,
    diagnosis_shown,
    next_shown,
    questions_shown,
)
from benchproof.face.view import Pins, Position, View, says
from benchproof.judge.sweepfindings import sweep_findings, sweep_verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.examine.examination import Examination
    from benchproof.judge.sweep import JudgedSweep
    from benchproof.trace.sweep import SweptPair


class PassView(View, frozen=True):
    """A way of the lever through its travel."""

    rising: Annotated[bool, says("whether the angle rises")]
    from_deg: Annotated[float, says("where it begins")]
    to_deg: Annotated[float, says("where it ends")]


class EdgeView(View, frozen=True):
    """An edge of a dwell."""

    at_deg: Annotated[float, says("where it lies, by both directions")]
    u_deg: Annotated[float, says("standard uncertainty")]
    below: Annotated[str, says("the band below it")]
    above: Annotated[str, says("the band above it")]
    hysteresis_deg: Annotated[float | None, says("`null` from one direction")]


class DwellView(View, frozen=True):
    """A run of one band."""

    band: Annotated[str, says("how it conducts")]
    from_deg: Annotated[float, says("where it begins")]
    to_deg: Annotated[float, says("where it ends")]
    median_ohm: Annotated[float, says("middle of the samples")]
    worst_ohm: Annotated[float, says("the greatest of the samples")]
    noise_ohm: Annotated[float, says("spread of the samples")]


class SweptPairView(View, frozen=True):
    """A swept pair."""

    pins: Pins
    edges: Annotated[list[EdgeView], says("by rising angle")]
    dwells: Annotated[list[DwellView], says("by rising angle")]
    dropouts: Annotated[int, says("in all passes")]
    closings: Annotated[int, says("in all passes")]


class SweptCellView(View, frozen=True):
    """A cell as a sweep shows it."""

    position: Position
    pins: Pins
    expected: Annotated[str, says("as charted")]
    found: Annotated[str | None, says("a band")]
    result: Annotated[
        Literal["pass", "fail", "missing"], says("`missing` if the sweep does not reach it")
    ]


class SweepFindingView(View, frozen=True):
    """Something that a sweep shows."""

    severity: Annotated[
        Literal["hazard", "fail", "caution", "note"],
        says("`hazard` may hurt somebody; it stands first"),
    ]
    sentence: Annotated[str, says("that of a hazard begins with `DANGER:`")]


class TraceView(View, frozen=True):
    """A sweep; its angles are on the trace's own scale."""

    verdict: Annotated[Literal["pass", "fail", "incomplete"], says("of the swept pairs")]
    samples: Annotated[int, says("how many")]
    passes: Annotated[list[PassView], says("in the order in which they were swept")]
    zero_deg: Annotated[
        float | None,
        says("what the scale reads where the family's own reads zero; `null` if nothing ties them"),
    ]
    zero_from: Annotated[str, says("why, or why not")]
    pairs: Annotated[list[SweptPairView], says("one a swept pair")]
    cells: Annotated[list[SweptCellView], says("one a cell of a swept pair")]
    findings: Annotated[list[SweepFindingView], says("gravest first")]


class Judged(View, frozen=True):
    """Readings judged, a sweep, or both: what is believed is by all of it together.

    A sweep counts as one reading of each cell whose detent it passed, and its edges as evidence.

    The verdict is the first of these that holds: *recheck*, the readings cannot be of this chart
    (no part could give them together, nothing or everything conducts, or more than half the cells
    are against the chart); *fail*, a cell fails; *incomplete*, some were not read; *undecided*, for
    some the meter cannot say; *pass*.
    """

    dangers: Annotated[list[DangerView], says("worst first")]
    questions: Annotated[list[QuestionView], says("what nobody has said of the family")]
    verdict: Annotated[SheetWord, says("of the whole sheet")]
    reasons: Annotated[list[str], says("sentences: why")]
    cells: Annotated[list[CellView], says("row by row in lever order")]
    cautions: Annotated[list[str], says("sentences, hazards first")]
    diagnosis: Annotated[DiagnosisView | None, says("`null` for a chart too large for it")]
    next: Annotated[NextView, says("the reading to take next")]
    trace: Annotated[TraceView | None, says("`null` without a trace")]


def trace_shown(judged: "JudgedSweep") -> TraceView:
    """Return a sweep that was judged."""
    sweep = judged.sweep
    return TraceView(
        verdict=sweep_verdict(judged).value,
        samples=sweep.boiled.samples,
        passes=[
            PassView(rising=one.rising, from_deg=one.from_deg, to_deg=one.to_deg)
            for one in sweep.boiled.passes
        ],
        zero_deg=sweep.scale.shift_deg,
        zero_from=sweep.scale.why,
        pairs=[_pair(pair) for pair in sweep.pairs],
        cells=[
            SweptCellView(
                position=cell.position,
                pins=_pins(cell.pair),
                expected=cell.expected,
                found=cell.found or None,
                result=cell.result.value,
            )
            for cell in judged.cells
        ],
        findings=[
            SweepFindingView(severity=one.severity.value, sentence=one.sentence)
            for one in sweep_findings(judged)
        ],
    )


def _pins(name: str) -> Pins:
    first, _, second = name.partition("-")
    return first, second


def _pair(pair: "SweptPair") -> SweptPairView:
    names = pair.bands.names
    return SweptPairView(
        pins=_pins(pair.name),
        edges=[
            EdgeView(
                at_deg=edge.at_deg,
                u_deg=edge.u_deg,
                below=names[edge.below],
                above=names[edge.above],
                hysteresis_deg=edge.hysteresis_deg,
            )
            for edge in pair.edges
        ],
        dwells=[
            DwellView(
                band=names[dwell.band],
                from_deg=dwell.low_deg,
                to_deg=dwell.high_deg,
                median_ohm=dwell.median_ohm,
                worst_ohm=dwell.worst_ohm,
                noise_ohm=dwell.noise_ohm,
            )
            for dwell in pair.dwells
        ],
        dropouts=sum(burst.count for burst in pair.dropouts),
        closings=sum(burst.count for burst in pair.closings),
    )


def judged_shown(
    found: "Examination", cautions: "Sequence[str]", swept: "JudgedSweep | None"
) -> Judged:
    """Return readings judged, a sweep judged, or both."""
    return Judged(
        dangers=dangers_shown(found.dangers),
        questions=questions_shown(found.questions),
        verdict=found.judged.verdict.value,
        reasons=list(found.judged.reasons),
        cells=cells_shown(found.judged.cells),
        cautions=[*cautions],
        diagnosis=diagnosis_shown(found.believed),
        next=next_shown(found.next),
        trace=None if swept is None else trace_shown(swept),
    )
