"""A small sample of the automatic proofs with faults; the figures are `make bench-automatic`."""

from typing import Any

import pytest

import automatic
from benchproof.conduct.automatic import Ended
from benchproof.conduct.work import Work
from benchproof.family.model import Pair
from benchproof.proof.events import ReadingTaken
from benchproof.record.store import Store

pytestmark = pytest.mark.usefixtures("limited")
GOOD = 6
"""Number of a part that is read to its end."""
POSITIONS = tuple(automatic.tables_for(automatic.FAMILIES[0]).family.positions)


@pytest.mark.parametrize("seed", [1, 7, 8, 9])
def test_with_faults_by_chance_it_ends_complete_and_right(seed: int) -> None:
    outcome = automatic.proof_with_faults(seed)
    assert outcome.wrong == ""
    assert outcome.taken >= outcome.kept > 0


@pytest.mark.parametrize("when", [automatic.TAKEN, automatic.BEFORE, automatic.RECORDED])
def test_a_program_that_dies_around_a_record_loses_and_repeats_nothing(when: str) -> None:
    plan = automatic.Plan(0.0, (), POSITIONS, kills={1: when, 9: when, 20: when})
    outcome = automatic.proof_with_faults(GOOD, plan)
    assert outcome.wrong == ""
    assert outcome.kills == 3
    # What was read and not recorded is read again; what was recorded is not.
    assert outcome.taken - outcome.kept == (0 if when == automatic.RECORDED else 3)


@pytest.mark.parametrize("kind", automatic.KINDS)
def test_each_kind_of_fault(kind: str) -> None:
    plan = automatic.Plan(0.01, (kind,), POSITIONS, moves={4, 30})
    outcome = automatic.proof_with_faults(GOOD, plan)
    assert outcome.wrong == ""


def test_a_bench_that_is_gone_for_long_stops_it_clearly() -> None:
    outcome = automatic.proof_with_faults(GOOD, automatic.Plan(0.0, (), POSITIONS, away={12}))
    assert outcome.wrong == ""
    assert outcome.stops
    assert all(";" in stop and "\n" not in stop for stop in outcome.stops)


def test_a_wrong_reading_would_be_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(part: automatic.Part, pair: Pair, position: str, lean: str) -> float:
        part.taken += 1
        return 123.0 if part.taken == 5 else part.ohms(pair, position, lean)

    monkeypatch.setattr(automatic.Part, "read", read)
    outcome = automatic.proof_with_faults(GOOD, automatic.Plan(0.0, (), POSITIONS))
    assert "other readings stand there than must" in outcome.wrong


def test_a_repeated_reading_would_be_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    once = automatic.run_once

    def run_twice(store: Store, *others: Any) -> Ended:  # noqa: ANN401
        ended = once(store, *others)
        work = Work(store, automatic.TAG)
        work.record(next(e for e in work.state.events if isinstance(e, ReadingTaken)))
        return ended

    monkeypatch.setattr(automatic, "run_once", run_twice)
    outcome = automatic.proof_with_faults(GOOD, automatic.Plan(0.0, (), POSITIONS))
    assert "48 readings stand there, 47 must" in outcome.wrong


def test_a_command_killed_by_the_system_goes_on() -> None:
    outcome = automatic.killed_by_the_system(GOOD)
    assert outcome.wrong == ""
    assert outcome.runs == outcome.kills + 1


def test_the_pace_is_measured() -> None:
    bare, reading, proof = automatic.seconds_a_reading(1)
    assert 0.0 < bare < reading < proof < 1.0
