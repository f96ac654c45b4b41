"""How long an answer takes, beside a graph library, a circuit simulator and a plain solve.

`make bench-network` runs it and writes the figures into docs/performance.md. Everybody gets
the same networks and one thread, the rounds are interleaved, the least time of each counts, and
every answer is compared before any figure is written.
"""

import os

if __name__ == "__main__":
    # The libraries read these when they are loaded, so they stand before the imports.
    for _library in ("OMP", "OPENBLAS", "MKL"):
        os.environ[f"{_library}_NUM_THREADS"] = "1"

import platform
import tempfile
import time
import tracemalloc
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchproof.family.branches import CASE
from benchproof.family.model import Family
from benchproof.network.branches.base import States
from benchproof.network.files import read_family
from benchproof.network.states import pair_ohms
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import lever_parts
from figures import write_between
from network_others import (
    NODES,
    Floats,
    Run,
    grounded_laplacians,
    library_by_pair,
    library_by_table,
    ohms_of_volts,
    plain_solve,
    random_batch,
    simulator_by_copy,
    simulator_by_table,
)

AGREEMENT = 1e-9
"""Relative; the values span four decades, so that those who solve in floats keep this much."""
DOCUMENT = Path(__file__).parents[1] / "docs" / "performance.md"


class Disagreement(Exception):
    """Somebody computes other ohms than we do."""


@dataclass(frozen=True)
class Sizes:
    """How many states each is given: for the slow ones as many as serve them best (tried)."""

    ours: int = 100_000
    library: int = 4
    simulator_copies: int = 1
    simulator_tables: int = 50
    rounds: int = 5


# The shipped families ---------------------------------------------------------------------------


def shipped_families() -> list[Family]:
    """Return the families that come with the program."""
    names = lever_parts()
    return [read_family(shipped_bytes("families", name), f"{name}.toml") for name in names]


def misaligned_states(family: Family, states: int) -> States:
    """Return states in every position with offsets of up to 20 degrees."""
    assert family.detents_deg is not None
    offset_deg = np.random.default_rng(5).uniform(-20.0, 20.0, states)
    position = np.arange(states) % len(family.positions)
    return States(position, np.array(family.detents_deg)[position] + offset_deg)


def nodes_of(family: Family) -> int:
    """Return how many nodes its network has."""
    return len([*family.pins, CASE, *family.inner])


def random_matrices(states: int, size: int) -> Floats:
    """Return matrices that a plain solve takes as long for as for a family's own.

    A family's own are singular wherever a pin is joined to nothing, which would stop it.
    """
    matrix = np.random.default_rng(size).uniform(-1.0, 0.0, (states, size, size))
    return matrix + size * np.eye(size)


# Timing -------------------------------------------------------------------------------------------


def agree(who: str, theirs: Floats, ours: Floats) -> None:
    """Raise Disagreement unless all ohms agree."""
    off = np.max(np.abs(theirs / ours - 1.0))
    if not off <= AGREEMENT:
        raise Disagreement(f"{who} computes other ohms: up to {off:.1g} of the value")


def least_seconds(runs: dict[str, Run], rounds: int) -> dict[str, float]:
    """Return the least time of each; every round runs each once."""
    least = dict.fromkeys(runs, float("inf"))
    for _ in range(rounds):
        for name, run in runs.items():
            start = time.perf_counter()
            run()
            least[name] = min(least[name], time.perf_counter() - start)
    return least


@dataclass(frozen=True)
class Timed:
    """The least time of one contestant."""

    seconds: float
    states: int
    pairs: int

    @property
    def us_per_answer(self) -> float:
        """Microseconds an answer."""
        return 1e6 * self.seconds / (self.states * self.pairs)

    @property
    def us_per_state(self) -> float:
        """Microseconds a state, that is a network."""
        return 1e6 * self.seconds / self.states


def measure_batch(sizes: Sizes, folder: Path) -> dict[str, Timed]:
    """Return everybody's time for the random networks; every answer has been compared."""
    batch = random_batch(sizes.ours)
    matrices = grounded_laplacians(batch)
    every, size = batch.edges, NODES - 1
    given = {
        "library by pair": sizes.library,
        "library by table": sizes.library,
        "simulator by copy": sizes.simulator_copies,
        "simulator by table": sizes.simulator_tables,
    }
    runs: dict[str, Run] = {
        "ours, all pairs": lambda: batch.ohms(every),
        "ours, star": lambda: batch.ohms(batch.star),
        "solve, one side": plain_solve(matrices, 1),
        "solve, all sides": plain_solve(matrices, size),
        "library by pair": library_by_pair(batch.first(sizes.library)),
        "library by table": library_by_table(batch.first(sizes.library)),
        "simulator by copy": simulator_by_copy(batch.first(sizes.simulator_copies), folder),
        "simulator by table": simulator_by_table(batch.first(sizes.simulator_tables), folder),
    }
    ours = batch.ohms(every)
    for name, states in given.items():
        agree(name, runs[name](), ours[:states])
    agree("the plain solve", ohms_of_volts(runs["solve, all sides"]()), ours)
    agree("the star", batch.ohms(batch.star), ours[:, :size])
    pairs = {"ours, star": size, "solve, one side": 1, "solve, all sides": size}
    return {
        name: Timed(seconds, given.get(name, sizes.ours), pairs.get(name, len(every)))
        for name, seconds in least_seconds(runs, sizes.rounds).items()
    }


