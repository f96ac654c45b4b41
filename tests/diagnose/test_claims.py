"""Faults, their evidence, the offset and what is to be read again, against all hypotheses."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from tests.diagnose.conftest import EVERY, SHEETS, Case, case, tables

from benchproof.diagnose.diagnosis import (
    _times,
    decision,
    diagnose,
    evidence_for,
    finer,
    offset_estimate,
    unexplained_cells,
)
from benchproof.diagnose.posterior import Masses, masses
from benchproof.diagnose.verdict import Claim, PartVerdict
from benchproof.network.faults import Fault, PartFault
from benchproof.network.resistance import Floats


def of_causes(one: Case) -> Floats:
    """Return the probability of each cause, alone or with another, by offset."""
    found = np.zeros((len(one.spelt.known.causes), len(one.spelt.known.grid.offsets)))
    for causes, weight in one.spelt.weights.items():
        found[list(causes)] += weight / one.total
    return found


def tied(one: Case, number: int) -> list[int]:
    """Return the causes that make each cell's readings, and all, as likely within a few percent."""
    spelt, known = one.spelt, one.spelt.known
    read = [(at, cell) for at, cell in spelt.cells.items() if cell.readings]
    offset, at_offset = np.exp(known.grid.log_offset), spelt.weights[number,]
    found = []
    for other in range(1, len(known.causes)):
        whole = [
            float(
                offset @ np.prod([0.0 * offset + 1.0, *(cell.total(c) for _, cell in read)], axis=0)
            )
            for c in (other, number)
        ]
        apiece = [
            float(at_offset @ cell.total(other)) / float(at_offset @ cell.total(number))
            for _, cell in read
        ]
        ratios = np.array([whole[0] / whole[1], *apiece])
        touches = any(c in known.affected[k][p] for (k, p), _ in read for c in (other, number))
        if other != number and touches and (np.abs(ratios - 1.0) < 0.02).all():
            found.append(other)
    return found


def sentences(one: Case, number: int) -> list[str]:
    """Return the evidence for and against a cause, weightiest first."""
    spelt, known = one.spelt, one.spelt.known
    own = of_causes(one)[number]
    rest = sum(spelt.weights[c,] for c in range(len(known.causes)) if c != number)
    told = []
    for (k, p), cell in spelt.cells.items():
        if not cell.readings or number not in known.affected[k][p]:
            continue
        with_it = float(own @ cell.total(number)) / float(own.sum())
        without = float(rest @ cell.total(0)) / float(np.sum(rest))
        ratio = with_it / without
        pair = "-".join(known.pairs[k])
        words = " and ".join(known.bins.word(int(r.seen.argmax())) for r in cell.readings)
        times = max(ratio, 1.0 / ratio)
        many = "over 1000 times" if times > 1000 else f"{times:.0f} times"
        place = f"{pair} in {'PRND'[p]} reads {words}, {many}"
        if times >= 3.0:
            side = f"for: {place} likelier" if ratio > 1 else f"against: {place} less likely"
            told.append((times, f"{side} with it."))
    told.sort(key=lambda item: -item[0])
    return [text for _, text in told[:4]]


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_each_fault_is_claimed_with_its_probability_and_what_is_tied_with_it(
    name: str, gear: str
) -> None:
    one = case(name, gear)
    causes, share = one.spelt.known.causes, of_causes(one).sum(axis=1)
    groups: dict[object, list[int]] = {}
    for number, cause in enumerate(causes):
        if cause is not None:
            # A lever a detent early is another fault than one late; sizes in ohms are one fault's.
            early = cause.size if cause.kind is PartFault.LEVER_OFF else 0.0
            groups.setdefault((cause.kind, cause.at, cause.branch, early), []).append(number)
    expected: list[tuple[Fault | None, float, list[Fault | None], list[str]]] = []
    gone: set[int] = set()
    for numbers in sorted(groups.values(), key=lambda numbers: -share[numbers].sum()):
        best = max(numbers, key=lambda n: float(share[n]))
        if best in gone or share[numbers].sum() < 1e-3:
            continue
        others = [n for n in tied(one, best) if n not in numbers]
        gone.update(others)
        expected.append(
            (
                causes[best],
                float(share[numbers].sum()),
                [causes[n] for n in others],
                sentences(one, best),
            )
        )
    found = diagnose(one.posterior).faults
    assert len(found) == min(len(expected), 8)
    assert diagnose(one.posterior, most_faults=2).faults == found[:2]
    for claim, (fault, probability, others_, told) in zip(found, expected, strict=False):
        assert claim.fault == fault
        assert claim.probability == pytest.approx(probability, abs=1e-9)
        assert list(claim.tied) == others_
        assert list(claim.evidence) == told
        assert claim.sizes == one.spelt.known.spans[causes.index(fault)]


