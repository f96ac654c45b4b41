"""The blank worksheet: printed, filled in by hand, typed back."""

import csv
import io

import pytest
from pypdf import PdfReader

from benchproof.family.model import pair_text
from benchproof.family.problems import BadFile
from benchproof.network.files import read_family
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import format_value
from benchproof.report.worksheet import CAUTIONS, asked_of, worksheet_csv, worksheet_pdf
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_family, shipped_meter

METER = shipped_meter("ordinary-handheld")
WRITTEN = ("0.3", "OL", "c", "o", "1k2", "", "0,4")


def filled(blank: str) -> str:
    """Fill a blank grid in, cell by cell, with what people write."""
    rows = list(csv.reader(io.StringIO(blank)))
    out, n = io.StringIO(), 0
    writer = csv.writer(out)
    for row in rows:
        if not row[0].startswith("#") and row[0] != "pins":
            for column in range(1, len(row)):
                row[column] = WRITTEN[n % len(WRITTEN)]
                n += 1
        writer.writerow(row)
    return out.getvalue()


@pytest.mark.parametrize("name", shipped("families"))
def test_a_filled_worksheet_is_read_back_cell_by_cell(name: str) -> None:
    family = shipped_family(name)
    sheet = filled(worksheet_csv(family)).encode()
    readings = read_readings(sheet, "sheet.csv", family, METER)
    cells = [(row.pair, position) for row in family.chart for position in family.positions]
    expected = [
        (pair, position, WRITTEN[n % len(WRITTEN)])
        for n, (pair, position) in enumerate(cells)
        if WRITTEN[n % len(WRITTEN)]
    ]
    spelled = {"c": "closed", "o": "open", "1k2": "1.2k", "0,4": "0.4"}
    assert [(r.pair, r.position, format_value(r.value)) for r in readings] == [
        (pair, position, spelled.get(text, text)) for pair, position, text in expected
    ]


def test_odd_names_come_back_too() -> None:
    chart = 'pins,"D, over","3 ""low""",N\nA-B,closed,open,open\nC-case,open,closed,open\n'
    family = read_family(chart.encode(), "odd.csv")
    sheet = filled(worksheet_csv(family)).encode()
    readings = read_readings(sheet, "sheet.csv", family, METER)
    assert {r.position for r in readings} == {"D, over", '3 "low"', "N"}
    assert {pair_text(r.pair) for r in readings} == {"A-B", "C-case"}


def test_a_blank_worksheet_is_no_sheet_of_readings() -> None:
    family = shipped_family("valley-coded-7")
    with pytest.raises(BadFile, match="holds no reading"):
        read_readings(worksheet_csv(family).encode(), "sheet.csv", family, METER)


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_the_print_has_every_pair_every_position_and_what_to_note(size: str) -> None:
    family = shipped_family("orchard-single-7")
    pdf = worksheet_pdf(family, size)
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    shown = " ".join(page.extract_text().split())
    assert f"pins {' '.join(family.positions)}" in shown
    for words in (*asked_of(family), *(pair_text(row.pair) for row in family.chart)):
        assert words in shown
    assert CAUTIONS[0] in shown
    assert "de-energised" in CAUTIONS[0]
    # Who knows what should be there tends to see it.
    grid = shown[shown.rindex(f"pins {' '.join(family.positions)}") :]
    assert "closed" not in grid
    assert "open" not in grid
    assert pdf == worksheet_pdf(family, size)


def test_many_pairs_go_on() -> None:
    rows = "".join(f"P{n}-Q{n},closed,open\n" for n in range(60))
    family = read_family(f"pins,P,N\n{rows}".encode(), "many.csv")
    pages = PdfReader(io.BytesIO(worksheet_pdf(family))).pages
    assert len(pages) > 1
    shown = " ".join(" ".join(page.extract_text().split()) for page in pages)
    assert all(f"P{n}-Q{n} " in f"{shown} " for n in range(60))
