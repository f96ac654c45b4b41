"""A small seeded sample of the accuracy benchmark; the whole of it is `make bench-accuracy`."""

import numpy as np
import pytest

import accuracy
import figures
import hazards


@pytest.mark.parametrize("world", ["as believed", "wider edges", "three times the slips"])
def test_a_sample_is_mostly_right_and_accepts_no_hazard(world: str) -> None:
    found = accuracy.summary(accuracy.run("valley-coded-7", world, 150, 11))
    # Wide bounds: 150 parts; the figures proper are in docs/accuracy.md.
    assert found.right > 0.94
    assert found.coverage > 0.88
    assert found.hazards_accepted == 0


@pytest.mark.parametrize("world", ["start permit bridged", "leaks that drift", "two rows swapped"])
def test_a_world_that_is_not_believed_in_accepts_no_hazard(world: str) -> None:
    tally = accuracy.run("valley-coded-7", world, 40, 3)
    found = accuracy.summary(tally)
    assert found.hazards_accepted == 0
    assert found.decided_right > 0.9
    if world == "two rows swapped":
        assert accuracy.harmed(tally)[0] <= 0.05


@pytest.mark.parametrize("chart", ["harvest-ladder-8", "drawn 3", "drawn 9"])
def test_no_bridged_start_permit_is_accepted_on_any_chart(chart: str) -> None:
    hazardous, accepted = hazards.run(chart, 25, 5)
    assert hazardous > 10
    assert accepted == 0


def test_calibration_error_of_honest_and_of_boastful_claims() -> None:
    rng = np.random.default_rng(1)
    claimed = rng.uniform(0.0, 1.0, 20_000)
    happened = (rng.uniform(size=20_000) < claimed).astype(float)
    assert accuracy.calibration_error(claimed, happened) < 0.015
    assert accuracy.calibration_error(np.full(20_000, 0.9), happened) == pytest.approx(
        0.4, abs=0.02
    )


def test_a_row_renewed_leaves_the_others_as_they_were() -> None:
    head = "| parts of | right |\n| --- | --- |\n"
    old = head + "| two faults, a | 1 |\n| two faults, b | 2 |"
    assert figures.with_rows(old, head + "| two faults, a | 3 |\n| c | 4 |") == (
        head + "| two faults, a | 3 |\n| two faults, b | 2 |\n| c | 4 |"
    )
    with pytest.raises(ValueError, match="other columns"):
        figures.with_rows(old, "| parts of | wrong |\n| --- | --- |\n| two faults, a | 3 |")


def test_the_document_has_every_row_of_the_benchmark() -> None:
    document = accuracy.DOC.read_text(encoding="utf-8")
    for row in accuracy.rows_of(10_000, 1_500):
        _, _, rest = document.partition(f"<!-- {row.mark} begin -->\n")
        found, _, _ = rest.partition(f"<!-- {row.mark} end -->")
        assert f"\n| {row.name} | {row.parts} |" in found
