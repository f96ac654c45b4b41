"""Readings as outcomes: ohms fall into bins, and a channel tells what is read of what is there.

The bins are cut at the family's own limits, so that two resistances that the chart treats alike are
one. What is there is a *category*: a bin, or a bin seen through a chattering contact.
"""

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.priors import Priors
from benchproof.family.expectation import Kind
from benchproof.family.model import Family
from benchproof.family.ohms import format_ohms
from benchproof.network.resistance import Floats, Ints
from benchproof.reading.value import BUZZER_OHM

BEYOND_U = 9.0
"""An edge this many standard uncertainties away leaves a bin no doubt that a number could hold."""
NEAR_EDGE = 0.1
"""A bin this wide or narrower, as a log of ohms, has its neighbours' rate in full."""

MOST_TOPS = 64
"""So many ends of a meter's range are remembered; a meter has a few."""


@dataclass(frozen=True)
class Bins:
    """Bins of ohms: bin i lies from `edges_ohm[i - 1]` to `edges_ohm[i]`; the last one is open."""

    edges_ohm: Floats

    @cached_property
    def count(self) -> int:
        """How many bins there are."""
        return len(self.edges_ohm) + 1

    @cached_property
    def sounding(self) -> Floats:
        """The bins at which a buzzer sounds, as ones, shape (bins,); the lowest always."""
        closed = self._tops <= BUZZER_OHM
        closed[0] = True
        return _fixed(closed)

    @cached_property
    def silent(self) -> Floats:
        """The bins at which a buzzer is silent, as ones, shape (bins,)."""
        return _fixed(self.sounding == 0.0)

    def above(self, ohm: float) -> Floats:
        """Return the bins that reach above some ohms, as ones, shape (bins,)."""
        if ohm not in self._above:
            if len(self._above) >= MOST_TOPS:
                self._above.clear()
            self._above[ohm] = _fixed(self._tops > ohm)
        return self._above[ohm]

    @cached_property
    def _above(self) -> dict[float, Floats]:
        return {}

    @cached_property
    def _tops(self) -> Floats:
        return np.append(self.edges_ohm, np.inf)

    @cached_property
    def _edges(self) -> list[float]:
        found: list[float] = self.edges_ohm.tolist()
        return found

    @cached_property
    def _sure(self) -> Floats:
        return _fixed(np.eye(self.count, dtype=np.bool_))

    def only(self, ohm: float, u_ohm: float) -> Floats | None:
        """Return the shares of a number that can only be in one bin; None if near an edge.

        Parameters
        ----------
        ohm, u_ohm : float
            The number and its standard uncertainty.
        """
        edges = self._edges
        at = bisect_left(edges, ohm)
        beside = edges[max(at - 1, 0) : at + 1]
        if all(abs(edge - ohm) > BEYOND_U * u_ohm for edge in beside):
            row: Floats = self._sure[at]
            return row
        return None

    def of(self, ohm: Floats) -> Ints:
        """Return the bin of each resistance, any shape."""
        found: Ints = np.searchsorted(self.edges_ohm, ohm, side="left").astype(np.intp)
        return found

    def text(self, number: int) -> str:
        """Return a bin in words: "2 ohm to 50 ohm"."""
        low = format_ohms(float(self.edges_ohm[number - 1])) if number else "0 ohm"
        last = number == len(self.edges_ohm)
        return f"over {low}" if last else f"{low} to {format_ohms(float(self.edges_ohm[number]))}"

    def word(self, number: int) -> str:
        """Return a bin as a person says it: "closed", "open", or its ohms."""
        if number == 0:
            return "closed"
        return "open" if number == self.count - 1 else self.text(number)


def _fixed(values: NDArray[np.bool_]) -> Floats:
    """Return values as numbers that nobody changes, since many readings share them."""
    fixed: Floats = values.astype(np.float64)
    fixed.setflags(write=False)
    return fixed


def bins_of(family: Family) -> Bins:
    """Return the bins cut at a family's limits, with the buzzer's between them."""
    limits = family.limits
    cuts = {limits.closed_at_most_ohm, limits.open_at_least_ohm}
    for row in family.chart:
        for expectation in row.expect:
            if expectation.kind is not Kind.ANY:
                cuts.update(expectation.bounds(limits))
    low, high = limits.closed_at_most_ohm, limits.open_at_least_ohm
    cuts.add(min(max(BUZZER_OHM, low), high))
    return Bins(np.array(sorted(cut for cut in cuts if 0.0 < cut < float("inf"))))


def channel(bins: Bins, usual: Floats, priors: Priors) -> Floats:
    """Return the probability of reading each bin given each category.

    Parameters
    ----------
    bins : Bins
        The bins.
    usual : array, shape (bins,)
        How often each bin stands in the chart: what a reading of another cell gives.
    priors : Priors
        Rates of readings gone wrong, and of a chattering contact caught open.

    Returns
    -------
    array, shape (2 * bins, bins)
        Rows: the bins, then the bins seen through a chattering contact; each sums to one.
    """
    count = bins.count
    steady = np.zeros((count, count))
    near = np.zeros(count)
    # A closed contact and an open one have no neighbour to fall into; a wide bin hardly any.
    near[1:-1] = np.minimum(1.0, NEAR_EDGE / np.diff(np.log(bins.edges_ohm)))
    near *= priors.neighbour_bin_rate
    for b in range(1, count - 1):
        steady[b, [b - 1, b + 1]] += near[b] / 2.0
    wrong = priors.slip_rate + priors.other_cell_rate + priors.wrong_key_rate
    steady += np.diag(1.0 - wrong - near)
    steady[:, -1] += priors.slip_rate
    steady += priors.other_cell_rate * usual + priors.wrong_key_rate / count
    chattering = (1.0 - priors.chatter_open) * steady + priors.chatter_open * steady[-1]
    return np.vstack([steady, chattering])


def usual_bins(bins: Bins, charted: Iterable[int]) -> Floats:
    """Return how often each bin stands among charted cells, none of them never."""
    found: Floats = np.bincount(list(charted), minlength=bins.count).astype(np.float64) + 0.5
    found /= found.sum()
    return found
