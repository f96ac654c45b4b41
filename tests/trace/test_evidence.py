"""A sweep as evidence: a reading a cell passed, edges by the nearest detent, what was watched."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from benchproof.conduct.front import load_family
from benchproof.family.model import Role
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import Evidence
from benchproof.reading.trace import SampleBlock, Trace
from benchproof.reading.value import Mark, Measured, OverRange, Reading
from benchproof.shipped.read import shipped_meter, shipped_priors
from benchproof.trace.evidence import swept_evidence
from benchproof.trace.scale import NOTED_U_DEG
from benchproof.trace.sweep import read_sweep

FAMILY = load_family("valley-coded-7")
MARGINS = shipped_priors("valley-coded-7").margins
METER = shipped_meter("ordinary-handheld")
PERMIT = next(row.pair for row in FAMILY.chart if row.role is Role.START_PERMIT)
UP = np.arange(-10.0, 118.0, 0.05)
ANGLE = np.concatenate([UP, UP[::-1]])
Ohms = Callable[[Floats], Floats]


def told(
    ohms: Ohms, pair: tuple[str, str] = ("A", "E"), zero_deg: float | None = 7.0, **how: bool
) -> Evidence:
    """Return the evidence of a sweep there and back of one pair, N noted at its detent."""
    noted = {} if zero_deg is None else {2: 41.0 + zero_deg}
    angle = ANGLE + (zero_deg or 0.0)
    sweep = read_sweep(
        Trace((pair,), noted, False, iter([SampleBlock(angle, (ohms(ANGLE),))])), FAMILY, MARGINS
    )
    meter = METER if how.get("own", True) else None
    return swept_evidence(sweep, FAMILY, meter, 3)


def track(angle: Floats) -> Floats:
    """A-E as it should be: closed to 10.5 degrees and from 50.5 to 98.5."""
    return np.where((angle < 10.5) | (np.abs(angle - 74.5) < 24.0), 0.2, np.inf)


def reading_in(found: Evidence, position: str) -> list[Reading]:
    return [one for one in found.readings if one.position == position]


def test_each_detent_passed_is_read_once_in_one_visit() -> None:
    found = told(track)
    assert [one.position for one in found.readings] == list(FAMILY.positions)
    assert {one.visit for one in found.readings} == {3}
    closed = [one.position for one in found.readings if isinstance(one.value, Measured)]
    assert closed == ["P", "D", "3", "2"]
    assert isinstance(reading_in(found, "N")[0].value, OverRange)


def test_edges_are_told_from_the_nearest_detent_on_one_scale() -> None:
    found = told(track)
    assert [one.position for one in found.edges] == ["P", "D", "2"]
    assert [one.at for one in found.edges] == pytest.approx([10.5, -7.5, 7.5], abs=0.03)
    assert {one.series for one in found.edges} == {3}
    assert {one.zero_u for one in found.edges} == {NOTED_U_DEG}
    assert all(0.0 < one.u < 0.1 for one in found.edges)
    below, above = found.edges[0].below, found.edges[0].above
    assert isinstance(below, Measured)
    assert below.ohm == pytest.approx(0.2)
    assert isinstance(above, OverRange)


def test_every_place_swept_is_watched_from_the_nearest_detent() -> None:
    """Each stretch ends midway to the next detent: 0, 23, 41, 58, 75, 91, 108."""
    found = told(track)
    assert [one.position for one in found.watched] == list(FAMILY.positions)
    assert found.watched[0].high == pytest.approx(11.5)
    assert found.watched[1].low == pytest.approx(-11.5)
    assert -10.0 < found.watched[0].low < -8.5


def test_where_passes_differ_what_is_against_the_chart_counts() -> None:
    def lagging(angle: Floats) -> Floats:
        ohm = np.full(len(angle), np.inf)
        half = len(UP)
        ohm[:half][np.abs(UP) < 9.5] = 0.2
        # On the way back it opens before the detent of P is reached.
        ohm[half:][np.abs(UP[::-1] - 5.0) < 4.5] = 0.2
        return ohm

    (one,) = reading_in(told(lagging, PERMIT), "P")
    assert isinstance(one.value, OverRange)


def test_where_a_pair_must_not_conduct_one_pass_that_does_counts() -> None:
    def once(angle: Floats) -> Floats:
        ohm = np.full(len(angle), np.inf)
        ohm[: len(UP)][np.abs(UP - 58.0) < 2.0] = 0.3
        return ohm

    (one,) = reading_in(told(once, PERMIT), "D")
    assert isinstance(one.value, Measured)


def test_where_a_pair_must_not_conduct_a_single_sample_beside_the_detent_counts() -> None:
    def sample(angle: Floats) -> Floats:
        ohm = np.full(len(angle), np.inf)
        ohm[int(np.argmin(np.abs(angle - 58.3)))] = 0.3
        return ohm

    (one, *_) = reading_in(told(sample, PERMIT), "D")
    assert isinstance(one.value, Measured)


def test_chatter_is_told_as_readings_of_either_kind_in_that_visit() -> None:
    def chattering(angle: Floats) -> Floats:
        ohm = track(angle)
        for n in range(6):
            ohm[np.abs(angle - 70.0 - n) < 0.1] = np.inf
        return ohm

    found = reading_in(told(chattering), "3")
    kinds = [isinstance(one.value, OverRange) for one in found]
    assert kinds == [False, True, False, True, False, True]
    assert {one.visit for one in found} == {3}
    assert len(reading_in(told(chattering), "D")) == 1


def test_without_a_zero_only_what_never_changes_is_told() -> None:
    assert told(track, zero_deg=None) == Evidence()
    found = told(lambda angle: np.full(len(angle), np.inf), zero_deg=None)
    assert [one.position for one in found.readings] == list(FAMILY.positions)
    assert not found.edges
    assert not found.watched


def test_of_numbers_of_an_unknown_meter_only_closed_and_open_are_told() -> None:
    found = told(track, own=False)
    assert not found.readings
    assert not found.watched
    assert [(one.below, one.above) for one in found.edges] == [
        (Mark.CLOSED, Mark.OPEN), (Mark.OPEN, Mark.CLOSED), (Mark.CLOSED, Mark.OPEN),
    ]  # fmt: skip


def test_a_family_without_detents_is_told_in_parts_of_the_gap() -> None:
    bare = replace(FAMILY, detents_deg=None, branches=())
    assert FAMILY.detents_deg is not None
    noted = dict(enumerate(FAMILY.detents_deg))
    trace = Trace((("A", "E"),), noted, False, iter([SampleBlock(ANGLE, (track(ANGLE),))]))
    found = swept_evidence(read_sweep(trace, bare, MARGINS), bare, METER)
    # 10.5 of 23 degrees, 7.5 of 17, 7.5 of 17.
    assert [one.at for one in found.edges] == pytest.approx(
        [10.5 / 23.0, -7.5 / 17.0, 7.5 / 17.0], abs=2e-3
    )
