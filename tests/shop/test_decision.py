"""The expected cost of each choice, against sums done another way."""

from math import isclose

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.problems import BadFile
from benchproof.shipped.contents import usual_costs
from benchproof.shop.costs import Costs, read_costs
from benchproof.shop.decision import Choice, Decision, priced_by

USUAL = read_costs(usual_costs(), "costs.toml", "x")


def priced(decision: Decision) -> dict[Choice, float]:
    return {one.choice: one.expected for one in decision.choices}


def changed(**figures: float) -> Costs:
    return msgspec.structs.replace(USUAL, **figures)


def test_a_part_that_is_surely_good_is_reused() -> None:
    """By hand: 10 minutes at 60 an hour, and 1 comeback in 100 at 900."""
    decision = priced_by({PartVerdict.ACCEPT: 1.0}, "", USUAL)
    assert decision.best is Choice.REUSE
    assert isclose(priced(decision)[Choice.REUSE], 10.0 + 9.0)
    # 20 minutes, a new part at 85, and as many comebacks.
    assert isclose(priced(decision)[Choice.REPLACE], 20.0 + 85.0 + 9.0)


def test_a_part_that_is_surely_out_of_line_is_realigned() -> None:
    decision = priced_by({PartVerdict.REALIGN: 1.0}, "", USUAL)
    assert decision.best is Choice.REALIGN
    assert isclose(priced(decision)[Choice.REALIGN], 25.0 + 9.0)
    assert isclose(priced(decision)[Choice.REUSE], 10.0 + 0.8 * 900.0)


def test_a_part_that_is_surely_faulty_is_replaced_unless_cleaning_often_cures() -> None:
    assert priced_by({PartVerdict.REPAIR: 1.0}, "", USUAL).best is Choice.REPLACE
    cures = changed(clean_cures_rate=0.95, clean_min=15.0)
    assert priced_by({PartVerdict.REPAIR: 1.0}, "", cures).best is Choice.CLEAN


def test_safety_comes_before_money() -> None:
    free = changed(comeback=0.0)
    assert priced_by({PartVerdict.ACCEPT: 1.0}, "", free).best is Choice.REUSE
    decision = priced_by({PartVerdict.ACCEPT: 1.0}, "the vehicle could crank or roll in gear", free)
    assert decision.best is not Choice.REUSE
    assert decision.choices[-1].choice is Choice.REUSE
    assert "crank or roll in gear" in decision.choices[-1].barred
    assert decision.remarks[0].startswith("Reuse as it is is out of the question")


def test_remarks_say_when_money_is_not_the_question() -> None:
    for verdict, words in (
        (PartVerdict.HOOK_UP, "hook-up or the chart is likelier wrong"),
        (PartVerdict.CHART, "hook-up or the chart is likelier wrong"),
        (PartVerdict.UNEXPLAINED, "Nothing explains these readings"),
    ):
        assert words in priced_by({verdict: 0.9, PartVerdict.ACCEPT: 0.1}, "", USUAL).remarks[0]
    (only,) = priced_by({PartVerdict.ACCEPT: 1.0}, "", USUAL).remarks
    assert "only after a full proof" in only


