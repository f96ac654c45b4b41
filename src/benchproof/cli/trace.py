"""How a sweep trace is read, judged and printed."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.files import shown_name
from benchproof.cli.output import COLOUR, SIGN, echo, print_grid, styled
from benchproof.judge.sweep import judge_trace
from benchproof.judge.sweepfindings import (
    SweepSeverity,
    SweepVerdict,
    sweep_findings,
    sweep_verdict,
)
from benchproof.reading.trace import BLOCK_BYTES, open_trace
from benchproof.record.regularfile import open_regular

if TYPE_CHECKING:
    from benchproof.family.model import Family
    from benchproof.judge.sweep import JudgedSweep
    from benchproof.network.geometry import Margins
    from benchproof.trace.sweep import SweptPair

TRACE = click.option(
    "--trace", metavar="FILE", help="A sweep trace (CSV) to judge, with READINGS or alone."
)
_COLOUR = {"hazard": "red", "fail": "red", "caution": "yellow", "note": ""}


def load_sweep(name: str, family: "Family", margins: "Margins") -> "JudgedSweep":
    """Return a trace file, judged; it is read a block at a time.

    Raises
    ------
    BadFile
        With every mistake in it.
    TooLarge
        If there is no end to its changes.
    """
    trace = open_trace(trace_chunks(name), shown_name(name), family)
    return judge_trace(trace, family, margins)


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


def print_sweep_hazards(judged: "JudgedSweep") -> None:
    """Print what in a sweep could hurt somebody, before anything else."""
    for finding in sweep_findings(judged):
        if finding.severity is SweepSeverity.HAZARD:
            signal, _, rest = finding.sentence.partition(":")
            echo(styled(signal, bold=True, fg="red"), f":{rest}")


def print_sweep(judged: "JudgedSweep") -> None:
    """Print what each pair shows and the findings, hazards first."""
    sweep = judged.sweep
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
