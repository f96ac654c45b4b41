"""Categories that are not sure of their bin: a size of a range, a part's own spread near an edge.

A pure category is a bin, or a bin seen through a chattering contact; a mixture is several bins with
a probability each, of which the cell has one, the same at every reading in the detent.
"""

from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.outcome import Bins
from benchproof.network.resistance import Floats, Ints

Categories = NDArray[np.uint16]

HEALTHY_LOG_SD = 0.012
"""Spread of a sound cell's ohms about what the network makes of them, as a log (invented)."""
REACH_SD = 2.5
"""An edge further off than this leaves no doubt about the bin."""
DIGITS = 3
"""Shares are rounded to this many places, so that mixtures hardly different are one."""


class Mixtures:
    """The categories of a family, numbered as they come up.

    Parameters
    ----------
    bins : Bins
        Bins of ohms.
    """

    def __init__(self, bins: Bins) -> None:
        self.bins = bins
        self._number: dict[bytes, int] = {}
        self._rows = [*np.eye(2 * bins.count)]

    @property
    def parts(self) -> Floats:
        """What each category is made of, shape (categories, pure categories); rows sum to one."""
        return np.stack(self._rows)

    @property
    def main(self) -> Ints:
        """The likeliest bin of each category."""
        likeliest: Ints = self.parts.argmax(axis=1) % self.bins.count
        return likeliest

    def of_shares(self, shares: Floats) -> int:
        """Return the number of the category with these shares of the bins."""
        rounded = np.round(shares / shares.sum(), DIGITS)
        rounded /= rounded.sum()
        if float(rounded.max()) == 1.0:
            return int(rounded.argmax())
        key = rounded.tobytes()
        if key not in self._number:
            self._number[key] = len(self._rows)
            self._rows.append(np.append(rounded, np.zeros(self.bins.count)))
        return self._number[key]

    def of_ohms(self, ohms: Floats) -> Categories:
        """Return the category of sound cells with these ohms, any shape."""
        found = self.bins.of(ohms).astype(np.uint16)
        with np.errstate(divide="ignore"):
            logs, edges = np.log(ohms), np.log(self.bins.edges_ohm)
        near = np.zeros(ohms.shape, dtype=np.bool_)
        for edge in edges:
            near |= np.abs(logs - edge) < REACH_SD * HEALTHY_LOG_SD
        if near.any():
            distinct, which = np.unique(np.round(logs[near], 6), return_inverse=True)
            off = (edges - distinct[:, None]) / (HEALTHY_LOG_SD * sqrt(2.0))
            below = np.array([[0.5 * (1.0 + erf(x)) for x in row] for row in off.tolist()])
            shares = np.diff(below, axis=1, prepend=0.0, append=1.0)
            numbers = np.array([self.of_shares(row) for row in shares], dtype=np.uint16)
            found[near] = numbers[which.reshape(-1)]
        return found

    def of_classes(self, of_size: Categories, weight: Floats) -> Categories:
        """Return the categories of several sizes taken as one.

        Parameters
        ----------
        of_size : array, shape (sizes, cells)
            The category at each size.
        weight : array, shape (sizes,)
            How likely each size is.
        """
        found: Categories = of_size[0].copy()
        mixed = (of_size != of_size[0]).any(axis=0)
        if mixed.any():
            distinct, which = np.unique(of_size[:, mixed], axis=1, return_inverse=True)
            parts = self.parts
            numbers = [self._of_column(column, weight, parts) for column in distinct.T]
            found[mixed] = np.array(numbers, dtype=np.uint16)[which.reshape(-1)]
        return found

    def _of_column(self, column: Categories, weight: Floats, parts: Floats) -> int:
        shares = weight @ parts[column]
        return self.of_shares(shares[: self.bins.count] + shares[self.bins.count :])


def worse_of(mixtures_main: Ints, bins: int, one: Categories, other: Categories) -> Categories:
    """Return the category of what is as bad as the worse of two, any shape.

    Parameters
    ----------
    mixtures_main : array, shape (categories,)
        The likeliest bin of each category.
    bins : int
        How many bins there are.
    one, other : array
        Categories; if either chatters the worse of them does.
    """
    worse = np.where(mixtures_main[other] > mixtures_main[one], other, one)
    chatters = (one // bins == 1) | (other // bins == 1)
    able = chatters & (worse < bins)
    found: Categories = np.where(able, worse + bins, worse).astype(np.uint16)
    return found
