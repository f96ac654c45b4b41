"""A simulated sweep: what is planted in it is there; all chance comes from what is handed in."""

from dataclasses import replace

import numpy as np
import pytest

from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import Fault
from benchproof.reading.trace import open_trace
from benchproof.shipped.read import shipped_family, shipped_priors
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import Dropout, Logger, SimulatedTrace, sweep_of, write_trace

NAME = "valley-coded-7"
CALM = Logger(tremble_deg=0.0, bounce_deg=0.0, hysteresis_deg=0.0, noise_ohm=0.0, noise_part=0.0)
PAIRS = (("A", "E"), ("C", "E"), ("G", "H"))


@pytest.fixture(scope="module")
def tables() -> Tables:
    return tables_of(shipped_family(NAME), shipped_priors(NAME))


def swept(
    tables: Tables,
    logger: Logger,
    *,
    offset: float = 0.0,
    seed: int = 1,
    faults: tuple[Fault, ...] = (),
    dropouts: tuple[Dropout, ...] = (),
) -> SimulatedTrace:
    part = SimulatedPart(tables.shape, offset, faults, True, PartVerdict.ACCEPT, False)
    rng = np.random.default_rng(seed)
    return sweep_of(part, tables.family, PAIRS, rng, logger, dropouts, zero_deg=5.0)


def closed_at(trace: SimulatedTrace, pair: int) -> list[float]:
    """Return where a pair changes between conducting and not, on the family's own scale."""
    conducts = np.isfinite(trace.ohm[:, pair])
    at = np.flatnonzero(conducts[1:] != conducts[:-1])
    return [float(trace.angle_deg[i : i + 2].mean()) - trace.zero_deg for i in at]


def test_edges_stand_at_the_dwells_less_the_offset(tables: Tables) -> None:
    # G-H is closed from -4 to 4 and from 37 to 45; the family file says so.
    edges = closed_at(swept(tables, replace(CALM, passes=1), offset=1.5), 2)
    assert edges == pytest.approx([-5.5, 2.5, 35.5, 43.5], abs=0.03)


def test_hysteresis_parts_the_directions(tables: Tables) -> None:
    edges = closed_at(swept(tables, replace(CALM, hysteresis_deg=0.8)), 2)
    rising, falling = edges[:4], edges[:3:-1]
    assert [a - b for a, b in zip(rising, falling, strict=True)] == pytest.approx(
        [0.8] * 4, abs=0.11
    )


def test_a_resistor_reads_its_ohms_with_noise(tables: Tables) -> None:
    trace = swept(tables, replace(CALM, noise_part=0.01))
    at = np.abs(trace.angle_deg - trace.zero_deg - 80.0) < 5.0
    assert trace.ohm[at, 1].mean() == pytest.approx(270.1, rel=0.003)
    assert trace.ohm[at, 1].std() == pytest.approx(2.7, rel=0.2)


def test_dropouts_are_where_they_were_planted(tables: Tables) -> None:
    trace = swept(tables, CALM, dropouts=(Dropout(0, 70.0, 0.5),))
    lever = trace.angle_deg - trace.zero_deg
    assert np.isinf(trace.ohm[np.abs(lever - 70.0) < 0.24, 0]).all()
    assert np.isfinite(
        trace.ohm[(np.abs(lever - 70.0) > 0.3) & (np.abs(lever - 70.0) < 9), 0]
    ).all()


def test_a_chattering_contact_opens_inside_its_dwell(tables: Tables) -> None:
    number = [branch.ends for branch in tables.family.branches].index(("A", "E"))
    fault = Fault(ContactFault.CHATTERS, ("A", "E"), number)
    trace = swept(tables, CALM, faults=(fault,))
    inside = np.abs(trace.angle_deg - trace.zero_deg - 75.0) < 20.0
    share = np.isinf(trace.ohm[inside, 0]).mean()
    assert 0.02 < share < 0.3
    assert np.isfinite(swept(tables, CALM).ohm[inside, 0]).all()


def test_one_seed_gives_one_trace_and_its_file_comes_back(tables: Tables) -> None:
    one = swept(tables, Logger(), seed=7)
    text = write_trace(one, tables.family, ["N"])
    assert text == write_trace(swept(tables, Logger(), seed=7), tables.family, ["N"])
    assert text != write_trace(swept(tables, Logger(), seed=8), tables.family, ["N"])
    read = open_trace([text.encode()], "x.csv", tables.family)
    (block,) = read.blocks
    assert read.noted_deg == {2: 46.0}
    np.testing.assert_allclose(block.angle_deg, one.angle_deg, atol=5.1e-4)
    np.testing.assert_allclose(np.array(block.ohm).T, one.ohm, atol=5.1e-4)
