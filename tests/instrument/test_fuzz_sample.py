"""A small seeded sample of the spoilt replies; all of them are `make fuzz-instrument`."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def fuzz() -> ModuleType:
    path = Path(__file__).parents[2] / "benchmarks" / "fuzz.py"
    spec = importlib.util.spec_from_file_location("fuzz", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("rate", [0.1, 0.3])
def test_no_wrong_number_and_no_hang(fuzz: ModuleType, rate: float) -> None:
    found = fuzz.run(2000, rate, 3)
    assert found.wrong == ()
    assert found.right > 0
    # Five attempts, each at most a time-out for every exchange of the start and a wait between.
    assert found.longest_s < 10.0


def test_the_check_itself_sees_a_wrong_number(
    fuzz: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A meter without marks and without a second look at the number is caught.
    monkeypatch.setattr(
        fuzz,
        "Dialect",
        lambda name: importlib.import_module("benchproof.instrument.dialect").Dialect(
            name, repeat="", echo=False
        ),
    )
    assert fuzz.run(300, 0.2, 3).wrong
