"""A network in blocks against the same network solved whole."""

from itertools import combinations

import numpy as np
import pytest

from benchproof.network.blocks import blocks_of
from benchproof.network.resistance import effective_resistance

BOW_TIE = [(0, 1), (1, 2), (2, 0), (2, 3), (3, 4), (4, 2), (4, 5)]
"""Two triangles that share node 2, and an edge by itself: three blocks, cut at nodes 2 and 4."""


def test_a_network_is_cut_where_one_node_holds_it_together() -> None:
    blocks = blocks_of(7, BOW_TIE)
    found = {frozenset(block.nodes.tolist()) for block in blocks.blocks}
    assert found == {frozenset({0, 1, 2}), frozenset({2, 3, 4}), frozenset({4, 5})}
    number = blocks.of_edge[6]
    at = blocks.blocks[number].nodes[blocks.nearest[number][:6]].tolist()
    assert at == [4, 4, 4, 4, 4, 5]
    assert blocks.nearest[number][6] == -1


def test_parallel_edges_are_one_block_and_a_loop_is_none() -> None:
    blocks = blocks_of(3, [(0, 1), (1, 0), (2, 2)])
    assert [block.edges.tolist() for block in blocks.blocks] == [[0, 1]]
    ohms = blocks.ohms(np.array([[0.5, 0.5, 1.0]]))
    assert ohms[0, 0, 1] == 1.0
    assert np.isinf(ohms[0, 0, 2])


@pytest.mark.parametrize("seed", range(40))
def test_ohms_by_blocks_are_those_of_the_whole_network(seed: int) -> None:
    rng = np.random.default_rng(seed)
    nodes, count = int(rng.integers(2, 12)), int(rng.integers(0, 16))
    edges = [(int(a), int(b)) for a, b in rng.integers(0, nodes, (count, 2))]
    conductance_s = 10.0 ** rng.uniform(-9.0, 1.0, (6, count))
    conductance_s[rng.random(conductance_s.shape) < 0.2] = 0.0
    pairs = np.array([*combinations(range(nodes), 2)])
    whole = effective_resistance(
        nodes, np.array(edges, dtype=np.intp).reshape(-1, 2), conductance_s, pairs
    )
    blocks = blocks_of(nodes, edges)
    found = blocks.ohms(conductance_s)[:, pairs[:, 0], pairs[:, 1]]
    assert (np.isinf(found) == np.isinf(whole)).all()
    joined = np.isfinite(whole)
    assert np.allclose(found[joined], whole[joined], rtol=1e-12, atol=0.0)
    alike = [number for number, (a, b) in enumerate(edges) if a != b]
    assert sorted(n for block in blocks.blocks for n in block.edges.tolist()) == alike
