"""A sweep against its chart: the cells as their detents are passed, and over-run."""

from dataclasses import dataclass

from benchproof.family.model import Family
from benchproof.judge.overrun import Overrun, overruns_of
from benchproof.judge.sweptcells import SweptCell, swept_cells
from benchproof.network.geometry import Margins
from benchproof.reading.trace import Trace
from benchproof.trace.sweep import Sweep, read_sweep


@dataclass(frozen=True)
class JudgedSweep:
    """A sweep, judged.

    Attributes
    ----------
    sweep : Sweep
        What it shows.
    cells : tuple of SweptCell
        The cells of the swept pairs.
    overruns : tuple of Overrun
        Where a start permit conducts nearer to a position where the starter must not turn.
    """

    sweep: Sweep
    cells: tuple[SweptCell, ...]
    overruns: tuple[Overrun, ...]


def judge_trace(trace: Trace, family: Family, margins: Margins) -> JudgedSweep:
    """Judge a sweep trace; it is read once, block by block.

    Parameters
    ----------
    trace : Trace
        The trace.
    family : Family
        Its family, with a completed chart.
    margins : Margins
        How far dwells reach that only the chart implies.

    Raises
    ------
    BadFile
        If a sample cannot be understood, or the chart has a mistake with which nothing can be
        judged against it.
    TooLarge
        If there is no end to its changes.
    """
    sweep = read_sweep(trace, family, margins)
    return JudgedSweep(sweep, swept_cells(sweep), overruns_of(sweep))
