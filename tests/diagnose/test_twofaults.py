"""Two faults that one reading across two contacts sees both of, against the network solved anew."""

from pathlib import Path

import numpy as np
import pytest

import benchproof
from benchproof.diagnose.layout import layout_of
from benchproof.diagnose.posterior import Observed, cell_factor
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.twofaults import same_pairs, series
from benchproof.network.branches.base import States
from benchproof.network.branches.contact import ContactFault
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.network.states import pair_ohms
from benchproof.shipped.read import shipped_priors

FAMILIES = Path(benchproof.__file__).parent / "families"
ONE_WAY = {ContactFault.OPEN, ContactFault.HIGH, PartFault.PIN_OPEN}
"""What puts ohms in the way and never takes any out of it."""


@pytest.fixture(scope="module", params=["terrace-transit-9", "orchard-single-7"])
def tables(request: pytest.FixtureRequest) -> Tables:
    data = (FAMILIES / f"{request.param}.toml").read_bytes()
    return tables_of(completed(read_family(data, request.param)), shipped_priors(request.param))


def solved(tables: Tables, first: Fault, second: Fault) -> Floats:
    """Return the bins of the compound pairs in the detents, shape (positions, pairs)."""
    family = faulty(faulty(tables.family, first), second)
    detents = np.asarray(family.detents_deg)
    pairs = list(tables.pairs[tables.charted :])
    ohms = pair_ohms(family, pairs, States(np.zeros(len(detents), dtype=np.intp), detents))
    return tables.bins.of(ohms).astype(np.float64)


def test_the_worse_of_two_faults_is_what_the_network_makes_of_both(tables: Tables) -> None:
    layout, angle = layout_of(tables), tables.grid.half
    checked = wrong = 0
    for i, j in zip(layout.first.tolist(), layout.second.tolist(), strict=True):
        first, second = tables.causes[i], tables.causes[j]
        assert first is not None
        assert second is not None
        if not {first.kind, second.kind} <= ONE_WAY:
            continue
        bins = solved(tables, first, second)
        for (k, p), both in tables.together.items():
            rows = tables.affected[k][p]
            at = np.flatnonzero((rows[both.first] == i) & (rows[both.second] == j))
            if len(at):
                checked += 1
                wrong += int(both.category[at[0], angle] != bins[p, k - tables.charted])
                sizes = (first.kind, second.kind)
                if sizes != (ContactFault.HIGH, ContactFault.HIGH):
                    assert both.category[at[0], angle] == bins[p, k - tables.charted]
    assert checked > 200
    # Two contacts that read high add up, which now and then makes the next bin.
    assert wrong <= 0.15 * checked


def test_only_the_fault_that_changes_anything_counts() -> None:
    healthy = np.array([0, 0, 3, 3, 0, 0], dtype=np.uint16)
    first = np.array([0, 3, 3, 0, 1, 4], dtype=np.uint16)
    second = np.array([3, 0, 0, 3, 2, 2], dtype=np.uint16)
    main = np.arange(8) % 4
    # Bin 4 is bin 0 seen through a chattering contact; with bin 2 in series it is bin 2 chattering.
    assert series(healthy, first, second, main, bins=4).tolist() == [3, 3, 0, 0, 2, 6]


def test_the_outcomes_of_a_reading_that_sees_two_faults_leave_nothing_over(tables: Tables) -> None:
    """Two faults together show something, with probability one, at every offset."""
    k, p = max(tables.together, key=lambda cell: len(tables.together[cell].first))
    outcomes = np.eye(tables.bins.count)
    factors = [
        cell_factor(tables, (k, p), (Observed(k, p, lean, b),)) for lean in (0, 1) for b in outcomes
    ]
    total = np.sum([np.exp(factor.log_together) for factor in factors], axis=0)
    assert total.size > 0
    assert np.allclose(total, 2.0)


def test_each_pair_of_causes_is_told_once() -> None:
    numbers = [(np.array([1, 2]), np.array([3, 4])), (np.array([1, 0]), np.array([3, 5]))]
    first, second, which = same_pairs(numbers, causes=6)
    assert list(zip(first.tolist(), second.tolist(), strict=True)) == [(0, 5), (1, 3), (2, 4)]
    assert which.tolist() == [1, 2, 1, 0]
