"""The ohms against exact rational arithmetic, computed by another algorithm."""

from fractions import Fraction
from itertools import combinations
from math import inf, isinf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchproof.network.resistance import effective_resistance

REACHED = 1e-14
"""The most relative error allowed; 20,000 networks like these reached 8.1e-16 at the most."""

Edge = tuple[int, int]
Network = tuple[int, list[Edge], list[float]]
"""Number of nodes, edges, and their conductances in siemens."""


def exact_ohm(network: Network, pair: Edge) -> Fraction | None:
    """Return the resistance without any rounding, or None where nothing joins the pair.

    Gaussian elimination on the conductance Laplacian grounded at one end of the pair.
    """
    nodes, edges, conductances_s = network
    joined: list[dict[int, Fraction]] = [{} for _ in range(nodes)]
    for (i, j), conductance_s in zip(edges, conductances_s, strict=True):
        if i != j and conductance_s > 0.0:
            for here, there in ((i, j), (j, i)):
                joined[here][there] = joined[here].get(there, Fraction(0)) + Fraction(conductance_s)
    source, ground = pair
    reached, todo = {ground}, [ground]
    while todo:
        new = joined[todo.pop()].keys() - reached
        reached |= new
        todo += new
    if source not in reached:
        return None
    order = [*sorted(reached - {source, ground}), source]
    matrix = [
        [
            sum(joined[i].values(), Fraction(0)) if i == j else -joined[i].get(j, Fraction(0))
            for j in order
        ]
        for i in order
    ]
    for k, pivot in enumerate(matrix):
        for row in matrix[k + 1 :]:
            factor = row[k] / pivot[k]
            if factor:
                for column in range(k, len(order)):
                    row[column] -= factor * pivot[column]
    return 1 / matrix[-1][-1]


def relative_error(ohm: float, exact: Fraction) -> float:
    """Return how far off a number is, itself computed without rounding."""
    return abs(float((Fraction(ohm) - exact) / exact))


def ohms_between(network: Network, pairs: list[Edge]) -> list[float]:
    nodes, edges, conductances_s = network
    ohms = effective_resistance(
        nodes,
        np.array(edges, dtype=np.intp).reshape(-1, 2),
        np.array([conductances_s]).reshape(1, -1),
        np.array(pairs, dtype=np.intp),
    )
    return [float(ohm) for ohm in ohms[0]]


def worst_error(network: Network, pairs: list[Edge]) -> float:
    """Return the largest relative error over pairs; infinite if one is open only in one way."""
    worst = 0.0
    for pair, ohm in zip(pairs, ohms_between(network, pairs), strict=True):
        exact = exact_ohm(network, pair)
        if exact is None or isinf(ohm):
            worst = max(worst, 0.0 if exact is None and ohm == inf else inf)
        else:
            worst = max(worst, relative_error(ohm, exact))
    return worst


def every_edge(nodes: int) -> list[Edge]:
    return list(combinations(range(nodes), 2))


def tree(nodes: int, rng: np.random.Generator) -> list[Edge]:
    return [(int(rng.integers(0, node)), node) for node in range(1, nodes)]


