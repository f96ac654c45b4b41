"""Find and prove, driven by parts whose truth is known."""

from collections.abc import Callable, Generator
from dataclasses import replace

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import hazard
from benchproof.diagnose.posterior import Observed, against_chart, masses, prior_of, tell
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import MOST_HAZARD, Verdict
from benchproof.network.faults import FaultKind
from benchproof.plan.actions import Place, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.ask import LIKELY_GOOD
from benchproof.plan.bench import Bench, seconds_between
from benchproof.plan.loop import Conduct, find, prove
from benchproof.plan.route import route

Part = Callable[[TakeReading], Observed]
MakePart = Callable[..., Part]


def drive(steps: Generator[TakeReading, Observed, Conduct], read: Part) -> Conduct:
    try:
        wanted = next(steps)
        while True:
            wanted = steps.send(read(wanted))
    except StopIteration as stopped:
        done: Conduct = stopped.value
    return done


def cause(tables: Tables, kind: FaultKind, at: tuple[str, ...]) -> int:
    found = [
        number
        for number, one in enumerate(tables.causes)
        if one is not None and one.kind is kind and set(one.at) == set(at)
    ]
    return found[0]


def shipped_route(tables: Tables, bench: Bench, at: Place) -> tuple[TakeReading, ...]:
    return route(tables.family, bench, at).readings


@pytest.fixture(params=["probes", "dial"])
def bench(request: pytest.FixtureRequest) -> Bench:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Bench)
    return found


def test_find_takes_a_good_part_for_likely_good_in_a_third_of_the_time(
    orchard: Tables, bench: Bench, part_of: MakePart
) -> None:
    at = Place("P")
    done = drive(find(prior_of(orchard), bench, at), part_of(orchard))
    assert done.stop.verdict is Verdict.ACCEPT
    assert done.stop.reason == LIKELY_GOOD
    assert hazard(done.posterior, masses(done.posterior)) < MOST_HAZARD
    assert done.seconds < route(orchard.family, bench, at).seconds / 3


@pytest.mark.parametrize(
    ("kind", "at", "verdict"),
    [
        (FaultKind.CONTACT_OPEN, ("F", "A"), Verdict.REPAIR),
        (FaultKind.CONTACT_HIGH, ("M", "S"), Verdict.REPAIR),
        (FaultKind.PIN_OPEN, ("A",), Verdict.REPAIR),
        (FaultKind.LEVER_OFF, (), Verdict.HOOK_UP),
    ],
)
def test_find_finds_a_planted_fault(
    orchard: Tables,
    probes: Bench,
    part_of: MakePart,
    kind: FaultKind,
    at: tuple[str, ...],
    verdict: Verdict,
) -> None:
    read = part_of(orchard, (cause(orchard, kind, at),))
    done = drive(find(prior_of(orchard), probes, Place("P")), read)
    assert done.stop.verdict is verdict
    assert done.seconds < route(orchard.family, probes, Place("P")).seconds


def test_find_tells_a_part_out_of_line_from_a_broken_one(
    orchard: Tables, probes: Bench, part_of: MakePart
) -> None:
    step = orchard.grid.step
    read = part_of(orchard, (0,), offset=round(6.0 / step))
    done = drive(find(prior_of(orchard), probes, Place("P")), read)
    assert done.stop.verdict is Verdict.REALIGN
    assert any(reading.lean for reading in done.readings)


def test_find_keeps_to_its_course_until_a_reading_is_a_surprise(
    orchard: Tables, dial: Bench, part_of: MakePart
) -> None:
    broken = part_of(orchard, (cause(orchard, FaultKind.CONTACT_OPEN, ("C", "A")),))
    posterior, at = prior_of(orchard), Place("P")
    legs = course(posterior, dial, at).legs
    surprises = 0

    def read(wanted: TakeReading) -> Observed:
        nonlocal posterior, legs, surprises
        assert wanted == legs[0].reading
        one = broken(wanted)
        posterior = tell(posterior, [one])
        if int(one.seen.argmax()) == legs[0].expected:
            legs = legs[1:]
        else:
            surprises += 1
            legs = course(posterior, dial, Place(wanted.position, wanted.pair)).legs
        return one

    done = drive(find(prior_of(orchard), dial, at), read)
    assert done.stop.verdict is Verdict.REPAIR
    assert surprises > 0


