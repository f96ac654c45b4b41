"""The bands of ohms that a pair's row of the chart tells apart."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.family.expectation import Kind
from benchproof.family.model import ChartRow, Family, Pair, same_pair
from benchproof.network.resistance import Floats

_FEW = 4
"""Up to so many cuts are told by comparing with each, which is quicker than a search."""


@dataclass(frozen=True)
class OhmBands:
    """The bands of one pair.

    Attributes
    ----------
    pair : tuple of str
        The pair.
    row : ChartRow or None
        Its row of the chart; None if it is not charted.
    cuts_ohm : array, shape (bands - 1,)
        Rising; a resistance equal to a cut lies in the band above it.
    names : tuple of str
        What each band is: closed first, open last, the charted resistances, or ``between``.
    """

    pair: Pair
    row: ChartRow | None
    cuts_ohm: Floats
    names: tuple[str, ...]

    @property
    def open(self) -> int:
        """Number of the band of no current."""
        return len(self.cuts_ohm)

    def of(self, ohm: Floats) -> NDArray[np.int8]:
        """Return the band of each resistance, ohms; none may be nan."""
        if len(self.cuts_ohm) > _FEW:
            places = np.searchsorted(self.cuts_ohm, ohm, side="right")
            searched: NDArray[np.int8] = places.astype(np.int8)
            return searched
        found: NDArray[np.int8] = (ohm >= self.cuts_ohm[0]).view(np.int8)
        for cut in self.cuts_ohm[1:]:
            found += (ohm >= cut).view(np.int8)
        return found


def bands_of(family: Family, pair: Pair) -> OhmBands:
    """Return the bands of a pair by the family's limits and those of its row's cells."""
    row = next((r for r in family.chart if same_pair(r.pair) == same_pair(pair)), None)
    limits = family.limits
    closed, opened, others = [], [], {}
    for expectation in row.expect if row else ():
        low, high = expectation.bounds(limits)
        if expectation.kind is Kind.CLOSED:
            closed.append(high)
        elif expectation.kind is Kind.OPEN:
            opened.append(low)
        elif expectation.kind is Kind.OHMS:
            others[low, high] = str(expectation)
    top_closed = max(closed, default=limits.closed_at_most_ohm)
    # A row that is never open may chart more ohms than open begins with elsewhere.
    least_open = max(
        min(opened, default=limits.open_at_least_ohm),
        np.nextafter(max([top_closed, *(high for _, high in others)]), np.inf),
    )
    cuts = {float(np.nextafter(top_closed, np.inf)), least_open}
    for low, high in others:
        cuts |= {low, float(np.nextafter(high, np.inf))}
    kept = sorted(cut for cut in cuts if top_closed < cut <= least_open)
    names = ["closed"]
    for low, high in itertools.pairwise(kept):
        inside = (
            text for (a, b), text in others.items() if a <= low and np.nextafter(b, np.inf) >= high
        )
        names.append(next(inside, "between"))
    return OhmBands(pair, row, np.array(kept), (*names, "open"))
