"""Sweeps held against their chart: hazards first, cells, dropouts, and what is not known."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.model import Role
from benchproof.family.problems import BadFile
from benchproof.judge.overrun import forbidden_arcs
from benchproof.judge.sweep import JudgedSweep, judge_trace
from benchproof.judge.sweepfindings import (
    SweepSeverity,
    SweepVerdict,
    sweep_findings,
    sweep_verdict,
)
from benchproof.judge.sweptcells import CellResult
from benchproof.network.files import read_family
from benchproof.network.geometry import geometry
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock, Trace, open_trace
from benchproof.shipped.read import shipped_family, shipped_priors
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import Dropout, Logger, sweep_of

FAMILY = shipped_family("valley-coded-7")
MARGINS = shipped_priors("valley-coded-7").margins
PAIRS = tuple(row.pair for row in FAMILY.chart)
PERMIT = next(k for k, row in enumerate(FAMILY.chart) if row.role is Role.START_PERMIT)
USUAL = Logger()
Change = Callable[[Floats, Floats], Floats]


def swept(
    change: Change = lambda _, ohm: ohm,
    *,
    offset_deg: float = 0.0,
    own_scale: bool = True,
    dropouts: Sequence[Dropout] = (),
    logger: Logger = USUAL,
) -> JudgedSweep:
    """Return a sweep of a sound part, what its start permit reads changed, judged."""
    part = SimulatedPart(geometry(FAMILY, MARGINS), offset_deg, (), True, PartVerdict.ACCEPT, False)
    rng = np.random.default_rng(6)
    one = sweep_of(part, part.family, PAIRS, rng, logger, dropouts)
    ohms = [*one.ohm.T]
    ohms[PERMIT] = change(one.angle_deg, ohms[PERMIT])
    trace = Trace(one.pairs, {}, own_scale, iter([SampleBlock(one.angle_deg, tuple(ohms))]))
    return judge_trace(trace, FAMILY, MARGINS)


def sentences(sweep: JudgedSweep, severity: SweepSeverity) -> list[str]:
    return [f.sentence for f in sweep_findings(sweep) if f.severity is severity]


def test_a_sound_part_passes_in_every_cell() -> None:
    sweep = swept(offset_deg=1.5)
    assert sweep_verdict(sweep) is SweepVerdict.PASS
    assert len(sweep.cells) == len(FAMILY.chart) * len(FAMILY.positions)
    assert {cell.result for cell in sweep.cells} == {CellResult.PASS}


def test_a_part_out_of_line_fails_in_its_narrow_cells() -> None:
    # G-H leaves P and N, where it must conduct: an edge 4 degrees off the detent.
    sweep = swept(offset_deg=5.0)
    assert sweep_verdict(sweep) is SweepVerdict.FAIL
    assert any("G-H is open as N is passed" in s for s in sentences(sweep, SweepSeverity.FAIL))
    wrong = {(c.pair, c.position) for c in sweep.cells if c.result is CellResult.FAIL}
    assert ("G-H", "N") in wrong
    assert ("A-E", "D") not in wrong


def test_over_run_of_the_start_permit_is_a_hazard_and_stands_first() -> None:
    """49 CFR 571.102 S3.1.3: the starter is inoperative in a drive position (checks.md: read)."""
    sweep = swept(lambda _, ohm: np.full_like(ohm, 0.1))
    findings = sweep_findings(sweep)
    assert findings[0].severity is SweepSeverity.HAZARD
    assert findings[0].sentence.startswith("DANGER: start permit G-H conducts")
    assert {one.near for one in sweep.overruns} == {"R", "D", "3", "2", "1"}
    assert any("range bits read" in s for s in sentences(sweep, SweepSeverity.HAZARD))
    assert sweep_verdict(sweep) is SweepVerdict.FAIL


def test_a_single_sample_of_over_run_is_a_hazard() -> None:
    def one_sample(angle: Floats, ohm: Floats) -> Floats:
        changed = ohm.copy()
        changed[int(np.argmin(np.abs(angle - 58.0)))] = 0.2
        return changed

    (overrun,) = swept(one_sample).overruns
    assert overrun.near == "D"
    assert overrun.low_deg == pytest.approx(58.0, abs=0.1)


def test_by_the_range_bits_even_where_the_scale_has_no_zero() -> None:
    sweep = swept(
        lambda angle, ohm: np.where(np.abs(angle - 58.0) < 1.0, 0.2, ohm), own_scale=False
    )
    assert not sweep.overruns
    (hazard,) = sentences(sweep, SweepSeverity.HAZARD)
    assert "while the range bits read D" in hazard


def test_without_a_zero_no_cell_is_judged_and_it_is_said_so() -> None:
    sweep = swept(own_scale=False)
    assert {cell.result for cell in sweep.cells} == {CellResult.MISSING}
    assert sweep_verdict(sweep) is SweepVerdict.INCOMPLETE
    assert any("The offset cannot be known" in s for s in sentences(sweep, SweepSeverity.CAUTION))


def test_forbidden_arcs_end_midway_between_detents() -> None:
    arcs = forbidden_arcs(FAMILY, ("G", "H"))
    # P 0, R 23, N 41, D 58: R from 11.5 to 32, D from 49.5.
    assert arcs[0] == (11.5, 32.0, "R")
    assert arcs[1][:2] == (49.5, 66.5)
    assert arcs[-1][1] == np.inf
    assert forbidden_arcs(FAMILY, ("A", "E")) == []
    # Where nobody knows park and neutral, wherever the chart does not say that it conducts.
    nameless = replace(FAMILY, park=(), neutral=(), positions=("a", "b", "c", *"defg"))
    assert [name for *_, name in forbidden_arcs(nameless, ("G", "H"))] == ["b", *"defg"]


def test_dropouts_and_chatter_fail() -> None:
    places = [Dropout(0, 70.0, 0.3), *(Dropout(1, 90.0 + 0.6 * n, 0.3) for n in range(4))]
    sweep = swept(dropouts=places)
    fails = sentences(sweep, SweepSeverity.FAIL)
    assert any(s.startswith("A-E drops out inside a dwell, 2 times") for s in fails)
    assert any(s.startswith("B-E chatters: 8 dropouts") for s in fails)
    assert sweep_verdict(sweep) is SweepVerdict.FAIL


def test_a_detent_not_reached_is_told() -> None:
    angle = np.arange(-5.0, 70.0, 0.05)
    ohm = np.where((angle < 10.5) | (angle > 50.5), 0.1, np.inf)
    trace = Trace((("A", "E"),), {}, True, iter([SampleBlock(angle, (ohm,))]))
    sweep = judge_trace(trace, FAMILY, MARGINS)
    assert sweep_verdict(sweep) is SweepVerdict.INCOMPLETE
    cautions = sentences(sweep, SweepSeverity.CAUTION)
    assert "The sweep does not reach: A-E in 3, A-E in 2, A-E in 1." in cautions
    assert any("Start permit G-H was not swept" in s for s in cautions)
    assert any("rising only" in s for s in sentences(sweep, SweepSeverity.NOTE))


def test_a_noisy_contact_and_one_that_lags_are_told() -> None:
    sweep = swept(logger=Logger(noise_ohm=0.45, hysteresis_deg=2.5))
    cautions = sentences(sweep, SweepSeverity.CAUTION)
    assert any(s.startswith("A-E is noisy between") for s in cautions)
    assert any("lags by 2.5 deg" in s for s in cautions)


def test_a_single_sample_or_an_unread_pair_does_not_pass() -> None:
    for rows in ("1,0.1,OL\n", "1,0.1,\n2,0.1,\n"):
        trace = open_trace([f"# N = 1\nangle_deg,A-E,G-H\n{rows}".encode()], "x", FAMILY)
        assert sweep_verdict(judge_trace(trace, FAMILY, MARGINS)) is not SweepVerdict.PASS


OHM = st.sampled_from([0.0, 0.1, 3.0, 270.0, 9e3, 1e12, np.inf, np.nan])


@given(
    st.lists(
        st.tuples(st.floats(-2e3, 2e3) | st.floats(-10.0, 120.0), OHM, OHM),
        min_size=1,
        max_size=30,
    ),
    st.booleans(),
)
def test_any_samples_are_judged(rows: list[tuple[float, float, float]], own_scale: bool) -> None:
    """Whatever a logger wrote, there is a verdict, and no finding is empty."""
    values = np.array(rows)
    block = SampleBlock(values[:, 0], (values[:, 1], values[:, 2]))
    trace = Trace((("G", "H"), ("C", "E")), {}, own_scale, iter([block]))
    sweep = judge_trace(trace, FAMILY, MARGINS)
    assert sweep_verdict(sweep) in set(SweepVerdict)
    assert all(finding.sentence for finding in sweep_findings(sweep))


def test_a_chart_with_a_mistake_is_refused() -> None:
    chart = read_family(b"pins,P,R\nA-E,closed,open\nA-E,open,closed\n", "twice.csv")
    trace = Trace((("A", "E"),), {}, True, iter([]))
    with pytest.raises(BadFile):
        judge_trace(trace, chart, MARGINS)
