"""A small seeded sample of the spoilt replies; all of them are `make fuzz-instrument`."""

import pytest

import fuzz
from benchproof.instrument.dialect import Dialect


@pytest.mark.parametrize("rate", [0.1, 0.3])
def test_no_wrong_number_and_no_hang(rate: float) -> None:
    found = fuzz.run(2000, rate, 3)
    assert found.wrong == ()
    assert found.right > 0
    # Five attempts, each at most a time-out for every exchange of the start and a wait between.
    assert found.longest_s < 10.0


def test_the_check_itself_sees_a_wrong_number(monkeypatch: pytest.MonkeyPatch) -> None:
    # A meter without marks and without a second look at the number is caught.
    monkeypatch.setattr(
        fuzz,
        "Dialect",
        lambda name: Dialect(name, repeat="", echo=False),
    )
    assert fuzz.run(300, 0.2, 3).wrong
