"""Published values, what has no path, blocks of states, and inputs that are refused."""

from itertools import combinations, pairwise
from math import inf, nan, sqrt

import networkx as nx
import numpy as np
import pytest
from numpy.typing import NDArray

from benchproof.network.resistance import effective_resistance

Edge = tuple[int, int]


def ohms_between(
    nodes: int, branches: list[tuple[int, int, float]], pairs: list[Edge]
) -> list[float]:
    """Return the ohms between pairs of one network of branches (node, node, ohms)."""
    ohms = effective_resistance(
        nodes,
        np.array([branch[:2] for branch in branches], dtype=np.intp).reshape(-1, 2),
        np.array([[1.0 / branch[2] for branch in branches]]),
        np.array(pairs, dtype=np.intp),
    )
    return [float(ohm) for ohm in ohms[0]]


def unit_ohms(edges: list[Edge], pairs: list[Edge]) -> list[float]:
    nodes = 1 + max(max(edge) for edge in edges)
    return ohms_between(nodes, [(i, j, 1.0) for i, j in edges], pairs)


# Values that are published elsewhere ------------------------------------------------------


@pytest.mark.parametrize(
    ("solid", "expected"),
    [
        (nx.tetrahedral_graph, 1 / 2),
        (nx.cubical_graph, 7 / 12),
        (nx.octahedral_graph, 5 / 12),
        (nx.dodecahedral_graph, 19 / 30),
        (nx.icosahedral_graph, 11 / 30),
    ],
    ids=["tetrahedron", "cube", "octahedron", "dodecahedron", "icosahedron"],
)
def test_adjacent_corners_of_unit_resistor_solids(
    solid: "type[nx.Graph[int]]", expected: float
) -> None:
    # IBM Research, "Ponder This", October 2007, solution; also (2/d)(1 - 1/n).
    graph = solid()
    edges = [(int(i), int(j)) for i, j in graph.edges]
    assert unit_ohms(edges, edges) == pytest.approx([expected] * len(edges), rel=1e-14)
    degree, corners = 2 * len(edges) / len(graph), len(graph)
    assert expected == pytest.approx((2 / degree) * (1 - 1 / corners), rel=1e-15)


@pytest.mark.parametrize("nodes", [2, 3, 4, 7, 16])
def test_complete_graph_is_two_over_n(nodes: int) -> None:
    # IBM Research, "Ponder This", October 2007, solution: (2/d)(1 - 1/n) with d = n - 1.
    edges = list(combinations(range(nodes), 2))
    assert unit_ohms(edges, edges) == pytest.approx([2 / nodes] * len(edges), rel=1e-14)


CUBE = [(i, j) for i, j in combinations(range(8), 2) if (i ^ j) in (1, 2, 4)]
"""Corners are numbered by their three coordinates in binary."""


@pytest.mark.parametrize(
    ("corner", "expected"),
    [
        # IBM Research, "Ponder This", October 2007, solution.
        (0b001, 7 / 12),
        # Face diagonal: textbook, from memory.
        (0b011, 3 / 4),
        # Body diagonal: textbook; also a published puzzle page.
        (0b111, 5 / 6),
    ],
    ids=["edge", "face diagonal", "body diagonal"],
)
def test_cube_of_unit_resistors(corner: int, expected: float) -> None:
    assert unit_ohms(CUBE, [(0, corner)]) == pytest.approx([expected], rel=1e-14)


def ladder_ohm(sections: int) -> float:
    """Return what a ladder of 1 ohm rungs and rails shows at its end."""
    branches = [(node, node + 1, 1.0) for node in range(1, sections + 1)]
    branches += [(node, 0, 1.0) for node in range(2, sections + 2)]
    return ohms_between(sections + 2, branches, [(1, 0)])[0]


@pytest.mark.parametrize(
    ("sections", "expected"), [(1, 2 / 1), (2, 5 / 3), (3, 13 / 8), (4, 34 / 21)]
)
def test_ladder_of_unit_resistors(sections: int, expected: float) -> None:
    # Textbook.
    assert ladder_ohm(sections) == pytest.approx(expected, rel=1e-14)


def test_long_ladder_is_the_golden_ratio() -> None:
    # Textbook.
    assert ladder_ohm(40) == pytest.approx((1 + sqrt(5)) / 2, rel=1e-14)


