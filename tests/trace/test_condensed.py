"""A trace boiled down to passes and runs: as by a plain loop, however it is cut into blocks."""

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.problems import TooLarge
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.reading.trace import SampleBlock, Trace
from benchproof.shipped.read import shipped_family
from benchproof.trace import runs as boiling
from benchproof.trace.condensed import BoiledTrace, boil_down
from benchproof.trace.ingear import drive_words

FAMILY = read_family(
    b"pins,P,R,N,D,role\n"
    b"A-E,closed,open,open,closed,range bit\n"
    b"B-E,closed,closed,open,270 ohm,range bit\n"
    b"G-H,closed,open,closed,open,start permit\n",
    "chart.csv",
)
PAIRS = (("A", "E"), ("B", "E"), ("G", "H"))
OHMS = st.sampled_from([0.1, 0.2, 1.9, 5.0, 270.0, 9e3, 2e4, np.inf, np.nan])


def boiled(angle: Floats, ohm: Floats, block: int) -> BoiledTrace:
    """Return samples boiled down, a block at a time."""
    blocks = (
        SampleBlock(angle[at : at + block], tuple(ohm[at : at + block].T))
        for at in range(0, len(angle), block)
    )
    return boil_down(Trace(PAIRS, {}, True, blocks), FAMILY, 1.0)


@given(st.lists(st.tuples(OHMS, OHMS, OHMS), min_size=1, max_size=40), st.integers(1, 41))
def test_runs_are_those_of_a_plain_loop(rows: list[tuple[float, ...]], block: int) -> None:
    ohm, angle = np.array(rows), np.arange(float(len(rows)))
    sweep = boiled(angle, ohm, block)
    for k, (bands, runs) in enumerate(zip(sweep.bands, sweep.runs, strict=True)):
        read = [(i, x) for i, x in enumerate(ohm[:, k].tolist()) if not np.isnan(x)]
        groups = groupby(read, key=lambda one, b=bands: int(b.of(np.array([one[1]]))[0]))  # type: ignore[misc]
        expected = [(band, list(members)) for band, members in groups]
        assert runs.band.tolist() == [band for band, _ in expected]
        assert runs.samples.tolist() == [len(members) for _, members in expected]
        assert runs.first_deg.tolist() == [members[0][0] for _, members in expected]
        assert runs.last_deg.tolist() == [members[-1][0] for _, members in expected]
        assert runs.worst_ohm.tolist() == [max(x for _, x in members) for _, members in expected]


def test_noise_and_median_of_a_run_across_blocks() -> None:
    rng = np.random.default_rng(1)
    ohm = np.full((60_000, 3), 0.5) + rng.normal(0.0, 0.02, (60_000, 3))
    sweep = boiled(np.linspace(0.0, 60.0, 60_000), ohm, 7_000)
    (noise,), (samples,) = sweep.runs[0].noise_ohm2, sweep.runs[0].samples
    assert samples == 60_000
    # Differences of independent samples have twice the variance: 2 x 0.02 squared.
    assert noise / samples == pytest.approx(0.0008, rel=0.03)
    assert sweep.runs[0].median_ohm[0] == pytest.approx(0.5, abs=0.005)


def test_more_samples_make_no_more_runs() -> None:
    def runs(samples: int) -> int:
        angle = np.linspace(-10.0, 70.0, samples)
        ohm = np.where((angle > 15) & (angle < 40), 0.1, np.inf)[:, None].repeat(3, axis=1)
        return len(boiled(angle, ohm, 4096).runs[0].band)

    assert runs(1_000) == runs(200_000) == 3


def test_noise_from_end_to_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boiling, "MOST_RUNS", 1_000)
    ohm = np.tile([[0.1], [np.inf]], (1_000, 3))
    with pytest.raises(TooLarge, match="A-E changes more than 1000 times"):
        boiled(np.linspace(0.0, 10.0, 2_000), ohm, 500)


def test_drive_words_stand_for_no_position_where_a_start_is_permitted() -> None:
    # P 11, R 01, N 00, D 11: D shares the word of P, so only R is known to be a gear.
    assert drive_words(FAMILY) == {0b01: "R"}
    valley = shipped_family("valley-coded-7")
    assert set(drive_words(valley).values()) == {"R", "D", "3", "2", "1"}


def test_the_start_permit_in_gear_is_seen_sample_by_sample() -> None:
    # A open, B closed: R. The permit conducts in the second and third sample.
    ohm = np.array([[np.inf, 0.1, np.inf], [np.inf, 0.1, 0.1], [np.inf, 0.1, 0.1], [0.1, 0.1, 0.1]])
    sweep = boiled(np.arange(4.0), ohm, 2)
    assert sweep.in_gear.band.tolist() == [0, 1, 0]
    assert sweep.in_gear_words == {"R": 2}


@pytest.mark.parametrize("pair", [0, 1, 2])
def test_what_was_not_read_in_the_same_sample_is_not_judged_by_the_bits(pair: int) -> None:
    ohm = np.array([[np.inf, 0.1, 0.1], [np.inf, 0.1, 0.1]])
    ohm[:, pair] = np.nan
    sweep = boiled(np.arange(2.0), ohm, 2)
    assert not sweep.in_gear_words
    assert not (sweep.in_gear.band == 1).any()
    # A start permit that was never seen to conduct is no danger by the bits.
    assert len(sweep.in_gear.band) == (pair == 2)
