"""What holds of every planner worth the name, over families, benches and states of knowledge."""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from itertools import permutations, product

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import verdict_masses
from benchproof.diagnose.posterior import (
    Observed,
    Posterior,
    as_written,
    masses,
    prior_of,
    tell,
)
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import MOST_HAZARD, PartVerdict
from benchproof.plan.actions import BenchPlace, Stop, TakeReading
from benchproof.plan.ask import LIKELY_GOOD, ask
from benchproof.plan.bench import Bench, BenchKind, reseat_seconds, seconds_between
from benchproof.plan.forecast import forecast
from benchproof.plan.gain import Gains, gains_of
from benchproof.plan.survey import MOST_TIMES, Option

Seen = Callable[[Tables, int, int, int, int], Observed]
OPEN, OHMS = -1, 3

STATES: dict[str, list[tuple[int, int, int, int]]] = {
    "nothing": [],
    "as charted": [(0, 0, 0, 0), (2, 1, 0, OPEN)],
    "against the chart": [(0, 0, 0, OPEN), (0, 0, 0, OPEN), (1, 1, 0, 0)],
    "start permit in gear": [(2, 1, 0, 0), (2, 2, 0, OPEN)],
    "across two": [(3, 0, 0, OPEN), (3, 2, 0, OHMS), (0, 1, -1, OPEN)],
    "contradictions": [(0, 0, 0, 0), (0, 0, 0, OPEN), (0, 0, 0, OHMS), (1, 0, 0, 0)],
}


@pytest.fixture(params=STATES)
def posterior(request: pytest.FixtureRequest, small: Tables, seen: Seen) -> Posterior:
    return known(small, seen, STATES[request.param])


@pytest.fixture(params=["probes", "dial"])
def bench(request: pytest.FixtureRequest) -> Bench:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Bench)
    return found


def known(tables: Tables, seen: Seen, told: list[tuple[int, int, int, int]]) -> Posterior:
    bins = tables.bins.count
    return tell(prior_of(tables), [seen(tables, k, p, lean, b % bins) for k, p, lean, b in told])


def healthy_bin(tables: Tables, k: int, p: int) -> int:
    return int(tables.healthy[k, p, tables.grid.half])


def all_as_charted(tables: Tables, seen: Seen, but: Sequence[tuple[int, int]] = ()) -> Posterior:
    cells = product(range(tables.charted), range(len(tables.family.positions)))
    told = [(k, p, 0, healthy_bin(tables, k, p)) for k, p in cells if (k, p) not in but]
    return known(tables, seen, told)


def test_asking_twice_gives_the_same_advice(posterior: Posterior, bench: Bench) -> None:
    """Advice is a function of what is known: whoever asks again must not be told otherwise."""
    assert ask(posterior, bench, BenchPlace("P")) == ask(posterior, bench, BenchPlace("P"))


def test_asking_changes_nothing_that_is_known(posterior: Posterior, bench: Bench) -> None:
    """To ask is not to read: only readings may change a diagnosis."""

    def content() -> list[bytes]:
        found = masses(posterior)
        arrays = [posterior.log_ratio, posterior.log_healthy, found.single, found.twofold]
        arrays.append(posterior.tables.channel)
        for factor in posterior.factors.values():
            arrays += [factor.log, factor.good, factor.conducts]
        return [
            posterior.tables.cells.patterns.tobytes(),
            posterior.tables.cells.pattern.tobytes(),
            *(array.tobytes() for array in arrays),
        ]

    before = content()
    ask(posterior, bench, BenchPlace("R"))
    assert content() == before


@pytest.mark.parametrize("name", ["across two", "contradictions"])
def test_the_order_of_telling_changes_no_advice(
    small: Tables, seen: Seen, bench: Bench, name: str
) -> None:
    """The same readings are the same knowledge, in whatever order they were taken."""
    orders = [known(small, seen, list(order)) for order in permutations(STATES[name])]
    assert len({ask(one, bench, BenchPlace("P")).action for one in orders}) == 1
    worth = [gains(one).worth_bit for one in orders]
    assert max(np.abs(other - worth[0]).max() for other in worth) < 1e-12


@pytest.mark.parametrize("factor", [1e-3, 1 / 3, 60.0])
def test_scaling_all_seconds_changes_no_choice(
    posterior: Posterior, bench: Bench, factor: float
) -> None:
    """A clock that runs in minutes measures the same bench: only ratios of times can matter."""
    seconds = [field.name for field in fields(Bench) if field.name.endswith("_s")]
    scaled = replace(bench, **{name: getattr(bench, name) * factor for name in seconds})
    own, other = ask(posterior, bench, BenchPlace("P")), ask(posterior, scaled, BenchPlace("P"))
    assert own.action == other.action
    assert own.why == other.why
    assert [option.reading for option in own.options] == [o.reading for o in other.options]
    assert other.seconds == pytest.approx(own.seconds * factor)


