"""The benchmark of the instruments runs; its figures are `make bench-instrument`."""

import importlib.util
import sys
from pathlib import Path

import pytest


def test_it_measures_all_it_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    folder = Path(__file__).parents[2] / "benchmarks"
    monkeypatch.syspath_prepend(str(folder))
    spec = importlib.util.spec_from_file_location("instrument", folder / "instrument.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "instrument", module)
    spec.loader.exec_module(module)
    least = module.measure(1, 4)
    assert set(least) == {"bare", "reading", "confirmed", "switched"}
    assert all(0.0 < value < 10.0 for value in least.values())
