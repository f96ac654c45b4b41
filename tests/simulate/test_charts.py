"""The safety rule and the examination on charts that nobody tuned to."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from benchproof.conduct.front import ground_for, load_family
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import Examination
from benchproof.family.audit.rules import unfit
from benchproof.family.danger import Signal
from benchproof.family.expectation import Kind
from benchproof.family.model import Family, Pair, Role, same_pair
from benchproof.family.roles import answered
from benchproof.family.safety import safety_of
from benchproof.reading.value import Measured, OverRange, Reading, Value
from benchproof.simulate.charts import Drawn, draw_chart

TYPED = sorted((Path(__file__).parents[1] / "charts").glob("*.csv"))
"""Charts as a book or a tired person would type them, invented."""


def drawn(seed: int) -> Drawn:
    return draw_chart(np.random.default_rng(seed))


def good_value(family: Family, pair: Pair, position: str) -> Value | None:
    """Return what a good part reads in a cell; None where the chart allows anything."""
    row = next(row for row in family.chart if same_pair(row.pair) == same_pair(pair))
    expectation = row.expect[family.positions.index(position)]
    if expectation.kind is Kind.OHMS:
        assert expectation.nominal_ohm is not None
        return Measured(expectation.nominal_ohm, 1.0)
    return Measured(0.1, 0.1) if expectation.kind is Kind.CLOSED else OverRange()


def sheet(truth: Family, bad: tuple[Pair, str] | None = None, ohm: float = 0.1) -> list[Reading]:
    """Return two readings of every cell of a good part, but for one that conducts."""
    readings = []
    for _ in range(2):
        for row in truth.chart:
            for position in truth.positions:
                value = good_value(truth, row.pair, position)
                if bad == (row.pair, position):
                    value = Measured(ohm, 0.1)
                if value is not None:
                    readings.append(Reading(position, row.pair, value))
    return readings


def examined(family: Family, readings: list[Reading]) -> Examination:
    return examine(ground_for(family, library=()), readings)


def refused(found: Examination) -> bool:
    """Return whether the part is not accepted, whatever else is said of it."""
    return found.known is None or found.known.decided is not PartVerdict.ACCEPT


def test_every_kind_of_chart_is_drawn() -> None:
    traits = Counter(trait for seed in range(300) for trait in drawn(seed).traits)
    assert set(traits) >= {
        "no roles", "roles", "positions told", "positions not told", "usual names", "short names",
        "numbers", "local names", "misprint", "misprint on the permit", "redundant pair",
        "one pair", "level", "bits", "parity bits", "single bits", "two start permits",
        "no start permit", "permit on the common pin", "no park", "other way round",
    }  # fmt: skip
    assert {len(drawn(seed).family.positions) for seed in range(300)} == set(range(3, 17))


@pytest.mark.parametrize("seed", range(600))
def test_a_start_permit_is_guarded_in_gear_or_asked_about(seed: int) -> None:
    one = drawn(seed)
    safety, mended = safety_of(one.family), not unfit(one.family)
    for pair in one.permits:
        for gear in one.gears:
            assert safety.guards(gear, pair) or safety.questions or not mended, one.text
    if not safety.questions:
        # Nothing else is taken for a start permit once everything is told.
        assert {same_pair(p) for p in safety.permits} == {same_pair(p) for p in one.permits}


@pytest.mark.parametrize("seed", range(600))
def test_taken_as_proposed_no_start_permit_is_lost(seed: int) -> None:
    """What we propose is the truth, or leaves a question or an error; it never hides a permit.

    But for a second start permit with a misprint of its own: nothing on the page tells of it.
    """
    one = drawn(seed)
    if {"two start permits", "misprint on the permit"} <= one.traits:
        return
    said = answered(one.family, safety_of(one.family).answers)
    safety = safety_of(said)
    for pair in one.permits:
        for gear in one.gears:
            guarded = safety.guards(gear, pair)
            assert guarded or safety.questions or unfit(said), one.text


@pytest.mark.parametrize("ohm", [0.1, 60.0, 2000.0, 9000.0])
@pytest.mark.parametrize("seed", range(0, 24, 2))
def test_a_start_permit_that_conducts_in_gear_is_a_danger_and_never_accepted(
    seed: int, ohm: float
) -> None:
    one = drawn(seed)
    rng = np.random.default_rng(seed)
    for pair in one.permits[:1]:
        gear = str(rng.choice(one.gears))
        found = examined(one.family, sheet(one.truth, (pair, gear), ohm))
        assert refused(found), one.text
        if safety_of(one.family).guards(gear, pair):
            first = found.dangers[0]
            assert (first.signal, first.rule) == (Signal.DANGER, "start-in-gear"), one.text
            assert f"{'-'.join(pair)} in {gear}" in first.cells
        else:
            assert found.questions or found.ground.basis.unfit, one.text


@pytest.mark.parametrize("seed", range(1, 24, 2))
def test_a_good_part_is_accepted_once_everything_is_told(seed: int) -> None:
    one = drawn(seed)
    found = examined(one.truth, sheet(one.truth))
    assert not found.dangers, one.text
    assert found.judged.verdict.value == "pass"
    assert found.known is not None
    # A chart with a pair that hangs on two others tells less of each.
    assert found.known.decided in (PartVerdict.ACCEPT, None), one.text
    untold = examined(one.family, sheet(one.truth))
    if untold.questions or untold.ground.basis.unfit:
        assert refused(untold)


@pytest.mark.parametrize("path", TYPED, ids=lambda path: path.stem)
def test_charts_as_a_tired_person_types_them_are_asked_about(path: Path) -> None:
    family = load_family(path)
    safety = safety_of(family)
    assert safety.questions or unfit(family) or family.rows(Role.START_PERMIT)
    for pair in safety.permits:
        for position in family.positions:
            if safety.guards(position, pair):
                found = examined(family, [Reading(position, pair, Measured(0.1, 0.1))] * 2)
                assert found.dangers[0].signal is Signal.DANGER
                assert refused(found)
