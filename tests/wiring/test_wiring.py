"""Every step of a wired box connects exactly its pair, and the self-test finds wrong wires."""

from collections.abc import Sequence
from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.model import Pair, same_pair
from benchproof.network.resistance import effective_resistance
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_family
from benchproof.wiring.dummy import TOLERANCE, DummyPlug, dummy_plug
from benchproof.wiring.matrix import relay_matrix
from benchproof.wiring.selector import METER, SelectorBox, Step, Wire, fewest_poles, selector_box
from benchproof.wiring.sides import sides_of

BOXES = [(2, 12), (2, 6), (2, 4), (4, 5), (3, 24)]
WIRE_OHM = 1e-3


def pairs_of(name: str) -> list[Pair]:
    rows = shipped_family(name).chart
    return list({same_pair(row.pair): row.pair for row in rows}.values())


def pins_of(name: str) -> list[str]:
    return [*shipped_family(name).pin_names, "case"]


def joined(wires: Sequence[Wire]) -> dict[str, set[str]]:
    """Return the terminals on each of the meter's leads."""
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(METER)
    graph.add_edges_from(wires)
    return {lead: nx.node_connected_component(graph, lead) for lead in METER}


def on(lead: set[str]) -> set[str]:
    return {terminal.removeprefix("pin ") for terminal in lead if terminal.startswith("pin ")}


def read(wires: Sequence[Wire], plug: DummyPlug) -> float:
    """Return what the meter reads through a box with the dummy plug in, by the network solver."""
    ends = [*wires, *((f"pin {a}", f"pin {b}") for a, b, _ in plug.resistors)]
    ohms = [WIRE_OHM] * len(wires) + [ohm for *_, ohm in plug.resistors]
    number = {name: n for n, name in enumerate(dict.fromkeys([*METER, *sum(ends, ())]))}
    edges = np.array([[number[a], number[b]] for a, b in ends])
    siemens = 1.0 / np.array([ohms])
    return float(effective_resistance(len(number), edges, siemens, np.array([[0, 1]]))[0, 0])


@pytest.mark.parametrize("name", shipped("families"))
@pytest.mark.parametrize(("poles", "positions"), BOXES)
def test_each_step_connects_its_pair_and_nothing_else(
    name: str, poles: int, positions: int
) -> None:
    pairs = pairs_of(name)
    box = selector_box(pairs, poles, positions)
    plug = dummy_plug(pins_of(name), pairs)
    for pair, step in zip(pairs, box.steps, strict=True):
        wires = [*box.wires, *box.closed(step)]
        leads = joined(wires)
        assert on(leads["meter +"]) == {step.plus}
        assert on(leads["meter -"]) == {step.minus}
        assert {step.plus, step.minus} == set(pair)
        (right,) = plug.reads([pair])
        assert read(wires, plug) == pytest.approx(right, abs=0.1)
        assert plug.said(pair, read(wires, plug)).endswith("is wired right.")


@pytest.mark.parametrize("name", shipped("families"))
def test_the_matrix_connects_its_pair_and_nothing_else(name: str) -> None:
    pairs = pairs_of(name)
    matrix = relay_matrix(pairs)
    assert len({relay.channel for relay in matrix.relays}) == len(matrix.relays)
    for pair, channels in zip(pairs, matrix.channels, strict=True):
        closed = [
            (relay.lead, f"pin {relay.pin}") for relay in matrix.relays if relay.channel in channels
        ]
        leads = joined(closed)
        assert on(leads["meter +"]) | on(leads["meter -"]) == set(pair)
        assert len(on(leads["meter +"])) == len(on(leads["meter -"])) == 1


def test_a_common_pin_needs_one_pole() -> None:
    pairs = [("A", "E"), ("E", "B"), ("C", "E")]
    assert fewest_poles(pairs) == 1
    box = selector_box(pairs, 1, 3)
    assert ("meter -", "pin E") in box.wires
    assert fewest_poles([*pairs, ("G", "H")]) == 2


