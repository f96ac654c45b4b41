"""Readings as the tables know them: how well each agrees with every bin."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import erf, sqrt

import numpy as np

from benchproof.diagnose.outcome import Bins
from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats
from benchproof.network.temperature import Growth
from benchproof.reading.meter import Meter, estimate, least_ohm
from benchproof.reading.value import Mark, Measured, OverRange, Value


def agreement(
    value: Value,
    bins: Bins,
    meter: Meter,
    ambient_c: float | None = None,
    growth: Growth | None = None,
) -> Floats:
    """Return how well a reading agrees with the meter having read each bin, shape (bins,), 0 to 1.

    Parameters
    ----------
    value : Mark, Measured or OverRange
        What was read.
    bins : Bins
        The bins.
    meter : Meter
        What it was read with; a number near an edge counts for both bins.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius.
    growth : Growth or None
        What the part's temperature makes of the pair's ohms; None where it makes nothing.
    """
    match value:
        case Mark():
            return bins.sounding if value is Mark.CLOSED else bins.silent
        case OverRange():
            return bins.above(least_ohm(value, meter, growth))
        case Measured():
            found = estimate(value, meter, ambient_c, growth)
            if (sure := bins.only(found.ohm, found.u_ohm)) is not None:
                return sure
            apart = ((edge - found.ohm) / (found.u_ohm * sqrt(2.0)) for edge in bins.edges_ohm)
            below = np.array([0.5 * (1.0 + erf(u)) for u in apart])
            share: Floats = np.diff(below, prepend=0.0, append=1.0)
            return share


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
