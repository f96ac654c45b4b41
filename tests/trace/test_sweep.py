"""Sweeps taken whole: where the scale stands, what each pair shows, what is over each detent."""

import numpy as np
import pytest

from benchproof.network.files import read_family
from benchproof.network.geometry import Margins
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock, Trace, open_trace
from benchproof.shipped.read import shipped_family
from benchproof.trace.detents import over_detents
from benchproof.trace.sweep import Sweep, read_sweep

VALLEY = shipped_family("valley-coded-7")
BARE = read_family(
    b"pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    b"G-H,closed,open,closed,open,start permit\n",
    "bare.csv",
)
UP = np.arange(-8.0, 68.0, 0.05)
A_E = np.where((UP < 9.0) | (UP > 51.0), 0.1, np.inf)
G_H = np.where((np.abs(UP) < 5.0) | (np.abs(UP - 40.0) < 5.0), 0.3, np.inf)


def bare(noted: dict[int, float], *ohms: Floats) -> Sweep:
    """Return a sweep of the bare chart's part, up only."""
    pairs = (("A", "E"), ("G", "H"))[: len(ohms)]
    return read_sweep(Trace(pairs, noted, False, iter([SampleBlock(UP, ohms)])), BARE, Margins())


def valley(head: str, *, rest_deg: dict[str, float]) -> Sweep:
    """Return a sweep of A-E, open throughout, the lever noted to rest at some angles."""
    lines = [head, "angle_deg,A-E,position"]
    for x in np.arange(-10.0, 130.0, 0.1).tolist():
        rest = [name for name, at in rest_deg.items() if abs(x - at) < 0.5]
        lines.append(f"{x:.2f},OL,{''.join(rest)}")
    return read_sweep(open_trace(["\n".join(lines).encode()], "x", VALLEY), VALLEY, Margins())


def test_a_bare_chart_takes_its_detents_from_the_trace() -> None:
    noted = {0: 0.0, 1: 20.0, 2: 40.0, 3: 60.0}
    sweep = bare(noted, A_E, G_H)
    assert sweep.detents_deg == tuple(noted.values())
    assert [round(edge.at_deg, 1) for edge in sweep.pairs[0].edges] == [9.0, 51.0]
    assert [round(edge.at_deg, 1) for edge in sweep.pairs[1].edges] == [-5.0, 5.0, 35.0, 45.0]


def test_detents_that_are_not_all_noted_are_not_known() -> None:
    sweep = bare({0: 0.0}, A_E, G_H)
    assert sweep.detents_deg is None
    assert sweep.scale.why == "neither the family nor the trace tells all the detents"
    assert len(sweep.pairs[1].edges) == 4


def test_resting_in_detents_ties_the_scale() -> None:
    sweep = valley("# logged", rest_deg={"D": 63.0})
    # D rests at 58 degrees on the family's own scale.
    assert sweep.scale.shift_deg == pytest.approx(5.0, abs=0.06)
    assert sweep.detents_deg is not None
    assert sweep.detents_deg[3] == pytest.approx(63.0, abs=0.06)


def test_detents_noted_and_rested_in_put_the_zero_between() -> None:
    # P is 0 and D 58 on the family's own scale: 4 by the one, 5 by the other.
    sweep = valley("# P = 4", rest_deg={"D": 63.0})
    assert sweep.scale.shift_deg == pytest.approx(4.5, abs=0.06)
    assert sweep.scale.u_deg == pytest.approx(0.1 / np.sqrt(2.0))


def test_detents_that_disagree_are_not_used() -> None:
    sweep = valley("# P = 0\n# D = 70", rest_deg={})
    assert sweep.scale.shift_deg is None
    assert "disagree by 12 deg" in sweep.scale.why


def test_what_lies_over_each_detent_pass_by_pass() -> None:
    sweep = bare({0: 0.0, 1: 20.0, 2: 40.0, 3: 60.0}, A_E, G_H)
    assert sweep.detents_deg is not None
    there = over_detents(sweep.pairs[1].found, sweep.detents_deg)
    assert [[(run.band, run.median_ohm) for run in runs] for runs in there] == [
        [(0, 0.3)], [(2, np.inf)], [(0, 0.3)], [(2, np.inf)]
    ]  # fmt: skip
    assert [len(runs) for runs in over_detents(sweep.pairs[1].found, [-9.0, 20.0])] == [0, 1]


def test_no_stretch_is_too_narrow_that_the_family_itself_has() -> None:
    # P and N reach 0.27 of the gap of 1 degree toward each other: 1.46 degrees are left between.
    narrow = np.where(np.abs(UP - 2.0) < 0.45, 0.3, np.inf)
    close, unknown = bare({0: 0.0, 1: 1.0, 2: 2.0, 3: 60.0}, A_E, narrow), bare({}, A_E, narrow)
    assert close.pairs[1].settled_deg == pytest.approx(0.73)
    assert [len(sweep.pairs[1].edges) for sweep in (close, unknown)] == [2, 0]
    assert [len(sweep.pairs[1].closings) for sweep in (close, unknown)] == [0, 1]
