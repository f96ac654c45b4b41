"""The diagnosis' hypotheses as foretelling needs them: what is wrong, and how likely, by offset."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from benchproof.diagnose.posterior import Masses, Posterior, masses
from benchproof.network.faults import Fault
from benchproof.network.resistance import Floats

CAUSES_IN_PAIRS = 40
"""Pairs of faults are made of this many causes, the likeliest ones."""
MOST_PAIRS = 64
"""No more pairs of faults are foretold."""
LEAST_HYPOTHESIS = 1e-10
"""Less likely explanations are left out: a thousand of them change no probability that is told."""


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of the readings.

    Attributes
    ----------
    causes : tuple of int
        Numbers of its causes in the tables; (0,) is a part without fault.
    faults : tuple of Fault
        What is wrong with the part itself; a matter of the hook-up on the bench is none.
    mass : array, shape (offsets,)
        Its probability at each offset.
    """

    causes: tuple[int, ...]
    faults: tuple[Fault, ...]
    mass: Floats

    @property
    def probability(self) -> float:
        """Its probability at any offset."""
        return float(self.mass.sum())


def hypotheses_of(posterior: Posterior) -> tuple[tuple[Hypothesis, ...], float]:
    """Return the hypotheses, likeliest first, and the probability of all that are left out.

    Every single cause is one, and the likeliest pairs of faults; left out are the other pairs,
    "none of these", and what is next to impossible.
    """
    found = masses(posterior)
    singles = [
        Hypothesis((number,), _faults(posterior, number), mass)
        for number, mass in enumerate(found.single)
    ]
    every = sorted([*singles, *_pairs(posterior, found)], key=lambda one: -one.probability)
    # Where next to nothing explains the readings the likeliest is still told, as that unlikely.
    every = [one for one in every if one is every[0] or one.probability >= LEAST_HYPOTHESIS]
    left = 1.0 - sum(one.probability for one in every)
    return tuple(every), max(left, 0.0)


def _faults(posterior: Posterior, *numbers: int) -> tuple[Fault, ...]:
    tables = posterior.tables
    return tuple(
        cause
        for number in numbers
        if (cause := tables.causes[number]) is not None and not tables.hook_up[number]
    )


def _pairs(posterior: Posterior, found: Masses) -> list[Hypothesis]:
    share = found.twofold.sum(axis=1)
    likely = np.argsort(-share, kind="stable")[:CAUSES_IN_PAIRS]
    likely = likely[share[likely] > 0.0]
    apart = {
        (a, b): found.log_odds[a] + found.log_odds[b]
        for a, b in combinations(sorted(likely.tolist()), 2)
        if found.apart.allows(a, b)
    }
    shared = found.shared
    numbers = zip(shared.first.tolist(), shared.second.tolist(), strict=True)
    odds = {**apart, **{pair: shared.log_odds[n] for n, pair in enumerate(numbers)}}
    made = [
        Hypothesis((a, b), _faults(posterior, a, b), np.exp(found.log_none + log_odds))
        for (a, b), log_odds in odds.items()
    ]
    return sorted(made, key=lambda one: -one.probability)[:MOST_PAIRS]
