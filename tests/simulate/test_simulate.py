"""Simulated parts: seeded, truthful, and read with the slips that were asked for."""

import msgspec
import numpy as np
import pytest

from benchproof.diagnose.evidence.reading import agreement
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import PartFault
from benchproof.shipped.read import shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource, SimulatedPart, charted_ohms
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet

NAME = "valley-coded-7"
METER = shipped_meter("depot-bench")


@pytest.fixture(scope="module")
def tables() -> Tables:
    return tables_of(shipped_family(NAME), shipped_priors(NAME))


def without_slips(tables: Tables) -> Priors:
    tiny = dict.fromkeys(("slip_rate", "other_cell_rate", "wrong_key_rate"), 1e-12)
    return msgspec.structs.replace(tables.priors, **tiny)


def parts(tables: Tables, count: int, seed: int = 7) -> list[SimulatedPart]:
    rng = np.random.default_rng(seed)
    source = PartSource(tables)
    return [source.draw(rng) for _ in range(count)]


def test_one_seed_gives_one_part(tables: Tables) -> None:
    assert parts(tables, 5) == parts(tables, 5)
    assert parts(tables, 5) != parts(tables, 5, seed=8)


def test_faults_come_about_as_often_as_their_rates(tables: Tables) -> None:
    drawn = parts(tables, 1200)
    healthy = sum(not part.faults and part.explained for part in drawn) / len(drawn)
    assert healthy == pytest.approx(float(np.exp(tables.log_cause[0])), abs=0.03)
    opened = sum(part.has(ContactFault.OPEN) for part in drawn)
    # 7 contacts at a rate of 0.012, singly or with another fault: 100 expected or fewer.
    assert 55 < opened < 130
    assert {part.verdict for part in drawn} >= set(PartVerdict) - {
        PartVerdict.CHART,
        PartVerdict.UNEXPLAINED,
    }


def test_offsets_have_the_spread_of_the_mixture(tables: Tables) -> None:
    priors = tables.priors
    offsets = np.array([part.offset for part in parts(tables, 1500)])
    variance = (1 - priors.misaligned_rate) * priors.aligned_sd_deg**2
    variance += priors.misaligned_rate * priors.misaligned_sd_deg**2
    # A little less for the cut at 2.6 standard deviations.
    assert offsets.std() == pytest.approx(variance**0.5, rel=0.1)
    assert abs(offsets.mean()) < 0.2


def test_the_truth_is_what_the_network_says(tables: Tables) -> None:
    for part in parts(tables, 300):
        if not part.explained or part.has(PartFault.LEVER_OFF):
            continue
        if part.has(PartFault.PINS_SWAPPED):
            continue
        ohms = charted_ohms(tables, part.family, part.offset)
        there = tables.bins.of(ohms)
        good = all(
            tables.good[k, p, there[p, k]]
            for k in range(tables.charted)
            for p in range(len(tables.family.positions))
        )
        if not part.faults:
            assert part.verdict is (PartVerdict.ACCEPT if good else PartVerdict.REALIGN)
        conducts = tables.conducting[there].T
        assert part.hazard == bool((conducts & tables.hazard).any())


def test_a_reader_without_slips_reads_what_is_there(tables: Tables) -> None:
    rng = np.random.default_rng(3)
    for part in parts(tables, 60):
        if not part.explained or part.has(ContactFault.CHATTERS):
            continue
        if part.has(PartFault.DETENT_PLAY):
            continue
        reader = Reader(part, tables, METER, rng, without_slips(tables))
        there = tables.bins.of(charted_ohms(tables, part.family, part.offset))
        for k in range(tables.charted):
            for p in range(len(tables.family.positions)):
                seen = agreement(reader.read(k, p).value, tables.bins, METER)
                assert seen[there[p, k]] > 0.01


def test_slips_come_at_their_rate_and_read_open(tables: Tables) -> None:
    often = msgspec.structs.replace(without_slips(tables), slip_rate=0.1)
    rng = np.random.default_rng(4)
    healthy = next(p for p in parts(tables, 50) if p.verdict is PartVerdict.ACCEPT)
    reader = Reader(healthy, tables, METER, rng, often)
    closed = np.argwhere(charted_ohms(tables, healthy.family, healthy.offset) < 2.0)
    p, k = closed[0]
    slipped = sum(
        agreement(reader.read(int(k), int(p)).value, tables.bins, METER)[-1] > 0.5
        for _ in range(2000)
    )
    assert slipped / 2000 == pytest.approx(0.1, abs=0.025)


def test_a_full_sheet_reads_start_permit_cells_that_must_be_open_twice(tables: Tables) -> None:
    rng = np.random.default_rng(5)
    healthy = next(p for p in parts(tables, 50) if p.verdict is PartVerdict.ACCEPT)
    reader = Reader(healthy, tables, METER, rng, without_slips(tables))
    readings = full_sheet(tables, reader.read, METER)
    cells = [(r.position, r.pair) for r in readings]
    assert len(readings) == 42 + 5
    assert cells.count(("D", ("G", "H"))) == 2
    assert cells.count(("N", ("G", "H"))) == 1
