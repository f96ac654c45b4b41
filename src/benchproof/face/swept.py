"""A sweep as a program is shown it, and faults as both a sweep and readings show them."""

from typing import TYPE_CHECKING, Annotated, Literal

from benchproof.face.view import Pins, Span, View, says

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.align.sweepfault import SweepDiagnosis
    from benchproof.align.sweepwhole import JudgedSweep, SweptPair
    from benchproof.diagnose.verdict import Claim


class FaultView(View):
    """A fault, alone or with another."""

    fault: Annotated[str, says("its kind")]
    where: Annotated[str, says("its place: two nodes, a pin, `lever`")]
    probability: float
    tied: Annotated[list[str], says("other faults that make every reading just as likely")]
    evidence: Annotated[list[str], says("sentences, `for:` or `against:`")]


class PassView(View):
    """A way of the lever through its travel."""

    rising: bool
    from_deg: float
    to_deg: float


class EdgeView(View):
    """An edge of a dwell."""

    at_deg: float
    u_deg: Annotated[float, says("standard uncertainty")]
    below: Annotated[str, says("the band below it")]
    above: Annotated[str, says("the band above it")]
    hysteresis_deg: Annotated[float | None, says("`null` from one direction")]


class DwellView(View):
    """A run of one band."""

    band: str
    from_deg: float
    to_deg: float
    median_ohm: float
    worst_ohm: float
    noise_ohm: float


class SweptPairView(View):
    """A swept pair."""

    pins: Pins
    edges: list[EdgeView]
    dwells: list[DwellView]
    dropouts: Annotated[int, says("in all passes")]
    closings: Annotated[int, says("in all passes")]


class SweptCellView(View):
    """A cell as a sweep shows it."""

    position: str
    pins: Pins
    expected: str
    found: Annotated[str | None, says("a band")]
    result: Literal["pass", "fail", "missing"]


class SweepFindingView(View):
    """Something that a sweep shows."""

    severity: Literal["hazard", "fail", "caution", "note"]
    sentence: Annotated[str, says("that of a hazard begins with `DANGER:`")]


class SweepOffsetView(View):
    """Where the moving part stands, by a sweep."""

    best: float
    interval95: Span


class SweepDiagnosisView(View):
    """What is believed by a sweep alone."""

    no_fault: Annotated[float, says("probability that no fault shows")]
    not_explained: Annotated[float, says("probability of none of the faults thought of")]
    untested: Annotated[int, says("how many of these would not show in the swept pairs")]
    faults: list[FaultView]
    offset_deg: Annotated[SweepOffsetView | None, says("`null` if the scale has no zero")]


class TraceView(View):
    """A sweep; its angles are on the trace's own scale."""

    verdict: Annotated[Literal["pass", "fail", "incomplete"], says("of the swept pairs")]
    samples: int
    passes: list[PassView]
    zero_deg: Annotated[
        float | None,
        says("what the scale reads where the family's own reads zero; `null` if nothing ties them"),
    ]
    zero_from: Annotated[str, says("why, or why not")]
    pairs: list[SweptPairView]
    cells: list[SweptCellView]
    findings: Annotated[list[SweepFindingView], says("gravest first")]
    diagnosis: Annotated[
        SweepDiagnosisView | None, says("`null` for a chart too large or without detents")
    ]


def faults_shown(claims: "Iterable[Claim]") -> list[FaultView]:
    """Return faults."""
    return [
        FaultView(
            fault=claim.fault.kind.value,
            where=claim.fault.where,
            probability=claim.probability,
            tied=[str(fault) for fault in claim.tied],
            evidence=list(claim.evidence),
        )
        for claim in claims
    ]


def trace_shown(judged: "JudgedSweep") -> TraceView:
    """Return a sweep that was judged."""
    from benchproof.align.sweepfindings import sweep_findings, sweep_verdict

    return TraceView(
        verdict=sweep_verdict(judged).value,
        samples=judged.sweep.samples,
        passes=[
            PassView(rising=one.rising, from_deg=one.from_deg, to_deg=one.to_deg)
            for one in judged.sweep.passes
        ],
        zero_deg=judged.scale.shift_deg,
        zero_from=judged.scale.why,
        pairs=[_pair(pair) for pair in judged.pairs],
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
        diagnosis=None if judged.diagnosis is None else _diagnosis(judged.diagnosis),
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


def _diagnosis(found: "SweepDiagnosis") -> SweepDiagnosisView:
    offset = found.offset
    return SweepDiagnosisView(
        no_fault=found.no_fault,
        not_explained=found.not_explained,
        untested=found.untested,
        faults=faults_shown(found.faults),
        offset_deg=None
        if offset is None
        else SweepOffsetView(best=offset.best, interval95=offset.intervals95[0]),
    )
