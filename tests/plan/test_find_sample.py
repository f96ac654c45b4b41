"""A small seeded sample of the find-mode benchmark; the whole of it is `make bench-find`."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from benchproof.shipped.read import shipped_bench

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.fixture(scope="module")
def benchmark() -> ModuleType:
    loaded = {}
    # `find` imports `accuracy` by that name, as it does when it is run.
    for name in ("accuracy", "find"):
        spec = importlib.util.spec_from_file_location(name, BENCHMARKS / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        loaded[name] = importlib.util.module_from_spec(spec)
        sys.modules[name] = loaded[name]
        spec.loader.exec_module(loaded[name])
    return loaded["find"]


def test_find_mode_takes_less_than_half_of_the_whole_sheet(benchmark: ModuleType) -> None:
    runs = benchmark.run("ferry-two-of-four-6", "selector-box", 6, 3)
    assert sum(r.find_s for r in runs) < 0.5 * sum(r.sheet_s for r in runs)
    assert sum(r.find_right for r in runs) >= 5


def test_no_policy_beats_the_best_one_and_ours_is_near_it(
    benchmark: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(benchmark, "MOST_EACH", 1)
    problem = benchmark.Reduced(shipped_bench("selector-box"))
    best, ours = benchmark.best_s(problem), benchmark.ours_s(problem)
    assert best - 1e-9 <= ours <= 1.15 * best


def test_what_a_reading_of_the_reduced_problem_shows_is_a_probability(
    benchmark: ModuleType,
) -> None:
    problem = benchmark.Reduced(shipped_bench("needle-probes"))
    for cell in range(4):
        assert problem.outcomes(benchmark.NOTHING, cell).sum() == pytest.approx(1.0, abs=1e-9)
