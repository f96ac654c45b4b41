"""Looking ahead: the readings that would decide if each showed what it most likely shows.

Most readings show what is expected of them, and then what is known at the end does not depend on
their order; so they can be put in the order that is quickest to walk. The reading worth most for
its own time is not always the first of them: the lever may have to come back for another.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from benchproof.diagnose.diagnosis import decision, weighed
from benchproof.diagnose.posterior import Observed, Posterior, masses, tell
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats, Ints
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.ask import Advice, advice_of
from benchproof.plan.bench import Bench, pair_seconds, reseat_seconds
from benchproof.plan.survey import Option, index_of, survey

MOST_AHEAD = 12
"""How many readings to look ahead."""


@dataclass(frozen=True)
class Course:
    """Readings to take one after the other, as long as each shows what is expected.

    Attributes
    ----------
    legs : tuple of Option
        The readings in order, each with what it is expected to show; empty to stop at once.
    advice : Advice
        What to do first, and why.
    """

    legs: tuple[Option, ...]
    advice: Advice


def course(posterior: Posterior, bench: Bench, at: BenchPlace, most: int = 5) -> Course:
    """Return the readings that would decide if each showed what it most likely shows.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    bench : Bench
        How long moves take.
    at : BenchPlace
        Where the lever and the meter stand.
    most : int
        How many options the advice is to tell.

    Raises
    ------
    ValueError
        If the place is none of the family's.
    """
    found = survey(posterior, bench, at)
    advice = first = advice_of(found, bench, most)
    legs: list[Option] = []
    later, here = posterior, at
    while isinstance(advice.action, TakeReading) and len(legs) < MOST_AHEAD:
        leg = advice.options[0]
        legs.append(leg)
        later = tell(later, [expected(posterior.tables, leg)])
        here = BenchPlace(leg.reading.position, leg.reading.pair)
        advice = advice_of(survey(later, bench, here), bench, 1)
    if not legs:
        return Course((), first)
    legs = _needed(posterior, legs)
    at_once = np.array([found.seconds[index_of(posterior.tables, leg.reading)] for leg in legs])
    ordered = _quickest(posterior.tables, bench, legs, at_once)
    start = found.option(*index_of(posterior.tables, ordered[0].reading))
    changed = replace(first, action=start.reading, why=found.why(start), seconds=start.seconds)
    return Course((start, *ordered[1:]), changed)


def expected(tables: Tables, leg: Option) -> Observed:
    """Return a reading that shows what is expected of it."""
    number, k, p = index_of(tables, leg.reading)
    return Observed(k, p, LEANS[number], np.eye(tables.bins.count)[leg.expected])


def _needed(posterior: Posterior, legs: list[Option]) -> list[Option]:
    """Return the readings without those that a decision does not need; all if none is reached.

    Each was worth most for its time when it was chosen; what came later can make it superfluous.
    """

    def decide(legs: list[Option]) -> bool:
        later = tell(posterior, [expected(posterior.tables, leg) for leg in legs])
        found = masses(later)
        return decision(*weighed(later, found)) is not None

    if not decide(legs):
        return legs
    for leg in tuple(legs):
        rest = [other for other in legs if other is not leg]
        if rest and decide(rest):
            legs = rest
    return legs


def _quickest(
    tables: Tables, bench: Bench, legs: list[Option], at_once: Floats
) -> tuple[Option, ...]:
    """Return the readings in the order that is quickest to walk.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    bench : Bench
        How long moves take.
    legs : list of Option
        The readings in any order.
    at_once : array, shape (legs,)
        Seconds for each if it comes first.
    """
    index = np.array([index_of(tables, leg.reading) for leg in legs])
    seconds = _between(tables, bench, index)
    order = quickest_order(at_once, seconds, np.array([leg.chance for leg in legs]))
    ordered = [legs[order[0]]]
    for before, here in pairwise(order):
        again = bool((index[before, 1:] == index[here, 1:]).all()) and index[here, 0] == 0
        reading = replace(legs[here].reading, again=again)
        ordered.append(replace(legs[here], reading=reading, seconds=float(seconds[before, here])))
    return tuple(ordered)


def _between(tables: Tables, bench: Bench, index: Ints) -> Floats:
    """Return the seconds for each reading after each other, shape (readings, readings)."""
    number, pair, position = index.T
    moves = pair_seconds(bench, tables.pairs, tables.charted)[np.ix_(pair, pair)]
    detents = np.abs(position[:, None] - position)
    same = (pair[:, None] == pair) & (detents == 0) & (number == LEANS.index(0))
    seconds: Floats = moves + bench.detent_s * detents + reseat_seconds(bench) * same
    seconds += bench.reading_s + bench.lean_s * (number != LEANS.index(0))
    return seconds


def quickest_order(at_once: Floats, seconds: Floats, chance: Floats) -> list[int]:
    """Return the order of readings with the least expected seconds until one is a surprise.

    Parameters
    ----------
    at_once : array, shape (readings,)
        Seconds for each if it comes first.
    seconds : array, shape (readings, readings)
        Seconds for each after each other.
    chance : array, shape (readings,)
        How likely each is to show what is expected; after one that does not, no more counts.
    """
    count = len(at_once)
    sets = np.arange(1 << count)
    size = (sets[:, None] >> np.arange(count) & 1).sum(axis=1)
    # left[set of readings taken, last one]: expected seconds for all the others.
    left = np.full((1 << count, count), np.inf)
    left[-1] = 0.0
    # Of orders alike but for rounding the one found first.
    least = 1e-9 * float(max(seconds.max(initial=0.0), at_once.max(initial=0.0)))
    following = np.zeros((1 << count, count), dtype=np.intp)
    for taken_count in range(count - 1, 0, -1):
        for j in range(count):
            taken = sets[(size == taken_count) & (sets >> j & 1 == 0)]
            through = seconds[:, j] + chance[j] * left[taken | 1 << j, j][:, None]
            better = through < left[taken] - least
            left[taken] = np.where(better, through, left[taken])
            following[taken] = np.where(better, j, following[taken])
    begin = at_once + chance * left[1 << np.arange(count), np.arange(count)]
    order, taken_set = [int((begin <= begin.min() + least).argmax())], 0
    while (taken_set := taken_set | 1 << order[-1]) != (1 << count) - 1:
        order.append(int(following[taken_set, order[-1]]))
    return order