def gains(posterior: Posterior) -> Gains:
    return gains_of(forecast(posterior, masses(posterior)))


def test_a_meter_that_shows_the_same_whatever_is_there_tells_nothing(
    small: Tables, seen: Seen, bench: Bench
) -> None:
    """What cannot change any belief is worth nothing, however unsure the verdict is."""
    channel = np.tile(small.usual, (len(small.channel), 1))
    dead = replace(small, channel=channel)
    posterior = known(dead, seen, STATES["as charted"])
    assert np.abs(gains(posterior).worth_bit).max() < 1e-12
    action = ask(posterior, bench, BenchPlace("P")).action
    assert isinstance(action, Stop)
    assert action.verdict is None


def test_gains_are_never_negative_nor_more_than_is_unknown(posterior: Posterior) -> None:
    """A reading may mislead, but not on average; and no one learns more than there is to learn."""
    found = gains(posterior)
    before = np.array(list(verdict_masses(posterior, as_written(posterior)).values()))
    entropy = -float((before * np.log2(np.maximum(before, 1e-300))).sum())
    assert found.entropy_bit == pytest.approx(entropy, abs=1e-12)
    assert (found.gain_bit >= 0.0).all()
    assert (found.gain_bit <= entropy).all()
    assert (found.clearing_bit >= 0.0).all()
    assert found.gain_bit.max() > 0.0


def test_no_clearing_is_more_than_is_needed(small: Tables, seen: Seen) -> None:
    """Beyond the most hazard that a part to accept may have, safer is no more acceptable."""
    found = gains(prior_of(small))
    assert found.hazard > MOST_HAZARD
    assert found.clearing_bit.max() <= np.log2(found.hazard / MOST_HAZARD)
    cleared = gains(all_as_charted(small, seen))
    assert cleared.hazard < MOST_HAZARD
    assert not cleared.clearing_bit.any()


def test_a_reading_does_what_was_forecast_of_it(posterior: Posterior, seen: Seen) -> None:
    """The mean over what may be read is what is believed now, each outcome as telling it gives."""
    tables = posterior.tables
    ahead = forecast(posterior, as_written(posterior))
    for k, p in product(range(len(tables.pairs)), range(len(tables.family.positions))):
        for number, lean in enumerate((0, -1, 1)):
            if not ahead.possible[number, p]:
                continue
            for b in range(tables.bins.count):
                after = tell(posterior, [seen(tables, k, p, lean, b)])
                told = np.array(list(verdict_masses(after, as_written(after)).values()))
                expected = ahead.joint[number, k, p, :, b]
                assert np.abs(expected / expected.sum() - told).max() < 1e-9


def test_reading_again_is_worth_less_but_not_nothing(small: Tables, seen: Seen) -> None:
    """A second reading of a cell rules out a slip; a third has less left to rule out."""
    times = [known(small, seen, [(0, 0, 0, OPEN)] * count) for count in range(1, 4)]
    worth = [float(gains(one).gain_bit[0, 0, 0]) for one in times]
    assert worth[0] > worth[1] > worth[2] > 0.0


def test_a_cell_just_read_is_read_again_only_after_the_probes_are_set_again(
    small: Tables, seen: Seen, probes: Bench
) -> None:
    """A probe that slipped stays so; a reading that repeats its mistake would be no second one."""
    posterior = known(small, seen, [(0, 0, 0, OPEN)])
    here = BenchPlace("P", ("E", "A"))
    again = [o for o in every_option(posterior, probes, here) if o.reading.again]
    assert [(o.reading.position, o.reading.pair) for o in again] == [("P", ("A", "E"))]
    assert again[0].seconds == pytest.approx(probes.reading_s + reseat_seconds(probes))
    moved = every_option(posterior, probes, BenchPlace("P", ("B", "E")))
    assert not any(option.reading.again for option in moved)


def every_option(posterior: Posterior, bench: Bench, at: BenchPlace) -> tuple[Option, ...]:
    return ask(posterior, bench, at, most=10_000).options


def test_the_same_reading_is_not_asked_for_forever(
    small: Tables, seen: Seen, probes: Bench
) -> None:
    """The tables take repeated readings as independent, which a hand at the bench is not."""
    often = known(small, seen, [(0, 0, 0, OPEN), (0, 0, 0, 0)] * MOST_TIMES)
    cells = {
        (o.reading.position, o.reading.pair, o.reading.lean)
        for o in every_option(often, probes, BenchPlace("P"))
    }
    assert ("P", ("A", "E"), "") not in cells
    assert ("P", ("A", "E"), "R") in cells


