"""A small seeded sample of the find-mode benchmark; the whole of it is `make bench-find`."""

import pytest

import find
from benchproof.shipped.read import shipped_bench


def test_find_mode_takes_less_than_half_of_the_whole_sheet() -> None:
    runs = find.run("ferry-two-of-four-6", "selector-box", 6, 3)
    assert sum(r.find_s for r in runs) < 0.5 * sum(r.sheet_s for r in runs)
    assert sum(r.find_right for r in runs) >= 5


def test_no_policy_beats_the_best_one_and_ours_is_near_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(find, "MOST_EACH", 1)
    problem = find.Reduced(shipped_bench("selector-box"))
    best, ours = find.best_s(problem), find.ours_s(problem)
    assert best - 1e-9 <= ours <= 1.15 * best


def test_what_a_reading_of_the_reduced_problem_shows_is_a_probability() -> None:
    problem = find.Reduced(shipped_bench("needle-probes"))
    for cell in range(4):
        assert problem.outcomes(find.NOTHING, cell).sum() == pytest.approx(1.0, abs=1e-9)
