"""The one policy, driven by parts that read without noise: what it asks for and where it ends."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from benchproof.conduct.front import ground_for, load_family
from benchproof.diagnose.evidence.reading import against_chart
from benchproof.diagnose.posterior import Observed
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import Examination
from benchproof.examine.ground import Ground
from benchproof.family.model import same_pair
from benchproof.judge.sheet import SheetVerdict
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.plan.actions import Mode, Stop, TakeReading
from benchproof.plan.ask import LIKELY_GOOD
from benchproof.plan.route import route, wanted
from benchproof.plan.survey import index_of
from benchproof.reading.value import Measured, OverRange, Reading, Value
from benchproof.shipped.read import shipped_meter
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.reader import Habits, Reader

FAMILY = "orchard-single-7"


@pytest.fixture(scope="module")
def ground() -> Ground:
    return ground_for(load_family(FAMILY), library=())


def tables_of(ground: Ground) -> Tables:
    assert ground.tables is not None
    return ground.tables


def careful(priors: Priors) -> Priors:
    """Return the priors of a person who never slips."""
    least = 1e-12
    return msgspec.structs.replace(
        priors, slip_rate=least, other_cell_rate=least, wrong_key_rate=least
    )


def reader(ground: Ground, *faults: Fault, offset: float = 0.0) -> Reader:
    """Return a careful person with a part that has these faults and no spread of its own."""
    tables = tables_of(ground)
    family = tables.shape.family
    for fault in faults:
        family = faulty(family, fault)
    shape = replace(tables.shape, family=family)
    part = SimulatedPart(shape, offset, faults, True, PartVerdict.ACCEPT, False)
    rng = np.random.default_rng(3)
    return Reader(part, tables, shipped_meter(), rng, careful(ground.priors), Habits(marks=0.0))


def driven(ground: Ground, read: Reader, most: int = 200) -> Examination:
    """Return the examination where the policy stops."""
    now = examine(ground, ())
    while isinstance(action := now.next.action, TakeReading):
        assert len(now.readings) < most, "it comes to an end"
        number, k, p = index_of(tables_of(ground), action)
        now = now.telling(read.read(k, p, LEANS[number]))
    return now


def stop_of(found: Examination) -> Stop:
    assert isinstance(found.next.action, Stop)
    return found.next.action


def test_find_takes_a_good_part_for_likely_good_in_under_half_the_readings(ground: Ground) -> None:
    found = driven(ground, reader(ground))
    assert stop_of(found).verdict is PartVerdict.ACCEPT
    assert stop_of(found).reason == LIKELY_GOOD
    assert found.judged.verdict is not SheetVerdict.FAIL
    assert len(found.readings) < sum(wanted(ground.family).values()) / 2


@pytest.mark.parametrize(
    ("kind", "at", "verdict"),
    [
        (ContactFault.OPEN, ("F", "A"), PartVerdict.REPAIR),
        (PartFault.PIN_OPEN, ("A",), PartVerdict.REPAIR),
        (ContactFault.STUCK, ("K", "L"), PartVerdict.REPAIR),
        (PartFault.LEVER_OFF, (), PartVerdict.HOOK_UP),
    ],
)
def test_find_finds_a_planted_fault(
    ground: Ground, kind: FaultKind, at: tuple[str, ...], verdict: PartVerdict
) -> None:
    causes = [c for c in tables_of(ground).causes if c is not None and c.kind is kind]
    fault = next(c for c in causes if set(c.at) == set(at))
    found = driven(ground, reader(ground, fault))
    assert stop_of(found).verdict is verdict


@pytest.mark.parametrize("swapped", [True, False])
def test_two_rows_that_never_conduct_are_told_apart_off_the_chart(
    ground: Ground, swapped: bool
) -> None:
    tables = tables_of(ground)
    opened = {c.at: c for c in tables.causes if c and c.kind is ContactFault.OPEN}
    faults = [opened["B", "A"], opened["K", "L"]]
    if swapped:
        faults = [Fault(PartFault.PINS_SWAPPED, ("B", "K"))]
    found = driven(replace(ground, mode=Mode.PROVE), reader(ground, *faults))
    charted = {same_pair(pair) for pair in tables.pairs[: tables.charted]}
    assert any(same_pair(one.pair) not in charted for one in found.readings)
    assert found.known is not None
    assert found.known.decided is (PartVerdict.HOOK_UP if swapped else PartVerdict.REPAIR)


def test_find_tells_a_part_out_of_line_from_a_broken_one(ground: Ground) -> None:
    found = driven(ground, reader(ground, offset=6.0))
    assert stop_of(found).verdict is PartVerdict.REALIGN
    assert any(reading.lean for reading in found.readings)


def test_a_proof_of_a_good_part_reads_the_whole_route(ground: Ground) -> None:
    proving = replace(ground, mode=Mode.PROVE)
    found = driven(proving, reader(proving))
    planned = route(ground.family, ground.bench, ground.begins).readings
    read = [(one.position, same_pair(one.pair)) for one in found.readings]
    assert read == [(one.position, same_pair(one.pair)) for one in planned]
    assert stop_of(found).verdict is PartVerdict.ACCEPT


def test_a_proof_reads_a_failing_cell_again_at_once_with_the_probes_set_anew(
    ground: Ground,
) -> None:
    proving = replace(ground, mode=Mode.PROVE)
    now = examine(proving, ())
    first = now.next.action
    assert isinstance(first, TakeReading)
    failed = now.telling(Reading(first.position, first.pair, bad_value(ground, first)))
    assert failed.next.action == replace(first, again=True)
    assert "against the chart" in failed.next.why


def bad_value(ground: Ground, action: TakeReading) -> Value:
    row = next(r for r in ground.family.chart if same_pair(r.pair) == same_pair(action.pair))
    conducts = row.expect[ground.family.positions.index(action.position)].conducts
    return OverRange() if conducts else Measured(0.1, 0.1)


@pytest.mark.parametrize("mode", list(Mode))
def test_likely_good_never_stands_beside_a_failing_cell(ground: Ground, mode: Mode) -> None:
    """A start permit that read closed once among a good sheet: the policy does not pass over it."""
    good = driven(replace(ground, mode=Mode.PROVE), reader(ground))
    permit = ground.safety.told[0]
    slipped = Reading("D", permit, Measured(0.1, 0.1))
    found = examine(replace(ground, mode=mode), [*good.readings, slipped])
    assert found.judged.verdict is SheetVerdict.FAIL
    assert found.known is not None
    assert found.known.decided is not PartVerdict.ACCEPT
    action = found.next.action
    assert isinstance(action, TakeReading)
    assert (action.position, same_pair(action.pair)) == ("D", same_pair(permit))


def test_only_readings_in_the_detent_of_charted_pairs_can_be_against_the_chart(
    ground: Ground,
) -> None:
    tables = tables_of(ground)
    opened, closed = np.eye(tables.bins.count)[-1], np.eye(tables.bins.count)[0]
    row = tables.family.chart[0]
    bad = opened if row.expect[0].conducts else closed
    assert against_chart(tables, Observed(0, 0, 0, bad))
    assert not against_chart(tables, Observed(0, 0, 0, closed if bad is opened else opened))
    assert not against_chart(tables, Observed(0, 0, 1, bad))
    assert not against_chart(tables, Observed(tables.charted, 0, 0, bad))
