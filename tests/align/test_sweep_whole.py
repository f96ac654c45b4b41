"""Whole traces judged: hazards first, the scale's zero, offset against fault."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.align.sweepfindings import Severity, SweepVerdict, sweep_findings, sweep_verdict
from benchproof.align.sweepwhole import JudgedSweep, forbidden_arcs, judge_trace
from benchproof.cli.files import load_family, shipped_priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import Verdict
from benchproof.family.files import read_family
from benchproof.family.model import Family, Role
from benchproof.family.problems import BadFile
from benchproof.network.faults import Fault, FaultKind, faulty
from benchproof.network.resistance import Floats
from benchproof.reading.trace import Block, Trace, open_trace
from benchproof.simulate.part import Part
from benchproof.simulate.trace import Dropout, Logger, sweep_of, write_trace

NAME = "valley-coded-7"
FAMILY = load_family(NAME)
PRIORS = shipped_priors(NAME)
USUAL = Logger()
Change = Callable[[Floats, Floats], Floats]


@cache
def tables_of_valley() -> Tables:
    return tables_of(FAMILY, PRIORS)


@pytest.fixture(scope="module")
def tables() -> Tables:
    return tables_of_valley()


def part_of(tables: Tables, offset_deg: float, *faults: Fault) -> Part:
    family = tables.family
    for fault in faults:
        family = faulty(family, fault)
    shape = replace(tables.shape, family=family)
    return Part(shape, offset_deg, faults, True, Verdict.ACCEPT, False)


def judged(
    tables: Tables,
    offset_deg: float = 0.0,
    *faults: Fault,
    noted: Sequence[str] = ("N",),
    dropouts: Sequence[Dropout] = (),
    logger: Logger = USUAL,
) -> JudgedSweep:
    part = part_of(tables, offset_deg, *faults)
    pairs = [row.pair for row in FAMILY.chart]
    rng = np.random.default_rng(5)
    one = sweep_of(part, tables.family, pairs, rng, logger, dropouts, zero_deg=12.0)
    text = write_trace(one, tables.family, noted)
    return judge_trace(open_trace([text.encode()], "x.csv", FAMILY), FAMILY, PRIORS, tables)


def sentences(sweep: JudgedSweep, severity: Severity) -> list[str]:
    return [f.sentence for f in sweep_findings(sweep) if f.severity is severity]


def branch(tables: Tables, a: str, b: str, kind: FaultKind) -> Fault:
    number = [x.ends for x in tables.family.branches].index((a, b))
    return Fault(kind, (a, b), number)


def test_a_sound_part_passes_and_its_offset_is_found(tables: Tables) -> None:
    sweep = judged(tables, 1.5)
    assert sweep_verdict(sweep) is SweepVerdict.PASS
    assert sweep.diagnosis is not None
    assert sweep.diagnosis.offset is not None
    assert sweep.diagnosis.offset.best == pytest.approx(1.5, abs=0.2)
    assert sweep.diagnosis.no_fault > 0.99
    assert sweep.scale.shift_deg == pytest.approx(12.0)


def test_an_offset_shows_alike_at_every_edge(tables: Tables) -> None:
    sweep = judged(tables, 5.0, noted=("P", "D"))
    assert sweep.diagnosis is not None
    assert sweep.diagnosis.offset is not None
    ((low, high),) = sweep.diagnosis.offset.intervals95
    assert low < 5.0 < high
    assert high - low < 0.8
    # G-H leaves P and N, where it must conduct: an edge 4 degrees off the detent.
    assert sweep_verdict(sweep) is SweepVerdict.FAIL
    assert any("G-H is open as N is passed" in s for s in sentences(sweep, Severity.FAIL))


@pytest.mark.parametrize(
    ("ends", "kind"),
    [
        (("A", "E"), FaultKind.CONTACT_STUCK),
        (("F", "E"), FaultKind.CONTACT_OPEN),
        (("C", "x1"), FaultKind.CONTACT_STUCK),
    ],
)
def test_a_fault_is_told_from_an_offset(
    tables: Tables, ends: tuple[str, str], kind: FaultKind
) -> None:
    fault = branch(tables, *ends, kind)
    sweep = judged(tables, -3.0, fault)
    found = sweep.diagnosis
    assert found is not None
    assert found.offset is not None
    assert fault in (found.faults[0].fault, *found.faults[0].tied)
    assert found.faults[0].evidence
    assert found.no_fault < 1e-4
    assert found.offset.best == pytest.approx(-3.0, abs=0.25)


def test_probabilities_of_no_fault_one_fault_and_none_of_these_make_one(tables: Tables) -> None:
    found = judged(tables, 0.0, branch(tables, "A", "E", FaultKind.CONTACT_STUCK)).diagnosis
    assert found is not None
    # A second fault counts in each of its two claims, so the sum may be a little more.
    total = found.no_fault + found.not_explained + sum(c.probability for c in found.faults)
    assert 1.0 <= total < 1.05


def test_what_no_hypothesis_makes_is_not_explained(tables: Tables) -> None:
    rng = np.random.default_rng(8)
    angle = np.arange(-10.0, 118.0, 0.05)
    ohm = tuple(
        np.where(np.isin((angle // 3).astype(int) % 7, rng.integers(0, 7, 3)), 0.1, np.inf)
        for _ in FAMILY.chart
    )
    pairs = tuple(row.pair for row in FAMILY.chart)
    trace = Trace(pairs, {}, True, iter([Block(angle, ohm)]))
    found = judge_trace(trace, FAMILY, PRIORS, tables).diagnosis
    assert found is not None
    assert found.not_explained > 0.99


def test_over_run_of_the_start_permit_is_a_hazard_and_stands_first(tables: Tables) -> None:
    """49 CFR 571.102 S3.1.3: the starter is inoperative in a drive position (checks.md: read)."""
    sweep = judged(tables, 0.0, branch(tables, "G", "H", FaultKind.CONTACT_STUCK))
    findings = sweep_findings(sweep)
    assert findings[0].severity is Severity.HAZARD
    assert findings[0].sentence.startswith("DANGER: start permit G-H conducts")
    assert {one.near for one in sweep.overruns} == {"R", "D", "3", "2", "1"}
    assert any("range bits read" in s for s in sentences(sweep, Severity.HAZARD))
    assert sweep_verdict(sweep) is SweepVerdict.FAIL


def trace_with(change: Change, tables: Tables, *, own_scale: bool = True) -> JudgedSweep:
    """Return a sound part's sweep, its start permit changed, judged."""
    pairs = [row.pair for row in FAMILY.chart]
    rng = np.random.default_rng(6)
    one = sweep_of(part_of(tables, 0.0), tables.family, pairs, rng)
    permit = next(k for k, row in enumerate(FAMILY.chart) if row.role is Role.START_PERMIT)
    ohms = [*one.ohm.T]
    ohms[permit] = change(one.angle_deg, ohms[permit])
    block = Block(one.angle_deg, tuple(ohms))
    trace = Trace(one.pairs, {}, own_scale, iter([block]))
    return judge_trace(trace, FAMILY, PRIORS, tables)


