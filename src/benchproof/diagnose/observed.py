"""Readings as the tables know them, and what one says by itself."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from benchproof.diagnose.outcome import evidence
from benchproof.diagnose.tables import Tables
from benchproof.family.model import same_pair
from benchproof.network.resistance import Floats
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading


@dataclass(frozen=True)
class Observed:
    """One reading as the tables know it.

    Attributes
    ----------
    pair, position : int
        Numbers of the pair and position.
    lean : int
        -1 toward the position before, 1 toward the one after, 0 in the detent.
    seen : array, shape (bins,)
        How well it agrees with the meter having read each bin.
    visit : int
        Readings of a cell with the same number, not zero, are of one visit.
    """

    pair: int
    position: int
    lean: int
    seen: Floats
    visit: int = 0

    @cached_property
    def settled(self) -> bytes | None:
        """Which bins it agrees with, as bytes; None if it leaves a doubt about any."""
        return _settled(self.seen.tobytes())


@lru_cache(maxsize=4096)
def _settled(seen: bytes) -> bytes | None:
    shares = np.frombuffer(seen)
    agrees = shares > 0.5
    return agrees.tobytes() if bool((shares == agrees).all()) else None


def observe(
    tables: Tables, readings: Iterable[Reading], meter: Meter, ambient_c: float | None = None
) -> list[Observed]:
    """Return the readings of pairs that the tables know; others tell nothing and are left out."""
    number, positions = tables.number, tables.family.positions
    observed = []
    for reading in readings:
        k = number.get(same_pair(reading.pair))
        if k is not None:
            p = positions.index(reading.position)
            lean = np.sign(positions.index(reading.lean) - p) if reading.lean else 0
            seen = evidence(reading.value, tables.bins, meter, ambient_c)
            observed.append(Observed(k, p, int(lean), seen, reading.visit))
    return observed


def against_chart(tables: Tables, one: Observed) -> bool:
    """Return whether a reading in the detent of a charted pair speaks against the chart.

    Its best agreement with a bin that meets the chart is then under half of its best with any: a
    mark that says open agrees with every bin that a buzzer is silent at.
    """
    if one.lean or one.pair >= tables.charted:
        return False
    good = tables.good[one.pair, one.position, : tables.bins.count]
    return float(one.seen[good].max(initial=0.0)) < 0.5 * float(one.seen.max())


def says_conducts(tables: Tables, one: Observed) -> float | None:
    """Return the probability that a cell conducts by what the meter read alone.

    None for a reading leaned or of something else, and for one that leaves it open: a buzzer is
    silent at anything above some tens of ohms.
    """
    if one.lean:
        return None
    conducting = tables.conducting[: tables.bins.count]
    both = min(float(one.seen[conducting].max()), float(one.seen[~conducting].max(initial=0.0)))
    if both > 0.5 and one.seen.sum() > 1.0 + 1e-9:
        return None
    return float(one.seen[conducting].sum() / one.seen.sum())
