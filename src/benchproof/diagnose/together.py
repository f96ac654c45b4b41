"""Two faults that one reading sees both of: a reading across two contacts in series.

Only pairs that the chart does not list see two faults that are a hypothesis together. What such a
reading finds is as bad as the worse of the two leaves it, and chatters if either does.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.mixtures import Categories, worse_of
from benchproof.network.resistance import Floats, Ints


@dataclass(frozen=True)
class Together:
    """The pairs of faults that both touch one cell.

    Attributes
    ----------
    first, second : array of int, shape (pairs,)
        The rows of the two, among the causes that touch the cell.
    category : array, shape (pairs, angles)
        What is there.
    """

    first: Ints
    second: Ints
    category: Categories


def together_in(
    rows: Ints, category: Categories, twofold: Floats, main: Ints, bins: int
) -> Together:
    """Return the pairs of faults that both touch a cell.

    Parameters
    ----------
    rows : array of int
        The causes that touch the cell; the first is no fault.
    category : array, shape (rows, angles)
        What each makes of it.
    twofold : array, shape (causes, causes)
        Which causes go together.
    main : array, shape (categories,)
        The likeliest bin of each category.
    bins : int
        How many bins there are.
    """
    first, second = np.nonzero(np.triu(twofold[np.ix_(rows, rows)]))
    return Together(
        first, second, series(category[0], category[first], category[second], main, bins)
    )


def series(
    healthy: Categories, first: Categories, second: Categories, main: Ints, bins: int
) -> Categories:
    """Return what two faults make together of a cell, from what each makes of it alone.

    Parameters
    ----------
    healthy, first, second : array
        Categories without fault and with either.
    main : array, shape (categories,)
        The likeliest bin of each category.
    bins : int
        How many bins there are.
    """
    both = worse_of(main, bins, first, second)
    return np.where(first == healthy, second, np.where(second == healthy, first, both))


def same_pairs(numbers: Sequence[tuple[Ints, Ints]], causes: int) -> tuple[Ints, Ints, Ints]:
    """Return each pair of causes once, and which of them each of those given is.

    Parameters
    ----------
    numbers : sequence of (array of int, array of int)
        Numbers of the first and second cause of pairs, several arrays of them.
    causes : int
        How many causes there are.
    """
    keys = np.concatenate([first * causes + second for first, second in numbers])
    distinct, which = np.unique(keys, return_inverse=True)
    return distinct // causes, distinct % causes, which.reshape(-1)
