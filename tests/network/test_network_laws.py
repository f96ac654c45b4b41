"""Laws that hold in every network, whatever its values."""

from itertools import combinations
from random import Random
from typing import NamedTuple

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchproof.network.resistance import effective_resistance

ROUNDING = 1e-13
"""Two orders of the same sums may differ by this much."""

law = settings(derandomize=True, deadline=None, max_examples=60)


class Networks(NamedTuple):
    """A few networks with the same edges, and every pair of their nodes."""

    nodes: int
    edges: NDArray[np.intp]
    conductance_s: NDArray[np.float64]

    @property
    def pairs(self) -> NDArray[np.intp]:
        """Every pair of nodes."""
        return np.array(list(combinations(range(self.nodes), 2)))

    def ohms(self) -> NDArray[np.float64]:
        """Return ohms by state and pair."""
        return effective_resistance(*self, self.pairs)

    def table(self) -> NDArray[np.float64]:
        """Return ohms by state, node and node; zero from a node to itself."""
        table = np.zeros((len(self.conductance_s), self.nodes, self.nodes))
        first, second = self.pairs.T
        table[:, first, second] = table[:, second, first] = self.ohms()
        return table


@st.composite
def networks(draw: st.DrawFn, connected: bool = False) -> Networks:
    nodes = draw(st.integers(2, 9))
    node = st.integers(0, nodes - 1)
    edges = draw(st.lists(st.tuples(node, node), max_size=16))
    if connected:
        edges += [(draw(st.integers(0, new - 1)), new) for new in range(1, nodes)]
    closed = st.floats(-2.0, 9.0).map(lambda exponent: float(10.0**-exponent))
    value = closed if connected else st.one_of(st.just(0.0), closed)
    states = draw(st.integers(1, 5))
    size = states * len(edges)
    values = draw(st.lists(value, min_size=size, max_size=size))
    return Networks(
        nodes,
        np.array(edges, dtype=np.intp).reshape(-1, 2),
        np.array(values).reshape(states, len(edges)),
    )


@law
@given(networks())
def test_probes_may_be_swapped(net: Networks) -> None:
    swapped = effective_resistance(*net, net.pairs[:, ::-1])
    np.testing.assert_array_equal(swapped, net.ohms())


@law
@given(networks(), st.randoms(use_true_random=False))
def test_order_of_pairs_does_not_matter(net: Networks, random: Random) -> None:
    order = list(range(len(net.pairs)))
    random.shuffle(order)
    some = order[: 1 + len(order) // 2]
    shuffled = effective_resistance(*net, net.pairs[some])
    np.testing.assert_allclose(shuffled, net.ohms()[:, some], rtol=ROUNDING)


@law
@given(networks(), st.randoms(use_true_random=False))
def test_order_of_states_does_not_matter(net: Networks, random: Random) -> None:
    order = list(range(len(net.conductance_s)))
    random.shuffle(order)
    shuffled = net._replace(conductance_s=net.conductance_s[order])
    np.testing.assert_allclose(shuffled.ohms(), net.ohms()[order], rtol=ROUNDING)


@law
@given(networks(), st.randoms(use_true_random=False))
def test_numbering_of_nodes_does_not_matter(net: Networks, random: Random) -> None:
    number = list(range(net.nodes))
    random.shuffle(number)
    renamed = net._replace(edges=np.array(number)[net.edges])
    table = renamed.table()[:, number][:, :, number]
    np.testing.assert_allclose(table, net.table(), rtol=ROUNDING)


@law
@given(networks(), st.randoms(use_true_random=False))
def test_order_and_direction_of_branches_do_not_matter(net: Networks, random: Random) -> None:
    order = list(range(len(net.edges)))
    random.shuffle(order)
    shuffled = Networks(net.nodes, net.edges[order, ::-1], net.conductance_s[:, order])
    np.testing.assert_allclose(shuffled.ohms(), net.ohms(), rtol=ROUNDING)


@law
@given(networks(), st.floats(1e-3, 1e3))
def test_scaling_every_branch_scales_every_reading(net: Networks, factor: float) -> None:
    scaled = net._replace(conductance_s=net.conductance_s / factor)
    np.testing.assert_allclose(scaled.ohms(), factor * net.ohms(), rtol=ROUNDING)


@law
@given(networks())
def test_a_way_over_a_third_pin_is_never_shorter(net: Networks) -> None:
    # Resistance is a metric (the "resistance distance"; from memory).
    table = net.table()
    over_third = table[:, :, :, None] + table[:, None, :, :]
    assert (table[:, :, None, :] <= over_third * (1 + ROUNDING)).all()


@law
@given(networks(), st.data())
def test_a_further_branch_never_raises_a_reading(net: Networks, data: st.DataObject) -> None:
    # Rayleigh's monotonicity law (from memory).
    node = st.integers(0, net.nodes - 1)
    ends = data.draw(st.tuples(node, node))
    ohm = data.draw(st.floats(0.01, 1e9))
    more = np.full((len(net.conductance_s), 1), 1.0 / ohm)
    joined = Networks(
        net.nodes,
        np.concatenate((net.edges, [ends])),
        np.concatenate((net.conductance_s, more), axis=1),
    )
    assert (joined.ohms() <= net.ohms() * (1 + ROUNDING)).all()


@law
@given(networks(connected=True))
def test_readings_over_branches_add_up_to_nodes_less_one(net: Networks) -> None:
    # Foster's theorem (from memory): the sum over branches of reading / branch is n - 1.
    first, second = net.edges.T
    parts = net.table()[:, first, second] * net.conductance_s
    np.testing.assert_allclose(parts.sum(axis=1), net.nodes - 1, rtol=ROUNDING)


@law
@given(networks())
def test_no_reading_exceeds_a_branch_across_the_pair(net: Networks) -> None:
    first, second = net.edges.T
    closed = net.conductance_s > 0.0
    readings = net.table()[:, first, second][closed]
    assert (readings * net.conductance_s[closed] <= 1 + ROUNDING).all()
