"""A sweep examined: offset against fault, worn stretches, and what is not known without a zero."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.conduct.front import ground_for, load_family
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import Examination
from benchproof.examine.ground import Ground
from benchproof.family.model import Family
from benchproof.judge.sweep import judge_trace
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, faulty
from benchproof.network.files import read_family
from benchproof.reading.trace import SampleBlock, Trace, open_trace
from benchproof.reading.value import OverRange
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import Dropout, sweep_of, write_trace
from benchproof.trace.evidence import swept_evidence

FAMILY = load_family("valley-coded-7")
GROUND = ground_for(FAMILY, library=())
PAIRS = tuple(row.pair for row in FAMILY.chart)
DETENTS = FAMILY.detents_deg or ()


def tables() -> Tables:
    assert GROUND.tables is not None
    return GROUND.tables


def part_of(offset_deg: float, *faults: Fault) -> SimulatedPart:
    family = tables().family
    for fault in faults:
        family = faulty(family, fault)
    shape = replace(tables().shape, family=family)
    return SimulatedPart(shape, offset_deg, faults, True, PartVerdict.ACCEPT, False)


def examined(trace: Trace, ground: Ground = GROUND) -> Examination:
    judged = judge_trace(trace, ground.family, ground.priors.margins)
    return examine(ground, swept_evidence(judged.sweep, ground.family, ground.meter))


def swept(
    offset_deg: float,
    *faults: Fault,
    noted: Sequence[str] = ("N",),
    dropouts: Sequence[Dropout] = (),
) -> Examination:
    rng = np.random.default_rng(5)
    part = part_of(offset_deg, *faults)
    one = sweep_of(part, tables().family, PAIRS, rng, dropouts=dropouts, zero_deg=12.0)
    text = write_trace(one, tables().family, noted)
    return examined(open_trace([text.encode()], "x.csv", FAMILY))


def no_fault(found: Examination) -> float:
    assert found.posterior is not None
    return float(masses(found.posterior).single[0].sum())


def width(found: Examination) -> float:
    assert found.believed is not None
    assert found.believed.offset is not None
    return sum(high - low for low, high in found.believed.offset.intervals95)


def branch(a: str, b: str, kind: FaultKind) -> Fault:
    number = [x.ends for x in tables().family.branches].index((a, b))
    return Fault(kind, (a, b), number)


def test_the_offset_of_a_sound_part_is_found() -> None:
    found = swept(1.5)
    assert found.believed is not None
    assert found.believed.offset is not None
    assert found.believed.offset.best == pytest.approx(1.5, abs=0.2)
    assert no_fault(found) > 0.99


def test_an_offset_shows_alike_at_every_edge() -> None:
    found = swept(5.0, noted=("P", "D"))
    assert found.believed is not None
    assert found.believed.offset is not None
    ((low, high),) = found.believed.offset.intervals95
    assert low < 5.0 < high
    assert high - low < 0.8
    assert found.believed.decided is PartVerdict.REALIGN


@pytest.mark.parametrize(
    ("ends", "kind"),
    [
        (("A", "E"), ContactFault.STUCK),
        (("F", "E"), ContactFault.OPEN),
        (("C", "x1"), ContactFault.STUCK),
        (("G", "H"), ContactFault.OPEN),
        (("B", "E"), ContactFault.CHATTERS),
    ],
)
def test_a_fault_is_told_from_an_offset(ends: tuple[str, str], kind: FaultKind) -> None:
    fault = branch(*ends, kind)
    found = swept(-3.0, fault)
    assert found.believed is not None
    claim = found.believed.faults[0]
    assert fault in (claim.fault, *claim.tied)
    assert claim.evidence
    assert no_fault(found) < 1e-3
    assert found.believed.offset is not None
    assert found.believed.offset.best == pytest.approx(-3.0, abs=0.25)


def test_a_narrow_contact_that_never_closes_is_told_from_one_out_of_line() -> None:
    """At 5 degrees G-H is open in every detent, faulty or not: only its edges tell."""
    sound, never = swept(5.0), swept(5.0, branch("G", "H", ContactFault.OPEN))
    for found in (sound, never):
        assert all(isinstance(r.value, OverRange) for r in found.readings if r.pair == ("G", "H"))
    assert no_fault(sound) > 0.99
    assert no_fault(never) < 1e-3


def test_however_often_a_detent_is_passed_it_is_one_visit() -> None:
    found = swept(0.0)
    assert len(found.readings) == len(PAIRS) * len(FAMILY.positions)
    assert {reading.visit for reading in found.readings} == {1}


def test_a_worn_stretch_inside_a_dwell_speaks_for_a_fault() -> None:
    """A-E opens for 3 degrees beside the detent of 3, whose reading is as charted."""
    worn = swept(0.0, dropouts=[Dropout(0, DETENTS[4] + 3.0, 3.0)])
    assert worn.believed is not None
    assert worn.judged.verdict.value != "fail"
    assert worn.believed.verdicts[PartVerdict.REPAIR] > 0.5
    assert worn.believed.decided is not PartVerdict.ACCEPT
    assert worn.believed.offset is not None
    assert worn.believed.offset.best == pytest.approx(0.0, abs=0.25)


def test_a_single_dropout_is_no_chatter() -> None:
    found = swept(0.0, dropouts=[Dropout(0, 70.0, 0.3)])
    assert no_fault(found) > 0.9


def test_what_no_hypothesis_makes_is_not_explained() -> None:
    rng = np.random.default_rng(8)
    angle = np.arange(-10.0, 118.0, 0.05)
    ohm = tuple(
        np.where(np.isin((angle // 3).astype(int) % 7, rng.integers(0, 7, 3)), 0.1, np.inf)
        for _ in FAMILY.chart
    )
    found = examined(Trace(PAIRS, {}, True, iter([SampleBlock(angle, ohm)])))
    assert found.believed is not None
    assert found.believed.verdicts[PartVerdict.UNEXPLAINED] > 0.9
    assert found.believed.decided is not PartVerdict.ACCEPT


def test_without_a_zero_the_offset_stays_as_open_as_before() -> None:
    found = swept(2.0, noted=())
    assert not found.evidence.edges
    assert not found.evidence.watched
    assert width(found) == pytest.approx(width(examine(GROUND, ())), rel=0.1)


def test_without_a_zero_a_pair_that_never_changes_is_told_all_the_same() -> None:
    fault = branch("F", "E", ContactFault.STUCK)
    found = swept(2.0, fault, noted=())
    assert found.believed is not None
    claim = found.believed.faults[0]
    assert fault in (claim.fault, *claim.tied)
    assert {reading.pair for reading in found.readings} == {("F", "E")}


def test_a_better_noted_detent_tells_the_offset_better() -> None:
    assert width(swept(1.0, noted=("P", "R", "N", "D"))) < width(swept(1.0))


def test_a_single_sample_or_an_unread_pair_says_nothing_of_faults() -> None:
    for rows in ("1,0.1,OL\n", "1,0.1,\n2,0.1,\n"):
        trace = open_trace([f"# N = 1\nangle_deg,A-E,G-H\n{rows}".encode()], "x", FAMILY)
        found = examined(trace)
        assert not found.evidence.edges
        assert not found.evidence.watched
        assert found.believed is not None
        assert found.believed.decided is None


BARE: Family = read_family(
    b"pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    b"G-H,closed,open,closed,open,start permit\n",
    "bare.csv",
)


def test_a_bare_chart_is_told_where_the_trace_tells_its_detents() -> None:
    angle = np.arange(-8.0, 68.0, 0.05)
    ohms = (
        np.where((angle < 9.0) | (angle > 51.0), 0.1, np.inf),
        np.where((np.abs(angle) < 5.0) | (np.abs(angle - 40.0) < 5.0), 0.1, np.inf),
    )
    pairs, ground = (("A", "E"), ("G", "H")), ground_for(BARE, library=())
    for noted, known in (({0: 0.0, 1: 20.0, 2: 40.0, 3: 60.0}, True), ({0: 0.0}, False)):
        found = examined(Trace(pairs, noted, False, iter([SampleBlock(angle, ohms)])), ground)
        assert bool(found.evidence.edges) is known
        assert found.believed is not None
        assert found.believed.offset is not None
        assert found.believed.offset.unit == "gap"
        if known:
            # In parts of a gap: A-E ends 9 of 20 degrees beyond P.
            assert found.evidence.edges[0].at == pytest.approx(0.45, abs=0.01)


OHM = st.sampled_from([0.0, 0.1, 3.0, 270.0, 9e3, 1e12, np.inf, np.nan])


@settings(deadline=None, max_examples=40)
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
    values = np.array(rows)
    block = SampleBlock(values[:, 0], (values[:, 1], values[:, 2]))
    found = examined(Trace((("G", "H"), ("C", "E")), {}, own_scale, iter([block]))).believed
    assert found is not None
    assert sum(found.verdicts.values()) == pytest.approx(1.0, abs=1e-6)
    for p in (*found.verdicts.values(), *(c.probability for c in found.faults)):
        assert -1e-9 <= p <= 1.0 + 1e-9
    assert found.offset is not None
    assert all(low < high for low, high in found.offset.intervals95)