@pytest.mark.parametrize(
    ("ratio", "told"),
    [(3.4, "3 times"), (1000.0, "1000 times"), (1000.1, "over 1000 times")],
)
def test_how_much_likelier_is_told_up_to_a_thousand(ratio: float, told: str) -> None:
    assert _times(ratio) == told


def test_the_most_telling_readings_are_told_and_no_more_than_asked_for() -> None:
    one = case("rows")
    found = masses(one.posterior)
    share = of_causes(one).sum(axis=1)
    best = 1 + int(share[1:].argmax())
    told = evidence_for(one.posterior, found, best, most=1)
    assert list(told) == sentences(one, best)[:1]
    assert len(told) == 1


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_a_cell_read_against_the_chart_is_read_again_where_it_is_likelier_sound(
    name: str, gear: str
) -> None:
    one = case(name, gear)
    spelt, known = one.spelt, one.spelt.known
    expected = set()
    for (k, p), cell in spelt.charted.items():
        met = known.good[k, p, : known.bins.count]
        detent = [reading for reading in cell.readings if not reading.lean]
        if not detent or any(r.seen[met].max() >= 0.5 * r.seen.max() for r in detent):
            continue
        bad = 0.0
        for causes, weight in spelt.weights.items():
            cause = spelt.touching(causes, (k, p))
            of_cell = cell.sound_with(cause, 1.0 - cell.met) + cell.wanders
            of_cell = of_cell + float(cell.defects @ ~met)
            bad += float((weight * of_cell / cell.total(cause)).sum()) / one.total
        if bad < 0.5:
            expected.add(("PRND"[p], known.pairs[k]))
    found = diagnose(one.posterior)
    assert set(found.unexplained_cells) == expected
    assert len(found.unexplained_cells) == len(expected)


@pytest.mark.parametrize(("name", "cell"), [("in gear", (2, 3)), ("one visit", (0, 0))])
def test_it_is_read_again_up_to_even_odds_that_it_is_bad(name: str, cell: tuple[int, int]) -> None:
    """Whatever is believed: a cause, alone or with another, and no fault share the probability."""
    one = case(name)
    known, there = one.spelt.known, one.spelt.cells[cell]
    x, checked = len(known.grid.offsets) // 2, 0

    def bad(cause: int) -> float:
        wrong = there.sound_with(cause, 1.0 - there.met) + there.wanders
        wrong = wrong + float(there.defects @ (1.0 - there.met[: known.bins.count]))
        return float((wrong / there.total(cause))[x])

    for cause in range(1, len(known.causes)):
        if cause not in known.affected[cell[0]][cell[1]] or cause == known.play_cause:
            continue
        if not (bad(cause) - 0.5) * (bad(0) - 0.5) < 0.0:
            continue
        even = (0.5 - bad(0)) / (bad(cause) - bad(0))
        for alone in (True, False):
            for share in (even - 1e-6, even + 1e-6):
                mass = np.zeros((len(known.causes), len(known.grid.offsets)))
                none = np.zeros_like(mass)
                mass[cause, x] = share
                explained = np.zeros(len(known.grid.offsets))
                explained[x] = 1.0
                believed = SimpleNamespace(
                    single=mass if alone else none,
                    twofold=none if alone else mass,
                    explained=explained,
                )
                found = unexplained_cells(one.posterior, cast("Masses", believed))
                wrong = share * bad(cause) + (1.0 - share) * bad(0)
                assert (cell in [(k, p) for k, p in found]) is (wrong < 0.5)
                checked += 1
    assert checked >= 4


def smallest_set(offsets: Floats, share: Floats) -> list[tuple[float, float]]:
    """Return the intervals that hold 95 %, the likeliest of a finer grid first."""
    step = (offsets[1] - offsets[0]) / 8
    fine, density = [], []
    for n in range(8 * (len(offsets) - 1) + 1):
        i, part = divmod(n, 8)
        after = share[min(i + 1, len(share) - 1)]
        fine.append(float(offsets[0] + n * step))
        density.append(float(share[i] + (after - share[i]) * part / 8))
    taken: set[int] = set()
    for n in sorted(range(len(fine)), key=lambda n: (-density[n], n)):
        if sum(density[m] for m in taken) >= 0.95 * sum(density):
            break
        taken.add(n)
    starts = [n for n in sorted(taken) if n - 1 not in taken]
    ends = [n for n in sorted(taken) if n + 1 not in taken]
    return [(fine[a] - step / 2, fine[b] + step / 2) for a, b in zip(starts, ends, strict=True)]


