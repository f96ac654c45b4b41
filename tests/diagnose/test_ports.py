"""How the ohms of a pair follow from one resistance, against the network solved with it."""

from itertools import combinations

import numpy as np
import pytest

from benchproof.diagnose.sizes import port_between
from benchproof.network.blocks import blocks_of
from benchproof.network.resistance import effective_resistance

SIZES_OHM = np.array([0.05, 2.0, 470.0, 1e5])


@pytest.mark.parametrize("seed", range(40))
def test_a_port_tells_the_ohms_at_any_size(seed: int) -> None:
    """Also where nothing else joins its ends, or the pair."""
    rng = np.random.default_rng(seed)
    nodes, count = int(rng.integers(3, 9)), int(rng.integers(1, 10))
    edges = [(int(a), int(b)) for a, b in rng.integers(0, nodes, (count, 2)) if a != b]
    conductance_s = 10.0 ** rng.uniform(-5.0, 1.0, (5, len(edges)))
    conductance_s[rng.random(conductance_s.shape) < 0.4] = 0.0
    u, v = (int(node) for node in rng.choice(nodes, 2, replace=False))
    pairs = np.array([*combinations(range(nodes), 2)])
    every = blocks_of(nodes, edges).ohms(conductance_s).transpose(1, 2, 0)
    found = port_between(every, (u, v), (pairs[:, 0], pairs[:, 1])).ohms(SIZES_OHM)
    for ohm, of_size in zip(SIZES_OHM.tolist(), found, strict=True):
        extra = np.column_stack([conductance_s, np.full(len(conductance_s), 1.0 / ohm)])
        ends = np.array([*edges, (u, v)])
        whole = effective_resistance(nodes, ends, extra, pairs).T
        assert (np.isinf(of_size) == np.isinf(whole)).all()
        joined = np.isfinite(whole)
        # What cancels is at most the 1e5 ohms of a branch.
        assert np.allclose(of_size[joined], whole[joined], rtol=1e-9, atol=1e-9)


def test_the_cuts_of_a_port_are_where_a_pair_meets_an_edge() -> None:
    """Ten ohms in series with what lies beside a hundred: it meets 60 ohms at 100 ohms."""
    edges = [(0, 1), (1, 2)]
    every = blocks_of(3, edges).ohms(np.array([[0.1, 0.01]])).transpose(1, 2, 0)
    port = port_between(every, (1, 2), (np.array([0]), np.array([2])))
    assert port.cuts(np.array([60.0, 500.0])).tolist() == pytest.approx([-125.64, 100.0], abs=0.01)