def test_unbalanced_bridge() -> None:
    # networkx and ngspice agree on 21.6858898137; nodes 0, a, b, c are 0 to 3.
    bridge = [(1, 2, 10.0), (1, 3, 47.0), (2, 3, 22.0), (2, 0, 33.0), (3, 0, 15.0)]
    assert ohms_between(4, bridge, [(1, 0)]) == pytest.approx([21.6858898137], abs=5e-11)


@pytest.mark.parametrize("across_ohm", [0.01, 70.0, 1e9])
def test_balanced_bridge_does_not_feel_what_lies_across_it(across_ohm: float) -> None:
    # By hand: 100 is to 200 as 150 is to 300, so the legs of 300 and 450 ohms lie in parallel.
    bridge = [(0, 1, 100.0), (1, 3, 200.0), (0, 2, 150.0), (2, 3, 300.0), (1, 2, across_ohm)]
    assert ohms_between(4, bridge, [(0, 3)]) == pytest.approx([180.0], rel=1e-14)


def test_example_of_the_graph_library() -> None:
    # networkx documentation of resistance_distance, read.
    edges = [(1, 2), (1, 3), (1, 4), (3, 4), (3, 5), (4, 5)]
    assert unit_ohms(edges, [(1, 3)]) == pytest.approx([0.625], rel=1e-15)


def test_resistors_in_series_add() -> None:
    values_ohm = [0.01, 4.7, 270.0, 1e6, 1e9]
    row = [(i, i + 1, ohm) for i, ohm in enumerate(values_ohm)]
    assert ohms_between(6, row, [(0, 5), (5, 1)]) == pytest.approx(
        [sum(values_ohm), sum(values_ohm[1:])], rel=1e-15
    )


def test_parallel_branches_add_their_conductances() -> None:
    branches = [(0, 1, 3.0), (1, 0, 6.0), (0, 1, 2.0)]
    assert ohms_between(2, branches, [(0, 1)]) == pytest.approx([1.0], rel=1e-15)


def test_a_branch_from_a_node_to_itself_changes_nothing() -> None:
    plain = [(0, 1, 5.0), (1, 2, 7.0)]
    looped = [(1, 1, 0.01), *plain, (2, 2, 3.0)]
    assert ohms_between(3, looped, [(0, 2)]) == ohms_between(3, plain, [(0, 2)]) == [12.0]


# What has no path ---------------------------------------------------------------------------


def test_isolated_pair_is_infinite() -> None:
    # Node 4 has no branch at all; 0-1 and 2-3 are two islands.
    islands = [(0, 1, 10.0), (2, 3, 20.0)]
    pairs = [(0, 1), (2, 3), (0, 2), (1, 3), (0, 4), (4, 2)]
    assert ohms_between(5, islands, pairs) == [10.0, 20.0, inf, inf, inf, inf]


def test_every_pair_is_infinite_without_branches() -> None:
    pairs = list(combinations(range(4), 2))
    assert ohms_between(4, [], pairs) == [inf] * 6


def test_open_branch_joins_only_in_the_states_where_it_is_closed() -> None:
    ohms = effective_resistance(
        3,
        np.array([[0, 1], [1, 2]]),
        np.array([[1.0, 1.0], [1.0, 0.0], [0.0, 1.0], [0.0, 0.0]]),
        np.array([[0, 2], [0, 1], [2, 1]]),
    )
    assert ohms.tolist() == [
        [2.0, 1.0, 1.0],
        [inf, 1.0, inf],
        [inf, inf, 1.0],
        [inf, inf, inf],
    ]


# Shapes and blocks of states ------------------------------------------------------------------