def measure_family(family: Family, sizes: Sizes) -> dict[str, Timed]:
    """Return our time for a family's chart, and a plain solve's for networks of its size."""
    states, size = misaligned_states(family, sizes.ours), nodes_of(family) - 1
    pairs = [row.pair for row in family.chart]
    matrices = random_matrices(sizes.ours, size)
    runs = {
        "ours": lambda: pair_ohms(family, pairs, states),
        "solve, one side": plain_solve(matrices, 1),
        "solve, all sides": plain_solve(matrices, size),
    }
    counts = {"ours": len(pairs), "solve, one side": 1, "solve, all sides": size}
    return {
        name: Timed(seconds, sizes.ours, counts[name])
        for name, seconds in least_seconds(runs, sizes.rounds).items()
    }


def peak_megabytes(sizes: Sizes) -> tuple[float, float]:
    """Return the most memory that computing every pair takes, and what of it are the answers."""
    batch = random_batch(sizes.ours)
    tracemalloc.start()
    answers = batch.ohms(batch.edges)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6, answers.nbytes / 1e6


# The figures --------------------------------------------------------------------------------------


def told(sizes: Sizes, folder: Path) -> str:
    """Return the figures as they stand in the document."""
    batch = measure_batch(sizes, folder)
    families = [(family, measure_family(family, sizes)) for family in shipped_families()]
    peak, answers = peak_megabytes(sizes)
    ours, star = batch["ours, all pairs"], batch["ours, star"]
    others = {
        "networkx, one pair a call": "library by pair",
        "networkx, all pairs in one call": "library by table",
        "ngspice, a copy of the network for each answer": "simulator by copy",
        "ngspice, all volts for one ampere into each node": "simulator by table",
    }
    one, every = batch["solve, one side"], batch["solve, all sides"]
    lines = [
        f"Measured with Python {platform.python_version()} and numpy {np.__version__} on "
        f"{platform.system()} {platform.machine()} with {os.cpu_count()} processors, of which one "
        f"is used; {sizes.ours:,} states of a network of {NODES} nodes and {ours.pairs} branches.",
        "",
        "| who | microseconds an answer | benchproof is faster |",
        "|---|---|---|",
        f"| benchproof, all {ours.pairs} pairs | {ours.us_per_answer:.3f} | |",
        *(
            f"| {who} | {batch[name].us_per_answer:.3g} "
            f"| {batch[name].us_per_answer / ours.us_per_answer:,.0f} times |"
            for who, name in others.items()
        ),
        "",
        "| what | nodes | pairs | microseconds a state | times a plain solve with one right side "
        "| times a plain solve with all right sides |",
        "|---|---|---|---|---|---|",
        _against_solve("all pairs", NODES, ours, one, every),
        _against_solve("every pair of one common pin", NODES, star, one, every),
        *(
            _against_solve(
                f"the chart of {family.name}",
                nodes_of(family),
                timed["ours"],
                timed["solve, one side"],
                timed["solve, all sides"],
            )
            for family, timed in families
        ),
        "",
        f"Memory: all {ours.pairs} pairs of the {sizes.ours:,} states take {peak:.0f} MB at the "
        f"most, of which {answers:.0f} MB are the answers.",
    ]
    return "\n".join(lines)


def _against_solve(what: str, nodes: int, ours: Timed, one: Timed, every: Timed) -> str:
    ratios = " | ".join(f"{ours.us_per_state / solve.us_per_state:.2f}" for solve in (one, every))
    return f"| {what} | {nodes} | {ours.pairs} | {ours.us_per_state:.2f} | {ratios} |"


def main() -> None:
    """Measure, print, and write the figures into the document."""
    with tempfile.TemporaryDirectory() as folder:
        figures = told(Sizes(), Path(folder))
    print(figures)
    write_between(DOCUMENT, "network", figures)


if __name__ == "__main__":
    main()
