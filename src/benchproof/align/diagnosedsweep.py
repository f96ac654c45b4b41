"""A sweep trace judged against its chart, and what it says is wrong."""

from dataclasses import dataclass

from benchproof.align.edgematch import shown_by
from benchproof.align.sweepdiagnosis import SweepDiagnosis, sweep_diagnosis
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.model import Family
from benchproof.family.problems import TooLarge
from benchproof.judge.sweep import JudgedSweep, judge_trace
from benchproof.reading.trace import Trace
from benchproof.trace.scale import with_detents
from benchproof.trace.sweep import TURN_DEG, Sweep


@dataclass(frozen=True)
class DiagnosedSweep:
    """A sweep, judged and diagnosed.

    Attributes
    ----------
    judged : JudgedSweep
        The sweep against its chart.
    diagnosis : SweepDiagnosis or None
        What is wrong; None for a chart too large, or without detents.
    """

    judged: JudgedSweep
    diagnosis: SweepDiagnosis | None


def diagnose_trace(
    trace: Trace, family: Family, priors: Priors, tables: Tables | None = None
) -> DiagnosedSweep:
    """Judge a sweep trace and say what is wrong; it is read once, block by block.

    Parameters
    ----------
    trace : Trace
        The trace.
    family : Family
        Its family, with a completed chart.
    priors : Priors
        What is known beforehand.
    tables : Tables or None
        The family's hypotheses, if they are at hand; else they are made.

    Raises
    ------
    BadFile
        If a sample cannot be understood, or the chart has a mistake with which nothing can be
        judged against it.
    TooLarge
        If there is no end to its changes.
    """
    judged = judge_trace(trace, family, priors.margins)
    placed = with_detents(family, trace)
    if placed is None:
        return DiagnosedSweep(judged, None)
    if tables is None or placed is not family:
        try:
            tables = tables_of(placed, priors)
        except TooLarge:
            return DiagnosedSweep(judged, None)
    return DiagnosedSweep(judged, _diagnosis(judged.sweep, tables))


def _diagnosis(sweep: Sweep, tables: Tables) -> SweepDiagnosis | None:
    """Return what a sweep says is wrong; None if it hardly moved, or no pair was read."""
    shown = [(pair.bands, shown_by(pair, sweep.scale)) for pair in sweep.pairs]
    read = [(bands, one) for bands, one in shown if one is not None]
    if not read or any(one.high_deg - one.low_deg <= TURN_DEG for _, one in read):
        return None
    bands, edges = zip(*read, strict=True)
    return sweep_diagnosis(tables, bands, edges, sweep.scale)
