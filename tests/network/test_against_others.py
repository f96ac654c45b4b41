"""The ohms of random networks against a graph library and a circuit simulator."""

import os
import re
import shutil
import subprocess
from itertools import combinations
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
import pytest
from numpy.typing import NDArray

from benchproof.network.resistance import effective_resistance

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None and not os.environ.get("CI"),
    reason="ngspice is not installed: run tools/setup oracles",
)
"""Where `CI` is set everything must run, so there a missing simulator fails the test."""

Edge = tuple[int, int]
Network = tuple[int, list[Edge], NDArray[np.float64]]
"""Number of nodes, edges, and their ohms."""


def connected_network(nodes: int, decades: tuple[float, float], seed: int) -> Network:
    """Return a tree with a few branches more, some of them parallel; log-uniform ohms."""
    rng = np.random.default_rng([nodes, seed])
    edges = [(int(rng.integers(0, node)), node) for node in range(1, nodes)]
    every = list(combinations(range(nodes), 2))
    edges += [every[k] for k in rng.integers(0, len(every), nodes)]
    return nodes, edges, 10.0 ** rng.uniform(*decades, len(edges))


def table_of(network: Network) -> dict[Edge, float]:
    nodes, edges, branch_ohms = network
    pairs = list(combinations(range(nodes), 2))
    ohms = effective_resistance(
        nodes, np.array(edges), 1.0 / branch_ohms[None, :], np.array(pairs)
    )[0]
    return {pair: float(ohm) for pair, ohm in zip(pairs, ohms, strict=True)}


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("nodes", [2, 5, 9, 14])
def test_graph_library_agrees(nodes: int, seed: int) -> None:
    # networkx.resistance_distance inverts in floats, so the values lie in a few decades only.
    network = connected_network(nodes, (0.0, 3.0), seed)
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    for (i, j), ohm in zip(network[1], network[2].tolist(), strict=True):
        graph.add_edge(i, j, ohm=ohm)
    table: Any = nx.resistance_distance(graph, weight="ohm")
    for (i, j), ohm in table_of(network).items():
        assert ohm == pytest.approx(table[i][j], rel=1e-9)


def netlist(networks: list[Network]) -> tuple[str, list[float]]:
    """Return a netlist with a copy of the network for each pair, and what we say to each.

    One ampere flows from the second node of the pair, which is ground, to the first: its volts
    are the ohms.
    """
    lines, prints = ["* one ampere through each pair"], []
    ohms: list[float] = []
    for network in networks:
        for (source, ground), ohm in table_of(network).items():
            copy = len(ohms)
            names = [f"n{copy}x{node}" for node in range(network[0])]
            names[ground] = "0"
            for branch, ((i, j), value) in enumerate(zip(network[1], network[2], strict=True)):
                lines.append(f"r{copy}x{branch} {names[i]} {names[j]} {float(value)!r}")
            lines.append(f"i{copy} 0 {names[source]} 1")
            prints.append(f"print v({names[source]})")
            ohms.append(ohm)
    control = [".control", "set numdgt=12", "op", *prints, "quit 0", ".endc", ".end"]
    return "\n".join([*lines, *control]), ohms


def simulated_ohms(text: str, folder: Path) -> list[float]:
    file = folder / "pairs.cir"
    file.write_text(text)
    done = subprocess.run(
        ["ngspice", "-b", str(file)], capture_output=True, text=True, check=True, timeout=60
    )
    volts = re.findall(r"^v\(n\d+x\d+\) = (\S+)$", done.stdout, re.MULTILINE)
    return [float(volt) for volt in volts]


@needs_ngspice
@pytest.mark.parametrize(
    ("decades", "agreement"),
    [
        ((0.0, 6.0), 1e-9),
        # 10 milliohms to 1 gigohm: the simulator solves in floats, so it is off by what a plain
        # solve is off.
        ((-2.0, 9.0), 1e-6),
    ],
    ids=["1 ohm to 1 megohm", "10 milliohms to 1 gigohm"],
)
def test_circuit_simulator_agrees(
    tmp_path: Path, decades: tuple[float, float], agreement: float
) -> None:
    networks = [
        connected_network(nodes, decades, seed) for nodes in (2, 4, 7, 10) for seed in range(3)
    ]
    text, ohms = netlist(networks)
    simulated = simulated_ohms(text, tmp_path)
    assert len(simulated) == len(ohms) == 3 * (1 + 6 + 21 + 45)
    np.testing.assert_allclose(ohms, simulated, rtol=agreement)