def some_edges(nodes: int, count: int, rng: np.random.Generator) -> list[Edge]:
    return [every_edge(nodes)[k] for k in rng.integers(0, nodes * (nodes - 1) // 2, count)]


def edges_of(shape: str, nodes: int, rng: np.random.Generator) -> list[Edge]:
    match shape:
        case "complete":
            return every_edge(nodes)
        case "tree":
            return tree(nodes, rng)
        case "sparse":
            return tree(nodes, rng) + some_edges(nodes, 3, rng)
        case "parallel":
            return tree(nodes, rng) * 3
        case "often disconnected":
            return some_edges(nodes, nodes, rng)
        case _:
            raise ValueError(shape)


def ten_milliohm_to_a_gigohm(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return conductances, log-uniform."""
    return 10.0 ** rng.uniform(-9.0, 2.0, count)


SHAPES = ["complete", "tree", "sparse", "parallel", "often disconnected"]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("nodes", [2, 3, 5, 8, 12, 16])
def test_random_networks_are_exact(shape: str, nodes: int) -> None:
    rng = np.random.default_rng([nodes, SHAPES.index(shape)])
    for _ in range(4):
        edges = edges_of(shape, nodes, rng)
        network = (nodes, edges, ten_milliohm_to_a_gigohm(len(edges), rng).tolist())
        assert worst_error(network, some_edges(nodes, 4, rng)) < REACHED


@pytest.mark.parametrize("shape", SHAPES)
def test_every_pair_of_a_network_is_exact(shape: str) -> None:
    rng = np.random.default_rng(SHAPES.index(shape))
    edges = edges_of(shape, 9, rng)
    network = (9, edges, ten_milliohm_to_a_gigohm(len(edges), rng).tolist())
    assert worst_error(network, every_edge(9)) < REACHED


def test_the_random_networks_include_disconnected_pairs() -> None:
    rng = np.random.default_rng(1)
    edges = edges_of("often disconnected", 12, rng)
    network = (12, edges, ten_milliohm_to_a_gigohm(len(edges), rng).tolist())
    exact = [exact_ohm(network, pair) for pair in every_edge(12)]
    assert None in exact
    assert any(value is not None for value in exact)
    assert worst_error(network, every_edge(12)) < REACHED


@st.composite
def networks(draw: st.DrawFn) -> Network:
    nodes = draw(st.integers(2, 16))
    node = st.integers(0, nodes - 1)
    edges = draw(st.lists(st.tuples(node, node), max_size=30))
    # Zero is an open branch.
    conductance = st.one_of(
        st.just(0.0), st.floats(-2.0, 9.0).map(lambda exponent: float(10.0**-exponent))
    )
    size = len(edges)
    return nodes, edges, draw(st.lists(conductance, min_size=size, max_size=size))


@settings(derandomize=True, deadline=None, max_examples=150)
@given(network=networks(), data=st.data())
def test_any_network_is_exact(network: Network, data: st.DataObject) -> None:
    pairs = st.lists(st.sampled_from(every_edge(network[0])), min_size=1, max_size=4)
    assert worst_error(network, data.draw(pairs)) < REACHED


def plain_ohm(network: Network, pair: Edge) -> float:
    """Return the ohms as everybody computes them: solve the grounded Laplacian in floats."""
    nodes, edges, conductances_s = network
    laplacian = np.zeros((nodes, nodes))
    for (i, j), conductance_s in zip(edges, conductances_s, strict=True):
        laplacian[[i, j], [j, i]] -= conductance_s
        laplacian[[i, j], [i, j]] += conductance_s
    source, ground = pair
    kept = [node for node in range(nodes) if node != ground]
    ampere = np.array([float(node == source) for node in kept])
    volts = np.linalg.solve(laplacian[np.ix_(kept, kept)], ampere)
    return float(volts[kept.index(source)])


def test_a_plain_solve_loses_what_this_one_keeps() -> None:
    rng = np.random.default_rng(7)
    plain, ours = 0.0, 0.0
    for _ in range(40):
        edges = edges_of("sparse", 12, rng)
        network = (12, edges, ten_milliohm_to_a_gigohm(len(edges), rng).tolist())
        pair = some_edges(12, 1, rng)[0]
        exact = exact_ohm(network, pair)
        assert exact is not None
        plain = max(plain, relative_error(plain_ohm(network, pair), exact))
        ours = max(ours, relative_error(ohms_between(network, [pair])[0], exact))
    assert plain > 1e-9
    assert ours < REACHED


def test_a_closed_contact_beside_insulation_shows_the_loss_plainly() -> None:
    # Two contacts of 10 milliohms in a row; only 1 gigohm leads from them to the other pin.
    network = (4, [(0, 1), (1, 2), (2, 3)], [100.0, 100.0, 1e-9])
    exact = exact_ohm(network, (0, 3))
    assert exact is not None
    assert relative_error(plain_ohm(network, (0, 3)), exact) > 1e-7
    assert relative_error(ohms_between(network, [(0, 3)])[0], exact) < 2e-16