def random_states(states: int, edges: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(11)
    conductance_s = 10.0 ** rng.uniform(-9.0, 2.0, (states, edges))
    # Every fourth branch is open, so that some pairs have no path.
    return np.where(rng.random((states, edges)) < 0.25, 0.0, conductance_s)


def test_many_blocks_of_states_agree_with_one_state_at_a_time() -> None:
    nodes = 12
    edges = np.array([*pairwise(range(nodes)), (0, 5), (3, 9), (2, 11), (7, 1)])
    pairs = np.array(list(combinations(range(nodes), 2)))
    conductance_s = random_states(9000, len(edges))
    together = effective_resistance(nodes, edges, conductance_s, pairs)
    assert together.shape == (9000, 66)
    assert np.isinf(together).any()
    # Blocks end somewhere; a step of 45 states, and the last ones, fall on every side of that.
    for state in [*range(0, 9000, 45), 8998, 8999]:
        alone = effective_resistance(nodes, edges, conductance_s[[state]], pairs)
        np.testing.assert_allclose(alone[0], together[state], rtol=1e-14)
    halves = [
        effective_resistance(nodes, edges, half, pairs) for half in np.split(conductance_s, 2)
    ]
    np.testing.assert_allclose(np.concatenate(halves), together, rtol=1e-14)


def test_inputs_are_left_as_they_were() -> None:
    edges, pairs = np.array([[0, 1], [1, 2], [2, 0]]), np.array([[0, 1], [2, 1]])
    conductance_s = random_states(5, 3)
    before = edges.copy(), conductance_s.copy(), pairs.copy()
    effective_resistance(3, edges, conductance_s, pairs)
    for array, copy in zip((edges, conductance_s, pairs), before, strict=True):
        np.testing.assert_array_equal(array, copy)


def test_the_same_pair_twice_gets_the_same_ohms_twice() -> None:
    ohms = ohms_between(3, [(0, 1, 2.0), (1, 2, 4.0)], [(0, 2), (0, 1), (2, 0), (0, 2)])
    assert ohms == [6.0, 2.0, 6.0, 6.0]


def test_no_states_and_no_pairs_give_empty_answers() -> None:
    edges, pairs = np.array([[0, 1]]), np.array([[0, 1], [1, 0]])
    assert effective_resistance(2, edges, np.empty((0, 1)), pairs).shape == (0, 2)
    none = np.empty((0, 2), dtype=np.intp)
    assert effective_resistance(2, edges, np.ones((3, 1)), none).shape == (3, 0)


# What is refused ------------------------------------------------------------------------------


ONE_EDGE = np.array([[0, 1]])
ONE_OHM = np.array([[1.0]])


def test_empty_network_is_refused() -> None:
    none = np.empty((0, 2), dtype=np.intp)
    with pytest.raises(ValueError, match="at least one node, not 0"):
        effective_resistance(0, none, np.empty((1, 0)), none)


@pytest.mark.parametrize("unknown", [-1, 2])
def test_pair_with_an_unknown_node_is_refused(unknown: int) -> None:
    with pytest.raises(ValueError, match=r"pairs name a node outside 0\.\.1"):
        effective_resistance(2, ONE_EDGE, ONE_OHM, np.array([[0, unknown]]))


@pytest.mark.parametrize("unknown", [-1, 2])
def test_edge_with_an_unknown_node_is_refused(unknown: int) -> None:
    with pytest.raises(ValueError, match=r"edges name a node outside 0\.\.1"):
        effective_resistance(2, np.array([[unknown, 1]]), ONE_OHM, ONE_EDGE)


def test_pair_of_equal_nodes_is_refused() -> None:
    with pytest.raises(ValueError, match="two different nodes"):
        effective_resistance(2, ONE_EDGE, ONE_OHM, np.array([[0, 1], [1, 1]]))


@pytest.mark.parametrize(
    "conductance_s", [-1.0, -1e-300, nan, inf, -inf], ids=["-1", "tiny", "nan", "inf", "-inf"]
)
def test_conductance_that_is_negative_or_not_finite_is_refused(conductance_s: float) -> None:
    with pytest.raises(ValueError, match="finite and not negative; a short needs some ohms"):
        effective_resistance(2, ONE_EDGE, np.array([[1.0], [conductance_s]]), ONE_EDGE)


def test_edges_of_the_wrong_shape_are_refused() -> None:
    for edges in (np.array([0, 1]), np.array([[0, 1, 1]])):
        with pytest.raises(ValueError, match=r"edges must have shape \(any, 2\)"):
            effective_resistance(2, edges, ONE_OHM, ONE_EDGE)


def test_pairs_of_the_wrong_shape_are_refused() -> None:
    for pairs in (np.array([0, 1]), np.array([[0, 1, 1]])):
        with pytest.raises(ValueError, match=r"pairs must have shape \(any, 2\)"):
            effective_resistance(2, ONE_EDGE, ONE_OHM, pairs)


def test_conductances_of_the_wrong_shape_are_refused() -> None:
    for conductance_s in (np.array([1.0]), np.array([[1.0, 1.0]]), np.empty((1, 0))):
        with pytest.raises(ValueError, match=r"conductance_s must have shape \(states, 1\)"):
            effective_resistance(2, ONE_EDGE, conductance_s, ONE_EDGE)