def test_a_single_sample_of_over_run_is_a_hazard(tables: Tables) -> None:
    def one_sample(angle: Floats, ohm: Floats) -> Floats:
        changed = ohm.copy()
        changed[int(np.argmin(np.abs(angle - 58.0)))] = 0.2
        return changed

    (overrun,) = trace_with(one_sample, tables).overruns
    assert overrun.near == "D"
    assert overrun.low_deg == pytest.approx(58.0, abs=0.1)


def test_by_the_range_bits_even_where_the_scale_has_no_zero(tables: Tables) -> None:
    sweep = trace_with(
        lambda angle, ohm: np.where(np.abs(angle - 58.0) < 1.0, 0.2, ohm), tables, own_scale=False
    )
    assert not sweep.overruns
    (hazard,) = sentences(sweep, Severity.HAZARD)
    assert "while the range bits read D" in hazard


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


def test_dropouts_and_chatter_fail(tables: Tables) -> None:
    places = [Dropout(0, 70.0, 0.3), *(Dropout(1, 90.0 + 0.6 * n, 0.3) for n in range(4))]
    sweep = judged(tables, 0.0, dropouts=places)
    fails = sentences(sweep, Severity.FAIL)
    assert any(s.startswith("A-E drops out inside a dwell, 2 times") for s in fails)
    assert any(s.startswith("B-E chatters: 8 dropouts") for s in fails)
    assert sweep_verdict(sweep) is SweepVerdict.FAIL


def test_without_a_zero_the_offset_is_unknowable_and_said_so(tables: Tables) -> None:
    sweep = judged(tables, 2.0, noted=())
    assert sweep.scale.shift_deg is None
    assert sweep.diagnosis is not None
    assert sweep.diagnosis.offset is None
    assert sweep_verdict(sweep) is SweepVerdict.INCOMPLETE
    assert any("The offset cannot be known" in s for s in sentences(sweep, Severity.CAUTION))


def test_without_a_zero_a_stuck_contact_is_found_all_the_same(tables: Tables) -> None:
    fault = branch(tables, "F", "E", FaultKind.CONTACT_STUCK)
    found = judged(tables, 2.0, fault, noted=()).diagnosis
    assert found is not None
    assert found.faults[0].fault == fault


def test_detents_that_disagree_are_not_used(tables: Tables) -> None:
    pairs = [row.pair for row in FAMILY.chart]
    one = sweep_of(part_of(tables, 0.0), tables.family, pairs, np.random.default_rng(1))
    text = write_trace(one, tables.family, ["P"]).replace("\n", "\n# D = 70\n", 1)
    sweep = judge_trace(open_trace([text.encode()], "x", FAMILY), FAMILY, PRIORS, tables)
    assert sweep.scale.shift_deg is None
    assert "disagree by 12 deg" in sweep.scale.why