def simulated(verdicts: dict[PartVerdict, float], costs: Costs, choice: Choice, seed: int) -> float:
    """Play a choice out part by part, by drawing; the mean of 200,000 parts."""
    drawn = np.random.default_rng(seed)
    many = 200_000
    names = list(verdicts)
    kind = drawn.choice(len(names), many, p=[verdicts[name] for name in names])
    state = np.empty(many, dtype="<U10")
    for n, name in enumerate(names):
        state[kind == n] = {
            PartVerdict.ACCEPT: "good",
            PartVerdict.REALIGN: "misaligned",
            PartVerdict.REPAIR: "faulty",
        }.get(name, "doubtful")
    doubtful = state == "doubtful"
    state[doubtful] = np.where(
        drawn.random(doubtful.sum()) < costs.doubtful_good_rate, "good", "faulty"
    )
    spent = np.zeros(many)
    if choice is Choice.REUSE:
        spent += costs.reuse_min / 60 * costs.hour
    elif choice is Choice.REPLACE:
        spent += costs.replace_min / 60 * costs.hour + costs.new_part
        state[:] = "new"
    else:
        if choice is Choice.REALIGN:
            spent += costs.realign_min / 60 * costs.hour
            state[state == "misaligned"] = "good"
        else:
            spent += costs.clean_min / 60 * costs.hour
            cured = (state == "faulty") & (drawn.random(many) < costs.clean_cures_rate)
            state[cured] = "good"
        found = (state != "good") & (drawn.random(many) < costs.proof_finds_rate)
        spent[found] += costs.replace_min / 60 * costs.hour + costs.new_part
        state[found] = "new"
    rate = {
        "good": costs.good_comeback_rate, "new": costs.new_comeback_rate,
        "misaligned": costs.misaligned_comeback_rate, "faulty": costs.faulty_comeback_rate,
    }  # fmt: skip
    back = drawn.random(many) < np.array([rate[str(s)] for s in state])
    return float((spent + back * costs.comeback).mean())


@pytest.mark.parametrize("choice", list(Choice))
def test_expected_costs_are_those_of_parts_played_out_one_by_one(choice: Choice) -> None:
    verdicts = {
        PartVerdict.ACCEPT: 0.35, PartVerdict.REALIGN: 0.25, PartVerdict.REPAIR: 0.2,
        PartVerdict.HOOK_UP: 0.1, PartVerdict.UNEXPLAINED: 0.1,
    }  # fmt: skip
    costs = changed(proof_finds_rate=0.8, clean_cures_rate=0.4)
    told = priced(priced_by(verdicts, "", costs))[choice]
    # Four standard errors of a comeback's cost over 200,000 parts.
    assert abs(simulated(verdicts, costs, choice, 3) - told) < 4 * 900 * 0.5 / 200_000**0.5


@given(
    weights=st.lists(st.floats(0, 1), min_size=6, max_size=6).filter(lambda w: sum(w) > 0.01),
    factor=st.floats(0.1, 50),
)
def test_another_currency_changes_no_choice(weights: list[float], factor: float) -> None:
    total = sum(weights)
    verdicts = {v: w / total for v, w in zip(PartVerdict, weights, strict=True)}
    one = priced_by(verdicts, "", USUAL)
    other = priced_by(
        verdicts,
        "",
        changed(
            hour=USUAL.hour * factor,
            new_part=USUAL.new_part * factor,
            comeback=USUAL.comeback * factor,
        ),
    )
    for choice, cost in priced(one).items():
        assert isclose(priced(other)[choice], factor * cost, rel_tol=1e-9)
    assert sorted(priced(one)) == sorted(Choice)
    costs = [c.expected for c in one.choices]
    assert costs == sorted(costs)


def test_a_file_may_leave_out_keys_and_have_a_table_for_a_family() -> None:
    data = b'new_part = 10\n[family."a"]\nnew_part = 20\n'
    assert read_costs(data, "f", "a", USUAL).new_part == 20
    assert read_costs(data, "f", "b", USUAL).new_part == 10
    assert read_costs(data, "f", "b", USUAL).hour == USUAL.hour


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"hour = -1", "f, line 1: 'hour'"),
        (b"hour = nan", "f, line 1: 'hour'"),
        (b"good_comeback_rate = 2", "f, line 1: 'good_comeback_rate'"),
        (b"hours = 1", "hours"),
        (b"family = 1", "needs a name"),
        (b"hour = ", "is no TOML"),
        (b"\xff", r"^f.*UTF-8"),
        (b"currency = ''", "currency"),
    ],
)
def test_a_mistake_in_the_costs_is_told_with_its_line(data: bytes, sentence: str) -> None:
    with pytest.raises(BadFile, match=sentence):
        read_costs(data, "f", "a", USUAL)
