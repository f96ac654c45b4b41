"""Bench profiles: what moves cost, and what a person is told of a bad file."""

from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest

import benchproof
from benchproof.diagnose.tables import Tables
from benchproof.family.problems import BadFile
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.bench import (
    Bench,
    BenchKind,
    first_seconds,
    pair_seconds,
    read_bench,
    reseat_seconds,
    seconds_between,
)

FOLDER = Path(benchproof.__file__).parent / "benches"
SHIPPED = sorted(FOLDER.glob("*.toml"))
PAIRS = [("A", "E"), ("B", "E"), ("C", "F"), ("A", "B")]
GOOD = """name = "invented"
[seconds]
reading = 2.0
per_detent = 1.5
lean = 2.5
[pairs]
kind = "selector"
per_step = 0.7
"""


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_benches_are_read_and_say_that_they_are_invented(path: Path) -> None:
    data = path.read_bytes()
    bench = read_bench(data, path.name)
    assert bench.note.startswith("Invented")
    assert data.startswith(b"# Invented")
    assert bench.name == path.stem.replace("-", " ")
    assert bench.reading_s > 0.0


def test_a_dial_costs_its_steps(dial: Bench) -> None:
    seconds = pair_seconds(dial, PAIRS, 3)
    assert np.allclose(seconds[:3, :3], 0.7 * np.array([[0, 1, 2], [1, 0, 1], [2, 1, 0]]))
    assert np.allclose(seconds[3], [12.0, 12.0, 12.0, 0.0])
    assert np.allclose(first_seconds(dial, 4, 3), [0.0, 0.7, 1.4, 12.0])
    assert reseat_seconds(dial) == pytest.approx(1.4)


def test_probes_cost_one_move_for_each_that_moves(probes: Bench) -> None:
    expected = 2.0 * np.array([[0, 1, 2, 1], [1, 0, 2, 1], [2, 2, 0, 2], [1, 1, 2, 0]])
    assert np.allclose(pair_seconds(probes, PAIRS, 3), expected)
    assert np.allclose(first_seconds(probes, 4, 3), 4.0)
    assert reseat_seconds(probes) == pytest.approx(4.0)


@pytest.mark.parametrize("kind", BenchKind)
def test_no_detour_is_shorter_than_the_way(kind: BenchKind) -> None:
    """Moves that a detour beats would be made by the detour."""
    bench = Bench("invented", kind, 1.0, 1.0, 1.0, 0.7, 2.0)
    seconds = pair_seconds(bench, PAIRS, 3)
    detours = (seconds[:, :, None] + seconds[None]).min(axis=1)
    assert (seconds <= detours + 1e-12).all()
    assert (seconds == seconds.T).all()


def test_a_reading_costs_lever_pair_lean_and_meter(small: Tables, dial: Bench) -> None:
    family = small.family
    at = BenchPlace("P", ("E", "A"))

    def cost(reading: TakeReading) -> float:
        return seconds_between(dial, family, small.pairs, at, reading)

    assert cost(TakeReading("P", ("A", "E"))) == pytest.approx(2.0)
    assert cost(TakeReading("D", ("A", "E"))) == pytest.approx(2.0 + 2 * 1.5)
    assert cost(TakeReading("P", ("C", "F"), lean="R")) == pytest.approx(2.0 + 2 * 0.7 + 2.5)
    assert cost(TakeReading("P", ("A", "E"), again=True)) == pytest.approx(2.0 + 1.4)
    assert cost(TakeReading("P", ("B", "E"), again=True)) == pytest.approx(2.0 + 0.7)
    assert cost(TakeReading("P", ("A", "B"))) == pytest.approx(2.0 + 12.0)
    closed = replace(dial, off_chart_s=inf)
    off_chart = TakeReading("P", ("A", "B"))
    assert seconds_between(closed, family, small.pairs, at, off_chart) == inf


def test_the_first_reading_costs_both_probes(small: Tables, probes: Bench) -> None:
    to = TakeReading("P", ("A", "E"))
    seconds = seconds_between(probes, small.family, small.pairs, BenchPlace("R"), to)
    assert seconds == pytest.approx(2.5 + 2 * 2.0 + 1.5)


@pytest.mark.parametrize(
    ("at", "to", "words"),
    [
        (BenchPlace("X"), TakeReading("P", ("A", "E")), "small has no position X"),
        (BenchPlace("P"), TakeReading("X", ("A", "E")), "small has no position X"),
        (
            BenchPlace("P", ("A", "Z")),
            TakeReading("P", ("A", "E")),
            "small has no pair A-Z to read",
        ),
        (BenchPlace("P"), TakeReading("P", ("Z", "E")), "small has no pair Z-E to read"),
    ],
)
def test_a_move_from_or_to_nowhere_is_refused(
    small: Tables, probes: Bench, at: BenchPlace, to: TakeReading, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        seconds_between(probes, small.family, small.pairs, at, to)


def test_the_selectors_steps_are_the_charted_pairs_in_chart_order(small: Tables) -> None:
    assert small.family.charted_pairs == small.pairs[: small.charted]


def test_a_profile_says_all_that_it_says() -> None:
    bench = read_bench(GOOD.encode(), "b.toml")
    assert bench == Bench("invented", BenchKind.SELECTOR, 2.0, 1.5, 2.5, 0.7)
    probes = GOOD.replace('"selector"', '"probes"').replace("per_step", "per_probe")
    assert read_bench(probes.encode(), "b.toml").kind is BenchKind.PROBES
    reaching = read_bench((GOOD + "off_chart = 9\n").encode(), "b.toml")
    assert reaching.off_chart_s == pytest.approx(9.0)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("reading = 2.0", "reading = 0", "b.toml, line 3: 'reading' needs a number, above 0"),
        ("lean = 2.5\n", "", "b.toml, line 2: has no 'lean'"),
        ("lean = 2.5", "lean = -1", "b.toml, line 5: 'lean' needs a number, at least 0"),
        ('"selector"', '"robot"', "b.toml, line 7: 'kind' needs 'selector' or 'probes'"),
        ("per_step", "per_probe", "b.toml, line 8: 'per_probe' is no key here"),
        ('name = "invented"\n', "", "b.toml: has no 'name'"),
        ("[pairs]", "[pairs", "b.toml, line 6: is no TOML"),
    ],
)
def test_a_bad_profile_is_told_with_its_line(old: str, new: str, told: str) -> None:
    assert old in GOOD
    with pytest.raises(BadFile) as caught:
        read_bench(GOOD.replace(old, new).encode(), "b.toml")
    assert told in str(caught.value)