def test_find_never_accepts_a_start_permit_stuck_closed(
    small: Tables, probes: Bench, part_of: MakePart
) -> None:
    stuck = cause(small, FaultKind.CONTACT_STUCK, ("C", "F"))
    for seed in range(20):
        read = part_of(small, (stuck,), rng=np.random.default_rng(seed))
        done = drive(find(prior_of(small), probes, Place("P")), read)
        assert done.stop.verdict is not Verdict.ACCEPT


def test_find_ends_on_nonsense(small: Tables, bench: Bench, part_of: MakePart) -> None:
    rng = np.random.default_rng(1)
    good = part_of(small)

    def read(wanted: TakeReading) -> Observed:
        return replace(good(wanted), seen=np.eye(small.bins.count)[rng.integers(small.bins.count)])

    for _ in range(5):
        done = drive(find(prior_of(small), bench, Place("P")), read)
        assert len(done.readings) <= small.charted * len(small.family.positions)
        assert done.stop.verdict is not Verdict.ACCEPT


def test_the_seconds_of_a_find_are_those_of_its_moves(
    small: Tables, bench: Bench, part_of: MakePart
) -> None:
    at = Place("P")
    done = drive(find(prior_of(small), bench, at), part_of(small))
    total = 0.0
    for reading in done.readings:
        total += seconds_between(bench, small.family, small.pairs, at, reading)
        at = Place(reading.position, reading.pair)
    assert done.seconds == pytest.approx(total)
    assert done.readings


def test_a_proof_of_a_good_part_reads_the_whole_route(
    orchard: Tables, bench: Bench, part_of: MakePart
) -> None:
    at = Place("P")
    planned = route(orchard.family, bench, at)
    done = drive(prove(prior_of(orchard), bench, at, planned.readings), part_of(orchard))
    assert done.readings == planned.readings
    assert done.seconds == pytest.approx(planned.seconds)
    assert done.stop.verdict is Verdict.ACCEPT
    assert done.stop.reason == "every cell is read"


def test_a_proof_stops_early_only_on_a_failure_that_decides(
    orchard: Tables, probes: Bench, part_of: MakePart
) -> None:
    at = Place("P")
    planned = shipped_route(orchard, probes, at)
    opened = cause(orchard, FaultKind.CONTACT_OPEN, ("C", "A"))
    done = drive(prove(prior_of(orchard), probes, at, planned), part_of(orchard, (opened,)))
    assert done.stop.verdict is Verdict.REPAIR
    assert len(done.readings) < len(planned)
    read = [(reading.position, reading.pair) for reading in done.readings]
    assert ("R", ("C", "A")) in read


def test_a_cell_against_the_chart_is_read_once_more_with_the_probes_set_again(
    orchard: Tables, probes: Bench, part_of: MakePart
) -> None:
    good = part_of(orchard)
    slips = iter([True])

    def read(wanted: TakeReading) -> Observed:
        one = good(wanted)
        if (wanted.position, wanted.pair) == ("P", ("B", "A")) and next(slips, False):
            return replace(one, seen=np.eye(orchard.bins.count)[-1])
        return one

    at = Place("P")
    planned = shipped_route(orchard, probes, at)
    done = drive(prove(prior_of(orchard), probes, at, planned), read)
    assert done.stop.verdict is Verdict.ACCEPT
    number = planned.index(TakeReading("P", ("B", "A")))
    assert done.readings[number + 1] == TakeReading("P", ("B", "A"), again=True)
    assert len(done.readings) == len(planned) + 1


def test_only_readings_in_the_detent_of_charted_pairs_can_be_against_the_chart(
    small: Tables,
) -> None:
    closed, opened = np.eye(small.bins.count)[0], np.eye(small.bins.count)[-1]
    assert against_chart(small, Observed(0, 0, 0, opened))
    assert not against_chart(small, Observed(0, 0, 0, closed))
    assert against_chart(small, Observed(0, 1, 0, closed))
    assert not against_chart(small, Observed(0, 0, 1, opened))
    assert not against_chart(small, Observed(3, 0, 0, closed))