@pytest.mark.parametrize(
    "weights",
    [
        {0: 1.0},
        {-3: 1.0, -2: 0.4, 3: 1.02, 4: 0.37},
        {-2: 0.051, 2: 1.0},
        {-2: 0.06, 2: 1.0},
        {2: 0.051, -2: 1.0},
        {2: 0.06, -2: 1.0},
        {-8: 2.0, 8: 1.0, 0: 3.0},
        {-1: 5.0, 0: 1.0, 1: 30.0, 5: 4.0},
        dict.fromkeys(range(-8, 9), 1.0),
    ],
)
def test_the_offset_is_where_95_percent_of_it_lies(weights: dict[int, float]) -> None:
    known = tables()
    share = np.zeros(len(known.grid.offsets))
    for step, weight in weights.items():
        share[step + len(share) // 2] = weight
    found = offset_estimate(known, cast("Masses", SimpleNamespace(by_offset=share, measured=False)))
    whole = sum(weights.values())
    sides = [sum(w for n, w in weights.items() if n * side > 0) / whole for side in (-1, 1)]
    assert found.sign_known is (max(sides) >= 0.95)
    assert found.best == known.grid.offsets[int(share.argmax())]
    assert found.unit == "gap"
    expected = smallest_set(known.grid.offsets, share)
    assert len(found.intervals95) == len(expected)
    assert np.array(found.intervals95) == pytest.approx(np.array(expected), abs=1e-9)


@pytest.mark.parametrize("name", SHEETS)
def test_the_offset_of_a_sheet_and_its_mistakes_are_told(name: str) -> None:
    one = case(name)
    found, known = diagnose(one.posterior), one.spelt.known
    by_offset = np.sum([*one.spelt.weights.values()], axis=0)
    for prior, right in one.sheets:
        by_offset += prior * np.sum([*right.weights.values()], axis=0)
    assert found.offset is not None
    assert found.offset.best == pytest.approx(known.grid.offsets[int(np.argmax(by_offset))])
    expected = smallest_set(known.grid.offsets, by_offset)
    assert np.array(found.offset.intervals95) == pytest.approx(np.array(expected), abs=1e-9)
    chances = sorted((p * right.explained / one.total for p, right in one.sheets), reverse=True)
    assert [s.probability for s in found.sheets] == pytest.approx(
        [chance for chance in chances if chance >= 1e-3], abs=1e-9
    )


@pytest.mark.parametrize(
    ("verdict", "share", "danger", "decided"),
    [
        (PartVerdict.ACCEPT, 0.95, 1e-6, True),
        (PartVerdict.ACCEPT, 0.95, 2.0 * 1e-6, False),
        (PartVerdict.ACCEPT, 0.95 - 1e-9, 0.0, False),
        (PartVerdict.REPAIR, 0.95, 1.0, True),
        (PartVerdict.REPAIR, 0.95 - 1e-9, 0.0, False),
    ],
)
def test_a_verdict_is_decided_once_it_is_sure_and_to_accept_no_hazard_is_left(
    verdict: PartVerdict, share: float, danger: float, *, decided: bool
) -> None:
    rest = (1.0 - share) / (len(PartVerdict) - 1)
    verdicts = dict.fromkeys(PartVerdict, rest) | {verdict: share}
    assert decision(verdicts, danger) is (verdict if decided else None)


def test_the_verdicts_say_what_to_do() -> None:
    # Common practice, no source.
    assert [verdict.value for verdict in PartVerdict] == [
        "accept",
        "realign",
        "repair or replace",
        "check the hook-up",
        "chart or family wrong",
        "not explained",
    ]


@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ((), "leak at A-B of about 180 ohm"),
        (((100.0, 150.0),), "leak at A-B of about 180 ohm"),
        (((100.0, 151.0),), "leak at A-B, 100 ohm to 150 ohm"),
        (((100.0, 110.0), (300.0, 400.0)), "leak at A-B, 100 ohm to 400 ohm"),
        (((300.0, 400.0), (100.0, 110.0)), "leak at A-B, 100 ohm to 400 ohm"),
    ],
)
def test_sizes_that_are_nearly_one_are_told_as_one(
    sizes: tuple[tuple[float, float], ...], told: str
) -> None:
    claim = Claim(Fault(PartFault.LEAK, ("A", "B"), size=180.0), 1.0, (), (), sizes)
    assert claim.told == told


def test_a_normal_offset_known_to_a_step_is_laid_finer_as_it_is() -> None:
    """Linear interpolation would widen a standard deviation of 0.6 steps to 0.72."""
    grid = tables().grid
    at, sd = 0.3 * grid.step, 0.6 * grid.step

    def normal(offsets: np.ndarray) -> np.ndarray:
        shares = np.exp(-0.5 * ((offsets - at) / sd) ** 2)
        normed: np.ndarray = shares / shares.sum()
        return normed

    fine, density = finer(grid, normal(grid.offsets), narrow=True)
    assert density == pytest.approx(normal(fine), abs=1e-9)
    mean = float(fine @ density)
    assert np.sqrt(density @ (fine - mean) ** 2) == pytest.approx(sd, rel=1e-6)
