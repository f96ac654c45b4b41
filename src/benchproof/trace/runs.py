"""The runs of a pair: the stretches of one pass in which it stays in one band of ohms."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.family.problems import TooLarge
from benchproof.network.resistance import Floats, Ints

MOST_RUNS = 200_000
"""A pair that changes more often is noise from end to end."""
MEDIAN_OF = 200
"""A run's median is that of at most so many of its samples, evenly spaced."""


@dataclass(frozen=True)
class BandRuns:
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


class RunBuilder:
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

    def finished(self) -> BandRuns:
        """Return all the runs."""
        parts = [*self._done]
        if self._tail is not None:
            parts.append(tuple(np.array([value]) for value in self._tail))
        if not parts:
            return BandRuns(*(np.zeros(0) for _ in range(8)))  # type: ignore[arg-type]
        n, band, first, last, samples, worst, median, noise = (
            np.concatenate(column) for column in zip(*parts, strict=True)
        )
        whole = np.intp
        return BandRuns(
            n.astype(whole), band.astype(whole), first, last, samples.astype(whole), worst, median,
            noise,
        )  # fmt: skip
