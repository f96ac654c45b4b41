"""What a sweep says is wrong: offset against fault, with and without a zero of its scale."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.align.diagnosedsweep import diagnose_trace
from benchproof.align.sweepdiagnosis import SweepDiagnosis
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import Verdict
from benchproof.family.model import Family
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, faulty
from benchproof.network.files import read_family
from benchproof.reading.trace import Block, Trace, open_trace
from benchproof.shipped.read import shipped_family, shipped_priors
from benchproof.simulate.part import Part
from benchproof.simulate.trace import sweep_of, write_trace

NAME = "valley-coded-7"
FAMILY = shipped_family(NAME)
PRIORS = shipped_priors(NAME)


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


def diagnosed(
    tables: Tables, offset_deg: float, *faults: Fault, noted: Sequence[str] = ("N",)
) -> SweepDiagnosis:
    part = part_of(tables, offset_deg, *faults)
    pairs = [row.pair for row in FAMILY.chart]
    one = sweep_of(part, tables.family, pairs, np.random.default_rng(5), zero_deg=12.0)
    text = write_trace(one, tables.family, noted)
    trace = open_trace([text.encode()], "x.csv", FAMILY)
    found = diagnose_trace(trace, FAMILY, PRIORS, tables).diagnosis
    assert found is not None
    return found


def branch(tables: Tables, a: str, b: str, kind: FaultKind) -> Fault:
    number = [x.ends for x in tables.family.branches].index((a, b))
    return Fault(kind, (a, b), number)


def test_the_offset_of_a_sound_part_is_found(tables: Tables) -> None:
    found = diagnosed(tables, 1.5)
    assert found.offset is not None
    assert found.offset.best == pytest.approx(1.5, abs=0.2)
    assert found.no_fault > 0.99


def test_an_offset_shows_alike_at_every_edge(tables: Tables) -> None:
    found = diagnosed(tables, 5.0, noted=("P", "D"))
    assert found.offset is not None
    ((low, high),) = found.offset.intervals95
    assert low < 5.0 < high
    assert high - low < 0.8


@pytest.mark.parametrize(
    ("ends", "kind"),
    [
        (("A", "E"), ContactFault.STUCK),
        (("F", "E"), ContactFault.OPEN),
        (("C", "x1"), ContactFault.STUCK),
    ],
)
def test_a_fault_is_told_from_an_offset(
    tables: Tables, ends: tuple[str, str], kind: FaultKind
) -> None:
    fault = branch(tables, *ends, kind)
    found = diagnosed(tables, -3.0, fault)
    assert found.offset is not None
    assert fault in (found.faults[0].fault, *found.faults[0].tied)
    assert found.faults[0].evidence
    assert found.no_fault < 1e-4
    assert found.offset.best == pytest.approx(-3.0, abs=0.25)


def test_probabilities_of_no_fault_one_fault_and_none_of_these_make_one(tables: Tables) -> None:
    found = diagnosed(tables, 0.0, branch(tables, "A", "E", ContactFault.STUCK))
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
    found = diagnose_trace(trace, FAMILY, PRIORS, tables).diagnosis
    assert found is not None
    assert found.not_explained > 0.99


def test_without_a_zero_the_offset_is_unknowable(tables: Tables) -> None:
    assert diagnosed(tables, 2.0, noted=()).offset is None


def test_without_a_zero_a_stuck_contact_is_found_all_the_same(tables: Tables) -> None:
    fault = branch(tables, "F", "E", ContactFault.STUCK)
    assert diagnosed(tables, 2.0, fault, noted=()).faults[0].fault == fault


def test_a_single_sample_or_an_unread_pair_says_nothing_of_faults(tables: Tables) -> None:
    for rows in ("1,0.1,OL\n", "1,0.1,\n2,0.1,\n"):
        trace = open_trace([f"# N = 1\nangle_deg,A-E,G-H\n{rows}".encode()], "x", FAMILY)
        assert diagnose_trace(trace, FAMILY, PRIORS, tables).diagnosis is None


BARE: Family = read_family(
    b"pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    b"G-H,closed,open,closed,open,start permit\n",
    "bare.csv",
)


def test_a_bare_chart_is_diagnosed_where_the_trace_tells_its_detents() -> None:
    angle = np.arange(-8.0, 68.0, 0.05)
    ohms = (
        np.where((angle < 9.0) | (angle > 51.0), 0.1, np.inf),
        np.where((np.abs(angle) < 5.0) | (np.abs(angle - 40.0) < 5.0), 0.1, np.inf),
    )
    pairs = ("A", "E"), ("G", "H")
    for noted, known in (({0: 0.0, 1: 20.0, 2: 40.0, 3: 60.0}, True), ({0: 0.0}, False)):
        trace = Trace(pairs, noted, False, iter([Block(angle, ohms)]))
        found = diagnose_trace(trace, BARE, shipped_priors("bare"))
        assert (found.diagnosis is not None) is known


OHM = st.sampled_from([0.0, 0.1, 3.0, 270.0, 9e3, 1e12, np.inf, np.nan])


@given(
    st.lists(
        st.tuples(st.floats(-2e3, 2e3) | st.floats(-10.0, 120.0), OHM, OHM),
        min_size=1,
        max_size=30,
    ),
    st.booleans(),
)
def test_of_any_samples_probabilities_are_such(
    rows: list[tuple[float, float, float]], own_scale: bool
) -> None:
    """Whatever a logger wrote."""
    tables = tables_of_valley()
    values = np.array(rows)
    block = Block(values[:, 0], (values[:, 1], values[:, 2]))
    trace = Trace((("G", "H"), ("C", "E")), {}, own_scale, iter([block]))
    found = diagnose_trace(trace, FAMILY, PRIORS, tables).diagnosis
    if found is not None:
        for p in (found.no_fault, found.not_explained, *(c.probability for c in found.faults)):
            assert 0.0 <= p <= 1.0 + 1e-9
        if found.offset is not None:
            ((low, high),) = found.offset.intervals95
            assert low <= found.offset.best <= high
