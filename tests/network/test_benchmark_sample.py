"""A small sample of the benchmark's code: everybody's answers agree. No times are judged."""

import importlib
import os
import shutil
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None and not os.environ.get("CI"),
    reason="ngspice is not installed: run tools/setup oracles",
)
"""Where `CI` is set everything must run, so there a missing simulator fails the test."""


@pytest.fixture
def network(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the benchmark, found as it finds its own second file."""
    monkeypatch.syspath_prepend(str(ROOT / "benchmarks"))
    return importlib.import_module("network")


@pytest.fixture
def others(network: ModuleType) -> ModuleType:
    """Return those it is compared with."""
    return importlib.import_module("network_others")


@pytest.mark.parametrize("way", ["library_by_pair", "library_by_table"])
def test_graph_library_answers_the_same(others: ModuleType, way: str) -> None:
    batch = others.random_batch(3)
    ohms = getattr(others, way)(batch)()
    assert ohms.shape == (3, 66)
    np.testing.assert_allclose(ohms, batch.ohms(batch.edges), rtol=1e-9)


@needs_ngspice
@pytest.mark.parametrize("way", ["simulator_by_copy", "simulator_by_table"])
def test_circuit_simulator_answers_the_same(others: ModuleType, way: str, tmp_path: Path) -> None:
    batch = others.random_batch(2)
    ohms = getattr(others, way)(batch, tmp_path)()
    assert ohms.shape == (2, 66)
    np.testing.assert_allclose(ohms, batch.ohms(batch.edges), rtol=1e-9)


def test_plain_solve_answers_the_same(others: ModuleType) -> None:
    batch = others.random_batch(200)
    matrices = others.grounded_laplacians(batch)
    volts = others.plain_solve(matrices, 11)()
    np.testing.assert_allclose(others.ohms_of_volts(volts), batch.ohms(batch.edges), rtol=1e-9)
    # One right side: one ampere into node 1, so its volts are the ohms to node 0.
    one = others.plain_solve(matrices, 1)()
    np.testing.assert_allclose(one[:, 0, 0], batch.ohms(np.array([[1, 0]]))[:, 0], rtol=1e-9)


def test_star_is_the_part_of_all_pairs_that_it_says(others: ModuleType) -> None:
    batch = others.random_batch(50)
    np.testing.assert_allclose(batch.ohms(batch.star), batch.ohms(batch.edges)[:, :11], rtol=1e-14)


@needs_ngspice
def test_whole_run_gives_every_figure(network: ModuleType, tmp_path: Path) -> None:
    sizes = network.Sizes(ours=100, library=1, simulator_copies=1, simulator_tables=2, rounds=1)
    rows = network.told(sizes, tmp_path).splitlines()
    for family in network.shipped_families():
        assert sum(f"the chart of {family.name} |" in row for row in rows) == 1
    for who in ("benchproof, all 66 pairs", "networkx, one pair", "ngspice, a copy", "all pairs |"):
        assert sum(row.startswith(f"| {who}") for row in rows) == 1
    assert rows[-1].startswith("Memory: all 66 pairs of the 100 states take ")


def test_other_ohms_stop_the_benchmark(network: ModuleType) -> None:
    ours = np.array([[1.0, 2.0]])
    network.agree("somebody", ours * (1 + 1e-10), ours)
    for wrong in (ours * (1 + 1e-8), ours * np.nan, ours * np.inf):
        with pytest.raises(network.Disagreement, match="somebody computes other ohms"):
            network.agree("somebody", wrong, ours)


def test_figures_replace_only_what_stands_between_the_marks(network: ModuleType) -> None:
    figures = importlib.import_module("figures")
    document = network.DOCUMENT.read_text()
    once = figures.between(document, "network", "new figures")
    begin, end = "<!-- network begin -->", "<!-- network end -->"
    before, after = document.split(begin)[0], document.split(end)[1]
    assert once == f"{before}{begin}\nnew figures\n{end}{after}"
    assert figures.between(once, "network", "new figures") == once
    with pytest.raises(ValueError, match="has no marks"):
        figures.between("no marks here", "network", "new figures")
