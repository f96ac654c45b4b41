"""A sweep trace boiled down to runs, block by block: where each pair stayed in one band of ohms.

A *band* lies between two limits of the pair's row of the chart (closed, open, its resistances). A
*pass* is a stretch of the trace in which the angle only rises or only falls. What follows works on
the runs alone, so a trace of any length needs no more memory than its changes do.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.align.sweepbands import Bands, bands_of
from benchproof.align.sweepgear import Gear
from benchproof.align.sweepturns import Pass, Turns
from benchproof.family.model import Family, pair_text
from benchproof.family.problems import TooLarge
from benchproof.network.resistance import Floats, Ints
from benchproof.reading.trace import Block, Trace

MOST_RUNS = 200_000
"""A pair that changes more often is noise from end to end."""
PIECE = 1 << 15
"""Samples worked on at once, so that they stay in the processor's cache."""
MEDIAN_OF = 200
"""A run's median is that of at most so many of its samples, evenly spaced."""


@dataclass(frozen=True)
class Runs:
    """Stretches in which a pair stays in one band and one pass, in the order of time.

    Attributes
    ----------
    number : array of int, shape (runs,)
        The pass of each.
    band : array of int, shape (runs,)
        Its band.
    first_deg, last_deg : array, shape (runs,)
        Angle of its first and last sample, degrees on the trace's scale.
    samples : array of int, shape (runs,)
        How many samples.
    worst_ohm : array, shape (runs,)
        The most it reads, ohms.
    median_ohm : array, shape (runs,)
        About the median, ohms.
    noise_ohm2 : array, shape (runs,)
        Sum of the squares of the changes from sample to sample, square ohms.
    """

    number: Ints
    band: Ints
    first_deg: Floats
    last_deg: Floats
    samples: Ints
    worst_ohm: Floats
    median_ohm: Floats
    noise_ohm2: Floats


@dataclass(frozen=True)
class Sweep:
    """A trace boiled down.

    Attributes
    ----------
    bands : tuple of Bands
        The bands of each pair.
    passes : tuple of Pass
        The passes in the order of time.
    runs : tuple of Runs
        The runs of each pair.
    in_gear : Runs
        Of the start permit while the range bits read a position where the starter must not turn:
        band 1 where it conducts so; empty if these pairs were not read in the same samples.
    in_gear_words : mapping of str to int
        The positions that the bits then read, and in how many samples.
    rest_deg : mapping of int to float
        Mean angle at which the lever was noted to rest, by number of the position.
    samples : int
        How many samples the trace has.
    """

    bands: tuple[Bands, ...]
    passes: tuple[Pass, ...]
    runs: tuple[Runs, ...]
    in_gear: Runs
    in_gear_words: dict[str, int]
    rest_deg: dict[int, float]
    samples: int


class _Builder:
    """Gathers the runs of one pair."""

    def __init__(self, pair: str, open_band: int) -> None:
        self._pair, self._open = pair, open_band
        self._done: list[tuple[NDArray[np.float64], ...]] = []
        self._tail: list[float] | None = None
        self._count = 0

    def add(
        self,
        angle: Floats,
        ohm: Floats,
        band: NDArray[np.int8],
        starts: Sequence[tuple[int, int]],
    ) -> None:
        """Take samples that follow; `starts` tells at which of them which pass begins."""
        begin = np.flatnonzero(band[1:] != band[:-1]) + 1
        begin = np.concatenate([[0], begin])
        if len(starts) > 1:
            begin = np.union1d(begin, [s for s, _ in starts])
        end = np.append(begin[1:], len(band))
        firsts, numbers = zip(*starts, strict=True)
        number = np.array(numbers)[np.searchsorted(firsts, begin, side="right") - 1]
        bands = band[begin]
        median, noise = np.full(len(begin), np.inf), np.zeros(len(begin))
        conducts = bands < self._open
        if conducts.any():
            change = np.empty(len(ohm))
            with np.errstate(invalid="ignore", over="ignore"):
                np.subtract(ohm[1:], ohm[:-1], out=change[1:])
                change *= change
            change[begin] = 0.0
            # Of open runs the changes may be nan; they are not used.
            noise[conducts] = np.add.reduceat(change, begin)[conducts]
            median[conducts] = ohm[begin[conducts]]
            for i in np.flatnonzero(conducts & (end - begin > 1)).tolist():
                step = max(1, (int(end[i]) - int(begin[i])) // MEDIAN_OF)
                some = np.sort(ohm[begin[i] : end[i] : step])
                median[i] = some[len(some) // 2]
        worst = np.maximum.reduceat(ohm, begin)
        columns = (
            number, bands, angle[begin], angle[end - 1], end - begin, worst, median, noise,
        )  # fmt: skip
        self._take(tuple(np.asarray(column, dtype=np.float64) for column in columns))

    def _take(self, columns: tuple[NDArray[np.float64], ...]) -> None:
        tail = self._tail
        if tail is not None and tail[0] == columns[0][0] and tail[1] == columns[1][0]:
            _, _, first, _, samples, worst, median, noise = tail
            _, _, _, _, more, other, middle, _ = (float(column[0]) for column in columns)
            columns[2][0] = first
            columns[4][0] += samples
            columns[5][0] = max(worst, other)
            columns[6][0] = (median * samples + middle * more) / (samples + more)
            columns[7][0] += noise
        elif tail is not None:
            self._done.append(tuple(np.array([value]) for value in tail))
            self._count += 1
        if len(columns[0]) > 1:
            self._done.append(tuple(column[:-1] for column in columns))
            self._count += len(columns[0]) - 1
        if self._count > MOST_RUNS:
            raise TooLarge(
                f"the trace of {self._pair} changes more than {MOST_RUNS} times: that is noise, "
                "not contacts; mend the hook-up and sweep again"
            )
        self._tail = [float(column[-1]) for column in columns]

    def finished(self) -> Runs:
        """Return all the runs."""
        parts = [*self._done]
        if self._tail is not None:
            parts.append(tuple(np.array([value]) for value in self._tail))
        if not parts:
            return Runs(*(np.zeros(0) for _ in range(8)))  # type: ignore[arg-type]
        n, band, first, last, samples, worst, median, noise = (
            np.concatenate(column) for column in zip(*parts, strict=True)
        )
        whole = np.intp
        return Runs(
            n.astype(whole), band.astype(whole), first, last, samples.astype(whole), worst, median,
            noise,
        )  # fmt: skip


def boil_down(trace: Trace, family: Family, turn_deg: float) -> Sweep:
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
    turns, gear = Turns(turn_deg), Gear(family, trace.pairs, bands)
    builders = [_Builder(pair_text(b.pair), b.open) for b in bands]
    in_gear = _Builder("the start permit", 0)
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
    return Sweep(
        bands,
        turns.finished(),
        tuple(builder.finished() for builder in builders),
        (in_gear if gear.judged else _Builder("", 0)).finished(),
        gear.seen,
        rest_deg,
        count,
    )


def _add_read(
    builder: _Builder,
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


def _rest(block: Block, rests: Floats) -> None:
    """Add up the angles at which the lever rests, in place: counts and sums by position."""
    if block.rest is not None:
        resting = block.rest >= 0
        size = rests.shape[1]
        rests[0] += np.bincount(block.rest[resting], minlength=size)
        weights = block.angle_deg[resting]
        rests[1] += np.bincount(block.rest[resting], weights=weights, minlength=size)