def test_too_few_poles_are_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="needs 2 poles; this one has 1"):
        selector_box([("A", "E"), ("G", "H")], 1, 12)


PAIRS = st.lists(
    st.sampled_from(list(combinations("ABCDEFGHJ", 2))), min_size=1, max_size=20, unique=True
)


@given(PAIRS)
def test_pins_stay_on_one_side_unless_there_is_an_odd_ring(pairs: list[Pair]) -> None:
    sides = sides_of(pairs)
    assert [same_pair(pair) for pair in sides.pairs] == [same_pair(pair) for pair in pairs]
    if nx.is_bipartite(nx.Graph(pairs)):
        assert not set(sides.plus) & set(sides.minus)


@given(PAIRS, st.integers(2, 6), st.integers(1, 12))
def test_any_box_connects_exactly_the_pairs(pairs: list[Pair], poles: int, positions: int) -> None:
    box = selector_box(pairs, poles, positions)
    for pair, step in zip(pairs, box.steps, strict=True):
        leads = joined([*box.wires, *box.closed(step)])
        assert on(leads["meter +"]) | on(leads["meter -"]) == set(pair)
        assert not leads["meter +"] & leads["meter -"]


def mistakes(box: SelectorBox) -> list[tuple[Wire, ...]]:
    """Return the box's wires with each two wires' ends crossed, and with each wire missing."""
    wires = list(box.wires)
    made = [tuple(wires[:n] + wires[n + 1 :]) for n in range(len(wires))]
    for i, j in combinations(range(len(wires)), 2):
        (a, b), (c, d) = wires[i], wires[j]
        crossed = list(wires)
        crossed[i], crossed[j] = (a, d), (c, b)
        made.append(tuple(crossed))
    return made


def contacts(box: SelectorBox, wires: Sequence[Wire], step: Step) -> list[set[str]]:
    leads = joined([*wires, *box.closed(step)])
    return [on(leads["meter +"]), on(leads["meter -"])]


@pytest.mark.parametrize("name", ["valley-coded-7", "ferry-two-of-four-6"])
def test_the_self_test_finds_every_crossed_or_missing_wire(name: str) -> None:
    pairs = pairs_of(name)
    box = selector_box(pairs, 2, 12)
    plug = dummy_plug(pins_of(name), pairs)
    wrong = 0
    for wires in mistakes(box):
        harmless = all(
            {frozenset(lead) for lead in contacts(box, wires, step)}
            == {frozenset({step.plus}), frozenset({step.minus})}
            for step in box.steps
        )
        told = [
            plug.said(pair, read([*wires, *box.closed(step)], plug))
            for pair, step in zip(pairs, box.steps, strict=True)
        ]
        found = not all(sentence.endswith("is wired right.") for sentence in told)
        assert found != harmless
        wrong += not harmless
    assert wrong > 50


@pytest.mark.parametrize("name", shipped("families"))
def test_every_pair_reads_unlike_any_other_two_pins(name: str) -> None:
    pairs, pins = pairs_of(name), pins_of(name)
    plug = dummy_plug(pins, pairs)
    for pair, ohm in zip(pairs, plug.reads(pairs), strict=True):
        assert [same_pair(found) for found in plug.alike(ohm)] == [same_pair(pair)]
        for off in (1.0 + TOLERANCE * 0.9, 1.0 - TOLERANCE * 0.9):
            assert plug.said(pair, ohm * off).endswith("is wired right.")


def test_a_wrong_reading_names_the_pins_that_would_give_it() -> None:
    pairs = [("A", "E"), ("B", "E"), ("G", "H")]
    plug = dummy_plug(["A", "B", "E", "G", "H"], pairs)
    (right,) = plug.reads([("B", "E")])
    assert plug.said(("A", "E"), right).endswith("the step connects B-E.")
    assert "missing" in plug.said(("A", "E"), float("inf"))
    assert "touch" in plug.said(("A", "E"), 0.3)
