"""Text from elsewhere runs in no spreadsheet, commands no terminal, and comes back whole."""

import json
import re
import unicodedata
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.conduct.bulk import SheetJudged, table_of
from benchproof.conduct.charttext import chart_text
from benchproof.family.safetext import NUMBER, csv_text, for_cell, for_terminal, from_cell
from benchproof.family.sheet import read_sheet
from benchproof.network.files import read_family
from benchproof.record.openformats import _for_cell
from benchproof.report.worksheet import worksheet_csv

SOURCE = Path(__file__).parents[2] / "src" / "benchproof"
TEXTS = st.text(st.sampled_from("=+-@\t\r\n'\uff1d0.,eE1a") | st.characters(), max_size=8)


@given(text=TEXTS)
def test_a_cell_comes_back_as_it_was(text: str) -> None:
    assert from_cell(for_cell(text)) == text


@given(text=TEXTS)
def test_no_cell_begins_a_formula_unless_it_is_a_number(text: str) -> None:
    shown = for_cell(text)
    assert shown[:1] not in set("=@\t\r\n\uff1d\uff0b\uff0d\uff20")
    if shown[:1] in ("+", "-"):
        assert re.fullmatch(NUMBER, shown)
        float(shown.replace(",", "."))


@pytest.mark.parametrize("number", ["-0.1", "+3", "-1,5", "-1e-3", "0.2", "-.5", "-12.000"])
def test_numbers_stay_numbers(number: str) -> None:
    assert for_cell(number) == number


@pytest.mark.parametrize("text", ["-0.1 ohm", "-", "+1+1", "-1-1", "-A", "-1e", "-0.1\n", "+."])
def test_what_only_begins_like_a_number_is_text(text: str) -> None:
    assert for_cell(text) == f"'{text}"


@given(texts=st.lists(TEXTS.filter(lambda text: "\0" not in text)))
def test_the_columns_of_an_export_are_made_safe_by_the_same_rule(texts: list[str]) -> None:
    column = pl.DataFrame({"a": texts}, schema={"a": pl.String()}).select(_for_cell("a"))["a"]
    assert column.to_list() == [for_cell(text) for text in texts]


@given(rows=st.lists(st.lists(TEXTS.map(str.strip), min_size=1, max_size=4), min_size=1))
def test_a_table_of_ours_is_read_back_as_it_was(rows: list[list[str]]) -> None:
    rows = [
        [f"a{row[0]}", *(re.sub("[\r\0]", "", cell).strip() for cell in row[1:])]
        for row in rows
        if "\0" not in row[0] and "\r" not in row[0]
    ] or [["a"]]
    read = read_sheet(("pins,sep\n" + csv_text(rows)).encode("utf-8", "replace"), "a.csv").rows[1:]
    told = [[cell.encode("utf-8", "replace").decode() for cell in row] for row in rows]
    assert [[cell.text for cell in row] for row in read] == told


HOSTILE = read_family(
    b'name = "=A"\npositions = ["=P", "-1", "@D"]\npins = ["=A", "@B"]\n'
    b'[[chart]]\npair = "=A-@B"\nexpect = ["any", "open", "closed"]\n',
    "f.toml",
)


def test_every_table_of_ours_is_safe() -> None:
    judged = SheetJudged("=cmd.csv", "unread", ("+1",), decided="@x")
    for table in (worksheet_csv(HOSTILE), chart_text(HOSTILE), table_of([judged])):
        cells = [cell.strip('"') for line in table.splitlines() for cell in re.split("[,\t]", line)]
        assert any(cell.startswith("'=") for cell in cells)
        for cell in cells:
            assert cell[:1] not in set("=@\t")
            assert cell[:1] not in set("+-") or re.fullmatch(NUMBER, cell)


def test_a_chart_with_such_names_is_read_back() -> None:
    again = read_family(chart_text(HOSTILE).encode(), "a.csv")
    assert again.positions == HOSTILE.positions
    assert again.chart[0].pair == HOSTILE.chart[0].pair


def test_tables_are_written_in_one_place() -> None:
    for path in SOURCE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name != "safetext.py":
            assert "csv.writer" not in text, path
            assert "csv.DictWriter" not in text, path


SPOILT = "a\x1b[31mb\x9bc\u202ed\u2066\x07\x7f\u2028\ud800\U000e0001\n\tΩ ≤\u00a0±"


def test_a_terminal_is_shown_what_would_command_it() -> None:
    assert for_terminal(SPOILT) == (
        "a\\u001b[31mb\\u009bc\\u202ed\\u2066\\u0007\\u007f\\u2028\\ud800\\udb40\\udc01"
        "\n\tΩ ≤\u00a0±"
    )


@given(text=st.text(st.characters(exclude_categories=[])))
def test_nothing_that_controls_is_left(text: str) -> None:
    shown = for_terminal(text)
    bad = {c for c in shown if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")}
    assert bad <= {"\n", "\t"}


@given(value=st.recursive(st.text() | st.floats(-1, 1), st.lists))
def test_json_stays_the_same_json(value: object) -> None:
    told = json.dumps(value, ensure_ascii=False, indent=2)
    assert json.loads(for_terminal(told)) == value
