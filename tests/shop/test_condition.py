"""The checklist of the intake, and what follows from it."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.proof.events import DO_NOT_REUSE
from benchproof.shop.condition import (
    CHECKLIST,
    GRADES,
    SEIZED,
    GradeConsequence,
    PartKind,
    consequence,
    item_named,
    items_of,
)


def test_it_asks_for_all_that_is_looked_for_at_intake() -> None:
    assert {item.name for item in CHECKLIST} == {
        "housing cracks", "seal working out", "shaft corrosion", "pried edges",
        "melted connector", "bent pins", "fluid in connector",
    }  # fmt: skip
    assert {item.name for item in items_of(PartKind.CONNECTOR)} == {
        "housing cracks", "melted connector", "bent pins", "fluid in connector",
    }  # fmt: skip
    assert items_of(PartKind.RANGE_SWITCH) == CHECKLIST


@pytest.mark.parametrize("item", CHECKLIST, ids=lambda item: item.name)
def test_every_grade_has_its_sentence_and_none_is_better_than_a_better_one(item: object) -> None:
    named = item_named(item.name)  # type: ignore[attr-defined]
    assert [graded.grade for graded in named.grades] == list(GRADES)
    assert all(graded.seen and graded.why.endswith(".") for graded in named.grades)
    order = [list(GradeConsequence).index(graded.consequence) for graded in named.grades]
    assert order == sorted(order)
    assert named.grades[0].consequence is GradeConsequence.MEASURE
    assert named.kinds


def test_nobody_is_told_to_pry() -> None:
    assert SEIZED.startswith("CAUTION: do not pry a seized sensor off its shaft")
    assert "maker's service information" in SEIZED
    assert item_named("shaft corrosion").graded("bad").consequence is GradeConsequence.DISCARD


def test_the_worst_counts() -> None:
    assert consequence({}) is None
    assert consequence({"an older item": "bad"}) is None
    for one, other in product(CHECKLIST, CHECKLIST):
        for first, second in product(one.grades, other.grades):
            if one.name == other.name:
                continue
            found = consequence({one.name: first.grade, other.name: second.grade})
            order = list(GradeConsequence)
            worst = max(first.consequence, second.consequence, key=order.index)
            assert found is worst


@given(st.dictionaries(st.text(max_size=20), st.text(max_size=10), max_size=5))
def test_unknown_items_and_grades_are_passed_over(notes: dict[str, str]) -> None:
    assert consequence(notes) is None


def test_a_proof_speaks_of_it_in_the_same_words() -> None:
    assert GradeConsequence.DISCARD.value == DO_NOT_REUSE


def test_what_is_not_on_it_is_no_item() -> None:
    with pytest.raises(KeyError):
        item_named("colour")
    with pytest.raises(KeyError):
        item_named("bent pins").graded("awful")
