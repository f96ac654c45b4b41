"""A sweep trace boiled down to runs, block by block.

What follows works on the runs alone, so a trace of any length needs no more memory than its changes
do.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.family.model import Family, pair_text
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock, Trace
from benchproof.trace.bands import OhmBands, bands_of
from benchproof.trace.ingear import StartInGear
from benchproof.trace.passes import Pass, PassCutter
from benchproof.trace.runs import BandRuns, RunBuilder

PIECE = 1 << 15
"""Samples worked on at once, so that they stay in the processor's cache."""


@dataclass(frozen=True)
class BoiledTrace:
    """A trace boiled down.

    Attributes
    ----------
    bands : tuple of OhmBands
        The bands of each pair.
    passes : tuple of Pass
        The passes in the order of time.
    runs : tuple of BandRuns
        The runs of each pair.
    in_gear : BandRuns
        Of the start permit while the range bits read a position where the starter must not turn:
        band 1 where it conducts so; empty if these pairs were not read in the same samples.
    in_gear_words : mapping of str to int
        The positions that the bits then read, and in how many samples.
    rest_deg : mapping of int to float
        Mean angle at which the lever was noted to rest, by number of the position.
    samples : int
        How many samples the trace has.
    """

    bands: tuple[OhmBands, ...]
    passes: tuple[Pass, ...]
    runs: tuple[BandRuns, ...]
    in_gear: BandRuns
    in_gear_words: dict[str, int]
    rest_deg: dict[int, float]
    samples: int


def boil_down(trace: Trace, family: Family, turn_deg: float) -> BoiledTrace:
    """Return a trace as runs; it is read once, block by block.

    Parameters
    ----------
    trace : Trace
        The trace.
    family : Family
        Its family, with a completed chart.
    turn_deg : float
        How far the angle must go back for the sweep to have turned, degrees; above its jitter.

    Raises
    ------
    BadFile
        If a sample cannot be understood.
    TooLarge
        If there is no end to its changes.
    """
    bands = tuple(bands_of(family, pair) for pair in trace.pairs)
    turns, gear = PassCutter(turn_deg), StartInGear(family, trace.pairs, bands)
    builders = [RunBuilder(pair_text(b.pair), b.open) for b in bands]
    in_gear = RunBuilder("the start permit", 0)
    rests = np.zeros((2, len(family.positions)))
    count = 0
    for block in trace.blocks:
        _rest(block, rests)
        count += len(block.angle_deg)
        for at in range(0, len(block.angle_deg), PIECE):
            angle = block.angle_deg[at : at + PIECE]
            starts = turns.cut(angle)
            ohms = [ohm[at : at + PIECE] for ohm in block.ohm]
            codes = []
            for builder, one, ohm in zip(builders, bands, ohms, strict=True):
                code = one.of(ohm)
                codes.append(code)
                # The greatest is nan if any is; a comparison says nothing of nan.
                if np.isnan(ohm.max()):
                    _add_read(builder, angle, ohm, code, starts)
                else:
                    builder.add(angle, ohm, code, starts)
            if gear.able:
                found = gear.bands(ohms, codes)
                in_gear.add(angle, found.astype(np.float64), found, starts)
    rest_deg = {p: float(rests[1, p] / n) for p, n in enumerate(rests[0].tolist()) if n}
    return BoiledTrace(
        bands,
        turns.finished(),
        tuple(builder.finished() for builder in builders),
        (in_gear if gear.judged else RunBuilder("", 0)).finished(),
        gear.seen,
        rest_deg,
        count,
    )


def _add_read(
    builder: RunBuilder,
    angle: Floats,
    ohm: Floats,
    code: NDArray[np.int8],
    starts: Sequence[tuple[int, int]],
) -> None:
    """Add the samples in which the pair was read."""
    read = np.flatnonzero(~np.isnan(ohm))
    if not len(read):
        return
    moved = [(int(np.searchsorted(read, s)), n) for s, n in starts]
    # Of passes that begin at one sample, all but the last hold none.
    kept = {s: n for s, n in moved if s < len(read)}
    builder.add(angle[read], ohm[read], code[read], list(kept.items()))


def _rest(block: SampleBlock, rests: Floats) -> None:
    """Add up the angles at which the lever rests, in place: counts and sums by position."""
    if block.rest is not None:
        resting = block.rest >= 0
        size = rests.shape[1]
        rests[0] += np.bincount(block.rest[resting], minlength=size)
        weights = block.angle_deg[resting]
        rests[1] += np.bincount(block.rest[resting], weights=weights, minlength=size)
