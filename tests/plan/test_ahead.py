"""Looking ahead: the course decides if nothing surprises, and is the quickest such walk."""

from collections import Counter
from collections.abc import Callable, Sequence
from itertools import pairwise, permutations

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import decision, weighed
from benchproof.diagnose.posterior import Observed, masses, prior_of, tell
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace, Stop, TakeReading
from benchproof.plan.ahead import course, expected, quickest_order
from benchproof.plan.ask import LIKELY_GOOD, ask
from benchproof.plan.bench import Bench, seconds_between
from benchproof.plan.survey import Option

Part = Callable[[TakeReading], Observed]


def expected_seconds(
    order: tuple[int, ...], at_once: Floats, seconds: Floats, chance: Floats
) -> float:
    total, still = float(at_once[order[0]]), float(chance[order[0]])
    for before, here in pairwise(order):
        total += still * float(seconds[before, here])
        still *= float(chance[here])
    return total


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_the_quickest_order_is_the_best_of_all_orders(count: int) -> None:
    rng = np.random.default_rng(count)
    at_once, chance = rng.uniform(1, 9, count), rng.uniform(0.3, 1.0, count)
    seconds = rng.uniform(1, 9, (count, count))
    order = quickest_order(at_once, seconds, chance)
    lengths = {
        one: expected_seconds(one, at_once, seconds, chance) for one in permutations(range(count))
    }
    assert lengths[tuple(order)] == pytest.approx(min(lengths.values()))


def test_readings_alike_are_taken_as_they_come() -> None:
    same = np.ones(4)
    assert quickest_order(same, np.ones((4, 4)), same) == [0, 1, 2, 3]


@pytest.mark.parametrize("family", ["small", "orchard"])
@pytest.mark.parametrize("kind", ["probes", "dial"])
def test_a_course_that_shows_what_is_expected_ends_with_a_verdict(
    request: pytest.FixtureRequest, family: str, kind: str
) -> None:
    tables: Tables = request.getfixturevalue(family)
    bench: Bench = request.getfixturevalue(kind)
    ahead = course(prior_of(tables), bench, BenchPlace("P"))
    assert ahead.advice.action == ahead.legs[0].reading
    assert ahead.advice.seconds == ahead.legs[0].seconds
    known = tell(prior_of(tables), [expected(tables, leg) for leg in ahead.legs])
    last = ahead.legs[-1].reading
    done = ask(known, bench, BenchPlace(last.position, last.pair))
    assert done.action == Stop(PartVerdict.ACCEPT, LIKELY_GOOD)


def test_a_course_is_no_longer_than_reading_step_by_step(orchard: Tables, dial: Bench) -> None:
    """It is the same readings or fewer, walked in a better order."""
    ahead = course(prior_of(orchard), dial, BenchPlace("P"))
    posterior, at, seconds = prior_of(orchard), BenchPlace("P"), 0.0
    readings = []
    while isinstance((advice := ask(posterior, dial, at)).action, TakeReading):
        seconds += advice.seconds
        readings.append((advice.action.position, advice.action.pair, advice.action.lean))
        posterior = tell(posterior, [expected(orchard, advice.options[0])])
        at = BenchPlace(advice.action.position, advice.action.pair)
    walked = [(leg.reading.position, leg.reading.pair, leg.reading.lean) for leg in ahead.legs]
    assert not Counter(walked) - Counter(readings)
    assert sum(leg.seconds for leg in ahead.legs) < 0.99 * seconds


def test_a_course_decides_and_needs_each_of_its_readings(small: Tables, probes: Bench) -> None:
    """A reading that the decision does not need only takes time."""

    def decided(legs: Sequence[Option]) -> bool:
        later = tell(prior_of(small), [expected(small, leg) for leg in legs])
        found = masses(later)
        return decision(*weighed(later, found)) is not None

    legs = course(prior_of(small), probes, BenchPlace("P")).legs
    assert decided(legs)
    assert not any(decided([*legs[:n], *legs[n + 1 :]]) for n in range(len(legs)))


@pytest.mark.parametrize("kind", ["probes", "dial"])
def test_a_courses_seconds_are_those_of_its_moves(
    request: pytest.FixtureRequest, orchard: Tables, kind: str
) -> None:
    bench: Bench = request.getfixturevalue(kind)
    at = BenchPlace("N", ("C", "A"))
    for leg in course(prior_of(orchard), bench, at).legs:
        moves = seconds_between(bench, orchard.family, orchard.pairs, at, leg.reading)
        assert leg.seconds == pytest.approx(moves)
        at = BenchPlace(leg.reading.position, leg.reading.pair)


def test_a_decided_part_has_no_course(small: Tables, probes: Bench) -> None:
    high = np.eye(small.bins.count)[1]
    told = [Observed(0, 0, 0, high), Observed(0, 0, 0, high), Observed(0, 2, 0, high)]
    ahead = course(tell(prior_of(small), told), probes, BenchPlace("P"))
    assert ahead.legs == ()
    assert isinstance(ahead.advice.action, Stop)
    assert ahead.advice.action.verdict is PartVerdict.REPAIR
