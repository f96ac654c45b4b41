"""Edges, dropouts, chatter and dwells found in planted traces, and edges by another library too."""

from collections.abc import Callable

import numpy as np
import pytest

from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock, Trace
from benchproof.trace.bursts import bursts
from benchproof.trace.condensed import boil_down
from benchproof.trace.dwells import dwells_of
from benchproof.trace.edges import edges_of
from benchproof.trace.passes import Pass
from benchproof.trace.settledruns import SettledPair, settle

FAMILY = read_family(b"pins,P,R\nA-E,closed,open\n", "chart.csv")
UP = np.arange(0.0, 60.0, 0.05)


def found(angle: Floats, ohm: Floats) -> tuple[SettledPair, tuple[Pass, ...]]:
    trace = Trace((("A", "E"),), {}, True, iter([SampleBlock(angle, (ohm,))]))
    sweep = boil_down(trace, FAMILY, 1.0)
    return settle(sweep.runs[0], sweep.passes, 1.0), sweep.passes


def closed(*arcs: tuple[float, float]) -> Callable[[Floats], Floats]:
    """Return ohms by angle: a tenth inside the arcs."""

    def ohm(angle: Floats) -> Floats:
        inside = np.zeros(len(angle), dtype=bool)
        for low, high in arcs:
            inside |= (angle >= low) & (angle <= high)
        return np.where(inside, 0.1, np.inf)

    return ohm


def test_edges_of_one_dwell_to_half_a_sample() -> None:
    one, _ = found(UP, closed((20.02, 40.02))(UP))
    assert [(c.below, c.above) for c in one.crossings] == [(2, 0), (0, 2)]
    assert [c.at_deg for c in one.crossings] == pytest.approx([20.02, 40.02], abs=0.026)
    assert all(c.u_deg == pytest.approx(0.05 / np.sqrt(12.0), rel=0.01) for c in one.crossings)


def test_hysteresis_is_told_and_the_edge_stands_midway() -> None:
    there, back = closed((20.5, 40.5)), closed((19.9, 39.9))
    angle = np.concatenate([UP, UP[::-1]])
    one, passes = found(angle, np.concatenate([there(UP), back(UP[::-1])]))
    first, second = edges_of(one, passes, 3.0)
    assert first.at_deg == pytest.approx(20.2, abs=0.03)
    assert first.hysteresis_deg == pytest.approx(0.6, abs=0.06)
    assert second.hysteresis_deg == pytest.approx(0.6, abs=0.06)
    assert (first.seen, first.of) == (2, 2)


def test_an_edge_crossed_one_way_is_less_certain_and_tells_no_hysteresis() -> None:
    one, passes = found(UP, closed((20.0, 40.0))(UP))
    edge = edges_of(one, passes, 3.0)[0]
    assert edge.hysteresis_deg is None
    assert edge.u_deg > 0.29


def test_bounce_at_an_edge_is_no_dropout() -> None:
    ohm = closed((20.0, 20.1), (20.2, 20.3), (20.4, 40.0))(UP)
    one, _ = found(UP, ohm)
    assert not one.glitches
    assert len(one.crossings) == 2
    # The bounce begins at 19.975, between two samples, and two of its samples are open.
    assert one.crossings[0].at_deg == pytest.approx(19.975 + 2 * 0.05)
    assert one.crossings[0].u_deg > 0.1


def test_dropouts_and_chatter_inside_a_dwell() -> None:
    ohm = closed((20.0, 50.0))(UP)
    for middle, width in ((25.0, 0.3), (40.0, 0.1), (40.5, 0.2), (41.0, 0.1), (41.4, 0.1)):
        ohm = np.where(np.abs(UP - middle) <= 0.5 * width, np.inf, ohm)
    one, _ = found(UP, ohm)
    assert len(one.crossings) == 2
    alone, chatter = bursts(list(one.glitches))
    assert (alone.count, alone.chatters) == (1, False)
    assert alone.widest_deg == pytest.approx(0.35, abs=0.06)
    assert (chatter.count, chatter.chatters) == (4, True)
    assert chatter.low_deg == pytest.approx(40.0, abs=0.15)
    assert chatter.high_deg == pytest.approx(41.4, abs=0.15)


def test_a_closing_inside_a_gap_is_found() -> None:
    one, _ = found(UP, closed((20.0, 30.0), (45.0, 45.2))(UP))
    (glitch,) = one.glitches
    assert (glitch.band, glitch.within) == (0, 2)
    assert glitch.at_deg == pytest.approx(45.1, abs=0.06)


def test_a_gap_of_more_than_a_degree_is_no_dropout() -> None:
    one, _ = found(UP, closed((10.0, 20.0), (21.5, 40.0))(UP))
    assert len(one.crossings) == 4
    assert not one.glitches


def test_ohms_of_a_dwell() -> None:
    rng = np.random.default_rng(2)
    ohm = closed((20.0, 40.0))(UP)
    ohm = np.where(ohm < 1.0, 0.4 + rng.normal(0.0, 0.03, len(UP)), ohm)
    one, _ = found(UP, ohm)
    (dwell,) = dwells_of(one, 2)
    assert dwell.median_ohm == pytest.approx(0.4, abs=0.02)
    assert dwell.worst_ohm == ohm[ohm < 1.0].max()
    assert dwell.noise_ohm == pytest.approx(0.03, rel=0.15)


def test_edges_agree_with_a_change_point_library() -> None:
    """`ruptures`, kernel method with a linear kernel, on the logarithm of the ohms."""
    import ruptures

    rng = np.random.default_rng(3)
    for _ in range(10):
        arcs = [(float(rng.uniform(8, 12)), float(rng.uniform(20, 25))),
                (float(rng.uniform(33, 37)), float(rng.uniform(48, 52)))]  # fmt: skip
        ohm = closed(*arcs)(UP + rng.uniform(-0.1, 0.1, len(UP)))
        one, _ = found(UP, ohm)
        own = [c.at_deg for c in one.crossings]
        signal = np.log10(np.clip(ohm, 1e-3, 1e8))[:, None]
        ends = ruptures.KernelCPD(kernel="linear", min_size=10).fit(signal).predict(pen=200)
        theirs = [float(UP[n - 1] + UP[n]) / 2.0 for n in ends[:-1]]
        assert own == pytest.approx(theirs, abs=0.21)
        assert own == pytest.approx([edge for arc in arcs for edge in arc], abs=0.15)
