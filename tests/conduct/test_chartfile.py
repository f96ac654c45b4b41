"""A typed chart: written as a family file or a table, it reads back the same."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.conduct.chartfile import (
    checked,
    correct,
    renamed,
    text_of,
    told,
)
from benchproof.conduct.charttext import chart_text, family_file
from benchproof.conduct.families import read
from benchproof.family.model import Family
from benchproof.shipped.contents import shipped, shipped_bytes

CELLS = ("closed", "open", "any", "270 ohm ±5%", "3.3 kohm 3.1..3.5", "<= 2 ohm", "4k7")
ROLES = ("", "range bit", "start permit", "reverse lamp")


def same(one: Family, other: Family) -> None:
    assert one.name == other.name
    assert one.positions == other.positions
    assert one.pin_names == other.pin_names
    assert one.chart == other.chart
    assert (one.park, one.neutral, one.reverse) == (other.park, other.neutral, other.reverse)


@st.composite
def charts(draw: st.DrawFn) -> str:
    many = draw(st.integers(1, 6))
    positions = ("P", "R", "N", "D", "2", "1")[:many]
    rows = ["\t".join(["pins", *positions, "role"])]
    for row in range(draw(st.integers(1, 8))):
        cells = [draw(st.sampled_from(CELLS)) for _ in positions]
        rows.append("\t".join([f"A{row}-B", *cells, draw(st.sampled_from(ROLES))]))
    return "\n".join(rows) + "\n"


@given(charts())
def test_a_chart_survives_being_written(text: str) -> None:
    family = checked(text, "own").family
    assert family is not None
    same(read(family_file(family).encode(), "other"), family)
    again = checked(chart_text(family), "own").family
    assert again is not None
    same(again, family)


@pytest.mark.parametrize("name", shipped("families"))
def test_the_charts_that_come_along_survive_too(name: str) -> None:
    family = read(shipped_bytes("families", name), name)
    again = checked(chart_text(family), name).family
    assert again is not None
    # A table holds no pins that no pair names, nor their order.
    assert again.chart == family.chart
    assert again.positions == family.positions


def test_names_with_quotes_survive() -> None:
    family = checked('pins\tP\tR "low"\nA-B\tclosed\topen\n', "own").family
    assert family is None or family.positions == ("P", 'R "low"')
    plain = checked("pins\tP\tR\nA-B\tclosed\topen\n", "own").family
    assert plain is not None
    odd = renamed(plain, 'a "b" \\ c')
    assert read(family_file(odd).encode(), "x").name == odd.name


def test_a_planted_misprint_is_offered_and_made_good() -> None:
    name = "valley-coded-7"
    good = chart_text(read(shipped_bytes("families", name), name))
    spoilt = good.replace("A-E\tclosed\topen", "A-E\topen\topen", 1)
    found = checked(spoilt, name)
    assert found.family is not None
    offers = [told(found.family, one) for one in found.corrections]
    assert ("A-E", "P", "closed") in offers
    assert correct(spoilt, name, "A-E", "P", "closed") == good
    # What is not on offer changes nothing.
    assert correct(spoilt, name, "A-E", "P", "any") == spoilt
    assert checked(good, name).corrections == ()


def test_nothing_and_nonsense_are_told() -> None:
    assert checked("  \n", "x").problems == ()
    half = checked("pins\tP\tR\nA-B\tclosed\n", "x")
    assert half.family is None
    assert half.problems[0].place == "line 2 column 2"


def test_a_workbook_becomes_text(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    for row in (["pins", "P", "R"], ["A-B", "closed", "open"]):
        book.active.append(row)
    book.save(tmp_path / "a.xlsx")
    content = (tmp_path / "a.xlsx").read_bytes()
    assert text_of(content, "a.xlsx") == "pins\tP\tR\nA-B\tclosed\topen\n"