def test_resting_in_detents_ties_the_scale(tables: Tables) -> None:
    lines = ["angle_deg,A-E,position"]
    for x in np.arange(-10.0, 120.0, 0.1).tolist():
        rest = "D" if abs(x - 58.0) < 0.5 else ""
        lines.append(f"{x + 5.0:.2f},OL,{rest}")
    trace = open_trace(["\n".join(lines).encode()], "x", FAMILY)
    sweep = judge_trace(trace, FAMILY, PRIORS, tables)
    assert sweep.scale.shift_deg == pytest.approx(5.0, abs=0.06)


def test_a_detent_not_reached_is_told(tables: Tables) -> None:
    angle = np.arange(-5.0, 70.0, 0.05)
    ohm = np.where((angle < 10.5) | (angle > 50.5), 0.1, np.inf)
    trace = Trace((("A", "E"),), {}, True, iter([Block(angle, (ohm,))]))
    sweep = judge_trace(trace, FAMILY, PRIORS, tables)
    assert sweep_verdict(sweep) is SweepVerdict.INCOMPLETE
    cautions = sentences(sweep, Severity.CAUTION)
    assert "The sweep does not reach: A-E in 3, A-E in 2, A-E in 1." in cautions
    assert any("Start permit G-H was not swept" in s for s in cautions)
    assert any("rising only" in s for s in sentences(sweep, Severity.NOTE))


def test_a_noisy_contact_and_one_that_lags_are_told(tables: Tables) -> None:
    sweep = judged(tables, logger=Logger(noise_ohm=0.45, hysteresis_deg=2.5))
    cautions = sentences(sweep, Severity.CAUTION)
    assert any(s.startswith("A-E is noisy between") for s in cautions)
    assert any("lags by 2.5 deg" in s for s in cautions)


def test_a_single_sample_or_an_unread_pair_is_no_mistake(tables: Tables) -> None:
    for rows in ("1,0.1,OL\n", "1,0.1,\n2,0.1,\n"):
        trace = open_trace([f"# N = 1\nangle_deg,A-E,G-H\n{rows}".encode()], "x", FAMILY)
        sweep = judge_trace(trace, FAMILY, PRIORS, tables)
        assert sweep.diagnosis is None
        assert sweep_verdict(sweep) is not SweepVerdict.PASS


BARE: Family = read_family(
    b"pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    b"G-H,closed,open,closed,open,start permit\n",
    "bare.csv",
)


def test_a_bare_chart_takes_its_detents_from_the_trace() -> None:
    angle = np.arange(-8.0, 68.0, 0.05)
    ohms = (
        np.where((angle < 9.0) | (angle > 51.0), 0.1, np.inf),
        np.where((np.abs(angle) < 5.0) | (np.abs(angle - 40.0) < 5.0), 0.1, np.inf),
    )
    pairs = ("A", "E"), ("G", "H")
    for noted, verdict in (
        ({0: 0.0, 1: 20.0, 2: 40.0, 3: 60.0}, SweepVerdict.PASS),
        ({0: 0.0}, SweepVerdict.INCOMPLETE),
    ):
        trace = Trace(pairs, noted, False, iter([Block(angle, ohms)]))
        sweep = judge_trace(trace, BARE, shipped_priors("bare"))
        assert sweep_verdict(sweep) is verdict
        assert (sweep.diagnosis is None) == (verdict is SweepVerdict.INCOMPLETE)


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
    """Whatever a logger wrote, there is a verdict, and probabilities are such."""
    tables = tables_of_valley()
    values = np.array(rows)
    block = Block(values[:, 0], (values[:, 1], values[:, 2]))
    trace = Trace((("G", "H"), ("C", "E")), {}, own_scale, iter([block]))
    sweep = judge_trace(trace, FAMILY, PRIORS, tables)
    assert sweep_verdict(sweep) in set(SweepVerdict)
    assert all(finding.sentence for finding in sweep_findings(sweep))
    found = sweep.diagnosis
    if found is not None:
        for p in (found.no_fault, found.not_explained, *(c.probability for c in found.faults)):
            assert 0.0 <= p <= 1.0 + 1e-9
        if found.offset is not None:
            ((low, high),) = found.offset.intervals95
            assert low <= found.offset.best <= high


def test_a_chart_with_a_mistake_is_refused() -> None:
    chart = read_family(b"pins,P,R\nA-E,closed,open\nA-E,open,closed\n", "twice.csv")
    trace = Trace((("A", "E"),), {}, True, iter([]))
    with pytest.raises(BadFile):
        judge_trace(trace, chart, PRIORS)
