"""Charts typed into a spreadsheet: typed cells, dates, and workbooks that mean harm."""

import datetime
import io
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from benchproof.family import limits
from benchproof.family.model import Family, pair_text
from benchproof.family.problems import BadFile
from benchproof.family.sheet import read_sheet
from benchproof.network.files import read_family

Row = Sequence[object]
GOOD: list[Row] = [
    ["pins", "P", "R", 3, "role", "note"],
    ["A-B", "closed", "open", 390, "start permit", "typed by hand"],
    ["1 to 2", 3.3, "any", "0,3 ohm", None, datetime.date(2026, 1, 2)],
]


def workbook(rows: Sequence[Row], change: Callable[[Worksheet], object] | None = None) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in rows:
        sheet.append(list(row))
    if change:
        change(sheet)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def repacked(data: bytes, member: str, change: Callable[[bytes], bytes | None]) -> bytes:
    """Return a workbook with one member of its archive changed, or left out."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            content = change(old.read(name)) if name == member else old.read(name)
            if content is not None:
                new.writestr(name, content)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
INLINE = b't="inlineStr"><is><t>pins</t></is>'


def replacing(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    def change(content: bytes) -> bytes:
        assert old in content
        return content.replace(old, new)

    return change


def read(data: bytes, file: str = "chart.xlsx") -> Family:
    return read_family(data, file)


def cells(family: Family) -> list[list[str]]:
    return [
        [pair_text(row.pair), *(str(expectation) for expectation in row.expect)]
        for row in family.chart
    ]


def sentences(data: bytes) -> list[str]:
    with pytest.raises(BadFile) as refused:
        read(data)
    return str(refused.value).splitlines()


AS_TYPED = [["A-B", "closed", "open", "390"], ["1-2", "3.3", "any", "0,3 ohm"]]


def test_typed_cells_are_read_as_they_are_shown() -> None:
    family = read(workbook(GOOD))
    assert family.positions == ("P", "R", "3")
    assert cells(family) == AS_TYPED
    assert [row.role.value for row in family.chart] == ["start permit", ""]
    assert [row.place for row in family.chart] == ["cell A2", "cell A3"]


def test_texts_may_stand_in_a_table_of_their_own() -> None:
    override = (
        b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/'
        b'vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/></Types>'
    )
    strings = (
        b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        b"<si><r><t>pi</t></r><r><t>ns</t></r></si></sst>"
    )
    data = repacked(workbook(GOOD), SHEET, replacing(INLINE, b't="s"><v>0</v>'))
    data = repacked(data, "[Content_Types].xml", replacing(b"</Types>", override))
    out = io.BytesIO(data)
    with zipfile.ZipFile(out, "a") as archive:
        archive.writestr("xl/sharedStrings.xml", strings)
    assert cells(read(out.getvalue())) == AS_TYPED
    assert read_sheet(out.getvalue(), "f.xlsx").rows[0][0].text == "pins"


@pytest.mark.parametrize("file", ["chart.xlsx", "chart.csv", "chart.toml", "standard input"])
def test_a_workbook_is_told_by_its_first_bytes(file: str) -> None:
    assert cells(read(workbook(GOOD), file)) == AS_TYPED


def test_a_number_has_the_digits_that_a_spreadsheet_shows() -> None:
    rows: list[Row] = [["a", "b"], [0.1 + 0.2, 1 / 3], [1200.0, 390.0], [1e-05, 123456.5]]
    shown = [[cell.text for cell in row] for row in read_sheet(workbook(rows), "f.xlsx").rows]
    assert shown[1:] == [
        ["0.3", "0.333333333333333"], ["1200", "390"], ["1e-05", "123456.5"],
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (datetime.datetime(2026, 1, 2), "2026-01-02 00:00:00"),
        (datetime.time(1, 2), "01:02:00"),
    ],
)
def test_a_pair_that_became_a_date_is_told(value: object, shown: str) -> None:
    assert sentences(workbook([["pins", "P"], [value, "open"]])) == [
        f"chart.xlsx, cell A2: '{shown}' is a date that a spreadsheet made of two pins; "
        "format the column as text and type it again, such as '1 to 2'."
    ]


def test_only_the_first_sheet_is_read() -> None:
    def add(sheet: Worksheet) -> None:
        assert sheet.parent
        sheet.parent.create_sheet("second").append(["nonsense"])

    assert cells(read(workbook(GOOD, add))) == AS_TYPED


def test_an_empty_first_sheet_is_told_as_that() -> None:
    def add(sheet: Worksheet) -> None:
        assert sheet.parent
        second: Any = sheet.parent.create_sheet("second")
        for row in GOOD:
            second.append(list(row))

    assert sentences(workbook([], add)) == [
        "chart.xlsx: has nothing on its first sheet; a table needs a first row and rows below it."
    ]


def test_blank_rows_remarks_and_columns_change_nothing() -> None:
    rows: list[Row] = [["# invented"], [], *GOOD[:2], [None, None], ["#", "x"], *GOOD[2:], [" "]]
    family = read(workbook(rows))
    assert cells(family) == AS_TYPED
    assert [row.place for row in family.chart] == ["cell A4", "cell A7"]


def test_the_formula_s_result_counts_and_a_formula_never_computed_is_empty() -> None:
    computed = repacked(
        workbook([["pins", "P"], ["A-B", 77]]),
        SHEET,
        replacing(b"<v>77</v>", b"<f>7*11</f><v>77</v>"),
    )
    assert cells(read(computed)) == [["A-B", "77"]]
    (sentence,) = sentences(workbook([["pins", "P"], ["A-B", "=7*11"], ["B-C", "open"]]))
    assert sentence.startswith("chart.xlsx, cell A2: ends the row early: 0 expectations for 1")


def test_merged_cells_hold_their_value_in_the_first_only() -> None:
    merged = workbook(
        [["pins", "P", "R", "N"], ["A-B", "closed", None, "open"]],
        lambda sheet: sheet.merge_cells("B2:C2"),
    )
    (sentence,) = sentences(merged)
    assert sentence.startswith("chart.xlsx, cell C2: is empty; type closed, open, any, or ohms")


def test_a_spreadsheet_error_is_told_and_never_taken_for_a_remark() -> None:
    rows: list[Row] = [["pins", "P"], ["#REF!", "open"], ["A-B", "#N/A"]]
    assert sentences(workbook(rows)) == [
        "chart.xlsx, cell A2: is #REF!; mend the formula, or type the value.",
        "chart.xlsx, cell B3: is #N/A; mend the formula, or type the value.",
    ]


def test_a_truth_value_is_no_expectation() -> None:
    (sentence,) = sentences(workbook([["pins", "P"], ["A-B", True]]))
    assert sentence.startswith("chart.xlsx, cell B2: 'True' is no expectation; ")


def test_what_the_library_drops_of_a_workbook_is_no_warning() -> None:
    extension = b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst></worksheet>'
    data = repacked(workbook(GOOD), SHEET, replacing(b"</worksheet>", extension))
    assert cells(read(data)) == AS_TYPED


# Workbooks that are hostile, or broken

FAR = "chart.xlsx: reaches far below or right of a table; delete what stands there."
UNREADABLE = (
    "chart.xlsx: is no workbook that can be read; save it as XLSX without a password, or as CSV."
)


def writing(place: str) -> Callable[[Worksheet], None]:
    def change(sheet: Worksheet) -> None:
        sheet[place] = "x"

    return change


@pytest.mark.parametrize("place", ["XFD1048576", "A1048576", "A20001"])
def test_a_cell_far_below_is_refused_not_waited_for(place: str) -> None:
    assert sentences(workbook(GOOD, writing(place))) == [FAR]


@pytest.mark.parametrize("place", ["XFD2", "GS2"])
def test_a_cell_far_to_the_right_is_refused_not_dropped(place: str) -> None:
    assert sentences(workbook(GOOD, writing(place))) == [
        "chart.xlsx, row 2: has more than 200 columns; delete what is no table."
    ]


def test_rows_of_empty_cells_far_to_the_right_are_refused() -> None:
    row = b'<row r="%d"><c r="XFD%d" s="0"/></row>'
    rows = b"".join(row % (number, number) for number in range(4, 300))
    data = repacked(workbook(GOOD), SHEET, replacing(b"</sheetData>", rows + b"</sheetData>"))
    assert sentences(data) == [FAR]


@pytest.mark.parametrize("claimed", [b"A1:XFD1048576", b"A1:A1", b"A1"])
def test_the_size_that_a_workbook_claims_is_not_believed(claimed: bytes) -> None:
    change = replacing(b'<dimension ref="A1:F3"', b'<dimension ref="' + claimed + b'"')
    assert cells(read(repacked(workbook(GOOD), SHEET, change))) == AS_TYPED


def test_a_workbook_that_unpacks_to_too_much_is_refused_unpacked() -> None:
    bomb = replacing(b"</sheetData>", b" " * limits.WORKBOOK_UNPACKED.most + b"</sheetData>")
    data = repacked(workbook(GOOD), SHEET, bomb)
    assert len(data) < 100_000
    assert sentences(data) == [
        "chart.xlsx: unpacks to more than any chart holds; bring the one sheet as CSV."
    ]


def test_a_bomb_that_lies_about_its_size_is_refused() -> None:
    data = workbook(GOOD)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = archive.getinfo(SHEET).file_size.to_bytes(4, "little")
    assert sentences(data.replace(size, (50).to_bytes(4, "little"))) == [UNREADABLE]


def test_nested_entities_are_refused() -> None:
    entities = b'<!ENTITY a0 "xxxxxxxxxx">' + b"".join(
        b'<!ENTITY a%d "%s">' % (number, b"&a%d;" % (number - 1) * 10) for number in range(1, 12)
    )
    bomb = repacked(
        workbook(GOOD),
        SHEET,
        lambda content: b"<!DOCTYPE x [" + entities + b"]>" + content.replace(b"closed", b"&a11;"),
    )
    assert sentences(bomb) == [
        "chart.xlsx: holds a document type, which no workbook needs; save it anew as XLSX, or as "
        "CSV."
    ]


def other_zip() -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("letter.txt", "hello")
    return data.getvalue()


@pytest.mark.parametrize(
    "data",
    {
        "another zip": other_zip(),
        "half a workbook": workbook(GOOD)[:2000],
        "all but the end of a workbook": workbook(GOOD)[:-10],
        "only its first bytes": b"PK\x03\x04",
        "old or encrypted": bytes.fromhex("d0cf11e0a1b11ae1") + bytes(504),
        "without its sheet": repacked(workbook(GOOD), SHEET, lambda _: None),
        "a sheet of no XML": repacked(workbook(GOOD), SHEET, lambda _: b"hello"),
        "a string that is not there": repacked(
            workbook(GOOD), SHEET, replacing(INLINE, b't="s"><v>999</v>')
        ),
        "a cell nowhere": repacked(workbook(GOOD), SHEET, replacing(b'r="A1"', b'r="1A"')),
        "a number of letters": repacked(
            workbook(GOOD), SHEET, replacing(b"<v>390</v>", b"<v>many</v>")
        ),
        "a number of too many digits": repacked(
            workbook(GOOD), SHEET, replacing(b"<v>390</v>", b"<v>" + b"9" * 5000 + b"</v>")
        ),
    }.items(),
    ids=lambda case: case[0],
)
def test_what_is_no_readable_workbook_is_refused_in_one_sentence(data: tuple[str, bytes]) -> None:
    assert sentences(data[1]) == [UNREADABLE]
