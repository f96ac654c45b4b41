"""How a sweep trace is read, judged and printed, and its JSON object."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.align.diagnosedsweep import DiagnosedSweep, diagnose_trace
from benchproof.cli.files import shown_name
from benchproof.cli.loading import load_priors
from benchproof.cli.output import COLOUR, SIGN, echo, print_grid, styled
from benchproof.judge.sweepfindings import SweepVerdict, sweep_findings, sweep_verdict
from benchproof.reading.trace import BLOCK_BYTES, open_trace
from benchproof.record.regular import open_regular

if TYPE_CHECKING:
    from benchproof.align.sweepdiagnosis import SweepDiagnosis
    from benchproof.family.model import Family
    from benchproof.judge.sweep import JudgedSweep
    from benchproof.trace.sweep import SweptPair

TRACE = click.option(
    "--trace", metavar="FILE", help="A sweep trace (CSV) to judge, with READINGS or alone."
)
WORTH_TELLING = 0.01
"""Faults less likely than this are not printed; JSON has them all."""
_COLOUR = {"hazard": "red", "fail": "red", "caution": "yellow", "note": ""}


def load_sweep(name: str, family: "Family", priors: str | None) -> DiagnosedSweep:
    """Return a trace file, judged and diagnosed; it is read a block at a time.

    Raises
    ------
    BadFile
        With every mistake in it.
    TooLarge
        If there is no end to its changes.
    """
    trace = open_trace(trace_chunks(name), shown_name(name), family)
    return diagnose_trace(trace, family, load_priors(priors, family.name))


def trace_chunks(name: str) -> Iterator[bytes]:
    """Yield the content of a trace file, or of standard input for ``-``, in pieces."""
    if name == "-":
        yield from iter(lambda: sys.stdin.buffer.read(BLOCK_BYTES), b"")
        return
    with open_regular(Path(name)) as file:
        yield from iter(lambda: file.read(BLOCK_BYTES), b"")


def passed(judged: "JudgedSweep") -> bool:
    """Return whether a sweep is good."""
    return sweep_verdict(judged) is SweepVerdict.PASS


def print_sweep(found: DiagnosedSweep) -> None:
    """Print what each pair shows, what is wrong, and the findings, hazards first."""
    judged, sweep = found.judged, found.judged.sweep
    echo(
        f"Sweep: {sweep.boiled.samples} samples, {len(sweep.boiled.passes)} "
        f"{'pass' if len(sweep.boiled.passes) == 1 else 'passes'}; {sweep.scale.why}."
    )
    positions = sweep.family.positions
    rows = []
    for pair in sweep.pairs:
        cells = [cell for cell in judged.cells if cell.pair == pair.name]
        if cells:
            shown = [(f"{c.found} {SIGN[c.result]}{c.result}".strip(), c.result) for c in cells]
            rows.append([(pair.name, ""), *shown])
    if rows:
        print_grid(["pins", *positions], rows)
    for pair in sweep.pairs:
        echo(f"{pair.name}: {_edges_text(pair)}")
        for dwell in pair.dwells:
            echo(
                f"    {pair.bands.names[dwell.band]} {dwell.low_deg:.1f} to {dwell.high_deg:.1f} "
                f"deg: {dwell.median_ohm:.3g} ohm, at worst {dwell.worst_ohm:.3g}, "
                f"noise {dwell.noise_ohm:.2g}"
            )
    if found.diagnosis is not None:
        _print_diagnosis(found.diagnosis)
    word = sweep_verdict(judged).value
    echo(
        styled("Sweep verdict: ", bold=True),
        styled(word.upper(), bold=True, fg=COLOUR.get(word, "yellow")),
    )
    for finding in sweep_findings(judged):
        colour = _COLOUR[finding.severity.value]
        echo("  ", styled(finding.sentence, fg=colour) if colour else finding.sentence)


def _edges_text(pair: "SweptPair") -> str:
    if not pair.edges:
        return "no edge"
    told = []
    for edge in pair.edges:
        lag = "" if edge.hysteresis_deg is None else f", lag {edge.hysteresis_deg:.2f}"
        names = f"{pair.bands.names[edge.below]} to {pair.bands.names[edge.above]}"
        told.append(f"{names} at {edge.at_deg:.2f} deg (± {2.0 * edge.u_deg:.2f}{lag})")
    return "; ".join(told)


def _print_diagnosis(found: "SweepDiagnosis") -> None:
    echo(
        styled("By the sweep: ", bold=True),
        f"no fault in these pairs {100.0 * found.no_fault:.1f} %",
    )
    if found.offset is not None:
        low, high = found.offset.intervals95[0]
        echo(f"  Offset: {low:.2f} to {high:.2f} deg with 95 %")
    for claim in found.faults:
        if claim.probability >= WORTH_TELLING:
            also = f" (or {', '.join(str(f) for f in claim.tied)})" if claim.tied else ""
            echo(f"  {100.0 * claim.probability:.1f} % {claim.told}{also}")
            for sentence in claim.evidence:
                echo(f"      {sentence}")
    if found.not_explained >= WORTH_TELLING:
        echo(f"  {100.0 * found.not_explained:.1f} % none of the faults thought of")