def test_options_cover_cells_in_and_out_of_the_chart_and_all_leans(
    small: Tables, probes: Bench
) -> None:
    found = every_option(prior_of(small), probes, BenchPlace("P"))
    readings = {(o.reading.position, o.reading.pair, o.reading.lean) for o in found}
    leans = [("P", ""), ("P", "R"), ("R", ""), ("R", "P"), ("R", "D"), ("D", ""), ("D", "R")]
    assert readings == {(p, pair, lean) for p, lean in leans for pair in small.pairs}
    assert len(found) == len(readings)
    rates = [option.worth_bit / option.seconds for option in found]
    assert rates == sorted(rates, reverse=True)


def test_a_dial_that_reaches_only_its_steps_is_never_asked_for_more(
    small: Tables, dial: Bench
) -> None:
    closed = replace(dial, off_chart_s=float("inf"))
    pairs = {
        option.reading.pair for option in every_option(prior_of(small), closed, BenchPlace("P"))
    }
    assert pairs == set(small.pairs[: small.charted])


def test_an_options_seconds_are_those_of_its_moves(small: Tables, bench: Bench) -> None:
    posterior, at = prior_of(small), BenchPlace("R", ("C", "F"))
    for option in every_option(posterior, bench, at):
        moves = seconds_between(bench, small.family, small.pairs, at, option.reading)
        assert option.seconds == pytest.approx(moves)


def test_what_is_near_is_read_first_when_it_tells_as_much(orchard: Tables, probes: Bench) -> None:
    """Seconds count: of contacts that are alike the one at hand comes first."""
    for position, pin in (("D", "F"), ("2", "H")):
        at = BenchPlace(position, (pin, "A"))
        asked = ask(prior_of(orchard), replace(probes, detent_s=60.0, pair_s=60.0), at).action
        assert isinstance(asked, TakeReading)
        assert (asked.position, asked.pair) == (position, (pin, "A"))


def test_find_mode_does_not_accept_while_the_start_permit_may_conduct_in_gear(
    small: Tables, seen: Seen, bench: Bench
) -> None:
    """All else as charted is no reason to let a starter turn in gear."""
    posterior = all_as_charted(small, seen, but=[(2, 1), (2, 2)])
    advice = ask(posterior, bench, BenchPlace("P"))
    assert advice.verdicts[PartVerdict.ACCEPT] > 0.95
    assert advice.hazard > MOST_HAZARD
    assert isinstance(advice.action, TakeReading)
    assert advice.action.pair == ("C", "F")
    assert "starter cannot turn in gear" in advice.why
    assert advice.options[0].clearing_bit > advice.options[0].gain_bit


def test_find_mode_says_likely_good_and_to_prove_it(
    small: Tables, seen: Seen, bench: Bench
) -> None:
    twice = [(2, 1, 0, OPEN), (2, 2, 0, OPEN)]
    bins = small.bins.count
    posterior = tell(
        all_as_charted(small, seen), [seen(small, k, p, lean, b % bins) for k, p, lean, b in twice]
    )
    advice = ask(posterior, bench, BenchPlace("P"))
    assert advice.action == Stop(PartVerdict.ACCEPT, LIKELY_GOOD)
    assert advice.seconds == 0.0
    assert "prove before shipping" in advice.why


def test_find_mode_stops_at_a_decided_fault(small: Tables, seen: Seen, bench: Bench) -> None:
    posterior = known(small, seen, [(0, 0, 0, 1), (0, 0, 0, 1), (0, 2, 0, 1)])
    action = ask(posterior, bench, BenchPlace("P")).action
    assert isinstance(action, Stop)
    assert action.verdict is PartVerdict.REPAIR
    assert action.reason.startswith("repair or replace: ")


def test_the_reason_tells_what_is_expected_and_what_would_speak_for_what(
    small: Tables, seen: Seen, probes: Bench
) -> None:
    advice = ask(known(small, seen, [(0, 0, 0, 0)]), probes, BenchPlace("P"))
    assert "is expected (" in advice.why
    assert "would take" in advice.why
    assert advice.why.endswith(".")


def test_before_anything_is_read_no_probability_is_told(small: Tables, probes: Bench) -> None:
    assert ask(prior_of(small), probes, BenchPlace("P")).why == "closed is expected."


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (BenchPlace("X"), "small has no position X"),
        (BenchPlace("P", ("A", "Z")), "small has no pair A-Z"),
    ],
)
def test_a_place_that_is_none_is_refused(
    small: Tables, bench: Bench, at: BenchPlace, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        ask(prior_of(small), bench, at)


def test_no_reading_is_offered_where_none_can_be_taken(small: Tables, seen: Seen) -> None:
    bench = Bench("a dial without reach", BenchKind.SELECTOR, 1.0, 1.0, 1.0, 1.0)
    told = [
        (k, p, lean, b)
        for k, p in product(range(small.charted), range(3))
        for lean in (0, -1, 1)
        for b in (0, OPEN, OHMS)
    ]
    advice = ask(known(small, seen, told), bench, BenchPlace("P"))
    assert advice.options == ()
    assert isinstance(advice.action, Stop)
