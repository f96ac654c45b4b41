"""The random networks of the benchmark, and those who compute the same ohms otherwise.

Each of the others prepares what is not timed and returns what is.
"""

import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from benchproof.network.resistance import effective_resistance

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Run = Callable[[], Floats]
"""What is timed; it returns ohms by state and pair."""

NODES = 12
SIMULATOR = "ngspice"


@dataclass(frozen=True)
class Batch:
    """Networks of the same branches: between every two nodes there is one."""

    conductance_s: Floats

    @property
    def edges(self) -> Ints:
        """The branches, and every pair there is."""
        return np.array(list(combinations(range(NODES), 2)))

    @property
    def star(self) -> Ints:
        """The pairs of a chart whose every row is against one common pin."""
        return np.array([(0, node) for node in range(1, NODES)])

    def first(self, states: int) -> "Batch":
        """Return a smaller batch."""
        return Batch(self.conductance_s[:states])

    def ohms(self, pairs: Ints) -> Floats:
        """Return what we compute."""
        return effective_resistance(NODES, self.edges, self.conductance_s, pairs)


def random_batch(states: int) -> Batch:
    """Return networks with 1 ohm to 10 kilohms in each branch, log-uniform."""
    rng = np.random.default_rng(12)
    return Batch(10.0 ** rng.uniform(-4.0, 0.0, (states, NODES * (NODES - 1) // 2)))


def grounded_laplacians(batch: Batch) -> Floats:
    """Return each network's conductance matrix without its node 0."""
    full = np.zeros((len(batch.conductance_s), NODES, NODES))
    first, second = batch.edges.T
    full[:, first, second] = full[:, second, first] = -batch.conductance_s
    node = np.arange(NODES)
    full[:, node, node] = -full.sum(axis=2)
    return full[:, 1:, 1:].copy()


def ohms_of_volts(volts: Floats) -> Floats:
    """Return the ohms of every pair from the volts at nodes 1.. for one ampere into each."""
    states = len(volts)
    table = np.zeros((states, NODES, NODES))
    table[:, 1:, 1:] = volts
    own = np.einsum("snn->sn", table)
    first, second = np.array(list(combinations(range(NODES), 2))).T
    both = table[:, first, second] + table[:, second, first]
    return np.asarray(own[:, first] + own[:, second] - both)


def _graphs(batch: Batch) -> "list[nx.Graph[int]]":
    graphs = []
    for conductances_s in batch.conductance_s.tolist():
        graph: nx.Graph[int] = nx.Graph()
        for (i, j), conductance_s in zip(batch.edges.tolist(), conductances_s, strict=True):
            graph.add_edge(i, j, ohm=1.0 / conductance_s)
        graphs.append(graph)
    return graphs


def library_by_pair(batch: Batch) -> Run:
    """Ask networkx for one pair a call; building the graphs is not timed."""
    graphs, pairs = _graphs(batch), batch.edges.tolist()

    def run() -> Floats:
        return np.array(
            [[nx.resistance_distance(g, i, j, weight="ohm") for i, j in pairs] for g in graphs]
        )

    return run


def library_by_table(batch: Batch) -> Run:
    """Ask networkx for all pairs in one call; building the graphs is not timed."""
    graphs, pairs = _graphs(batch), batch.edges.tolist()

    def run() -> Floats:
        tables: list[Any] = [nx.resistance_distance(g, weight="ohm") for g in graphs]
        return np.array([[table[i][j] for i, j in pairs] for table in tables])

    return run


def _simulate(lines: list[str], control: list[str], folder: Path) -> str:
    netlist = folder / "network.cir"
    ending = [".control", "set numdgt=12", *control, "quit 0", ".endc", ".end"]
    netlist.write_text("\n".join(["* networks", *lines, *ending]))
    command = [SIMULATOR, "-b", netlist.name]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True)
    return done.stdout


def _resistors(batch: Batch, state: int, copy: str, ground: int) -> list[str]:
    ohms = (1.0 / batch.conductance_s[state]).tolist()
    name = {node: "0" if node == ground else f"n{copy}x{node}" for node in range(NODES)}
    return [
        f"r{copy}x{number} {name[i]} {name[j]} {ohm!r}"
        for number, ((i, j), ohm) in enumerate(zip(batch.edges.tolist(), ohms, strict=True))
    ]


def simulator_by_copy(batch: Batch, folder: Path) -> Run:
    """Give ngspice a copy of the network for each answer: one ampere through each pair."""
    lines, control = [], ["op"]
    for state in range(len(batch.conductance_s)):
        for i, j in batch.edges.tolist():
            copy = f"{state}y{i}y{j}"
            lines += [*_resistors(batch, state, copy, ground=j), f"i{copy} 0 n{copy}x{i} 1"]
            control.append(f"print v(n{copy}x{i})")

    def run() -> Floats:
        said = _simulate(lines, control, folder).splitlines()
        volts = [float(line.partition(" = ")[2]) for line in said if line.startswith("v(n")]
        return np.array(volts).reshape(len(batch.conductance_s), -1)

    return run


def simulator_by_table(batch: Batch, folder: Path) -> Run:
    """Give ngspice each network once, and one ampere into one node of all of them after another.

    It solves them together, once a node; the volts at all nodes give every pair by subtraction.
    This is the least work for it that we could find.
    """
    states = len(batch.conductance_s)
    lines, control = [], []
    for state in range(states):
        lines += _resistors(batch, state, str(state), ground=0)
        lines += [f"g{state}x{k} 0 n{state}x{k} c{k} 0 1" for k in range(1, NODES)]
    for k in range(1, NODES):
        lines.append(f"v{k} c{k} 0 0")
        control += [f"alter v{k}=1", "op", f"write node{k}.raw", f"alter v{k}=0"]

    def run() -> Floats:
        _simulate(lines, control, folder)
        volts = np.empty((states, NODES - 1, NODES - 1))
        for k in range(1, NODES):
            found = _read_raw(folder / f"node{k}.raw")
            volts[:, k - 1] = [
                [found[f"v(n{state}x{node})"] for node in range(1, NODES)]
                for state in range(states)
            ]
        return ohms_of_volts(volts)

    return run


def _read_raw(file: Path) -> dict[str, float]:
    """Return the volts by name from a file that the simulator wrote."""
    head, _, data = file.read_bytes().partition(b"Binary:\n")
    names = [line.split()[1] for line in head.decode().partition("Variables:\n")[2].splitlines()]
    return dict(zip(names, np.frombuffer(data).tolist(), strict=True))


def plain_solve(matrices: Floats, right_sides: int) -> Run:
    """Solve the grounded matrices in one batch; building them is not timed."""
    size = matrices.shape[1]
    amperes = np.broadcast_to(np.eye(size)[:, :right_sides], (len(matrices), size, right_sides))
    return lambda: np.asarray(np.linalg.solve(matrices, amperes), dtype=np.float64)
