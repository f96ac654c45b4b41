"""A small seeded sample of the proof benchmark; the whole of it is `make bench-proof`."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from benchproof.plan.actions import Stop
from benchproof.proof.conclusion import digest_of
from benchproof.proof.events import Mode


@pytest.fixture(scope="module")
def benchmark(monkeypatch_module: pytest.MonkeyPatch) -> ModuleType:
    folder = Path(__file__).parents[2] / "benchmarks"
    monkeypatch_module.syspath_prepend(str(folder))
    spec = importlib.util.spec_from_file_location("proof_benchmark", folder / "proof.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["proof_benchmark"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def monkeypatch_module() -> Iterator[pytest.MonkeyPatch]:
    with pytest.MonkeyPatch.context() as patch:
        yield patch


@pytest.mark.parametrize("mode", Mode)
def test_a_sample_ends_and_replays_to_the_same_bits(benchmark: ModuleType, mode: Mode) -> None:
    done, times = benchmark.run("valley-coded-7", mode, parts=6, seed=3)
    assert len(done) == 6
    assert len(times) == sum(len(state.as_left.taken) for state in done)
    for state in done:
        assert isinstance(state.next.action, Stop)
        assert benchmark.replayed(state) == digest_of(state)


def test_what_nothing_stands_against_has_passed_in_every_cell(benchmark: ModuleType) -> None:
    done, _ = benchmark.run("valley-coded-7", Mode.PROVE, parts=25, seed=4)
    accepted = [state for state in done if not state.objections]
    assert 5 < len(accepted) < 25
    for state in accepted:
        assert {result.value for result in state.as_left.results.values()} == {"pass"}
