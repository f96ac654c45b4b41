"""Sheets of readings: grids and lists, CSV and XLSX, and what careless hands make of them."""

import datetime
import io
from collections.abc import Sequence

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from benchproof.family.problems import BadFile
from benchproof.network.files import read_family
from benchproof.reading.meter import Meter
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import Mark, Measured, OverRange, Reading
from benchproof.shipped.read import shipped_meter

Row = Sequence[object]
CHART = """\
pins,P,R,N
A-B,closed,open,closed
B-C,open,3.3 kohm,open
A-case,open,open,open
"""
FAMILY = read_family(CHART.encode(), "chart.csv")


HANDHELD = shipped_meter("ordinary-handheld")
DIAL = shipped_meter("workshop-dial")


def read(text: str | bytes, meter: Meter = HANDHELD) -> tuple[Reading, ...]:
    data = text.encode() if isinstance(text, str) else text
    return read_readings(data, "r.csv", FAMILY, meter)


def sentences(text: str | bytes, meter: Meter = HANDHELD) -> list[str]:
    with pytest.raises(BadFile) as refused:
        read(text, meter)
    return str(refused.value).splitlines()


def workbook(rows: Sequence[Row]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in rows:
        sheet.append(list(row))
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


GRID = """\
pins,P,R,N
A-B,0.2,OL,c
C to B,o,3.31k,
case-A,0L,> 40M,inf
"""
GRID_READ = (
    Reading("P", ("A", "B"), Measured(0.2, 0.1)),
    Reading("R", ("A", "B"), OverRange()),
    Reading("N", ("A", "B"), Mark.CLOSED),
    Reading("P", ("C", "B"), Mark.OPEN),
    Reading("R", ("C", "B"), Measured(3310.0, 10.0)),
    Reading("P", ("case", "A"), OverRange()),
    Reading("R", ("case", "A"), OverRange(40e6)),
    Reading("N", ("case", "A"), OverRange()),
)


@pytest.mark.parametrize(
    "text",
    {
        "comma": GRID,
        "semicolon and decimal comma": GRID.replace(",", ";").replace("0.2", "0,2"),
        "tab": GRID.replace(",", "\t"),
        "windows": "\ufeff" + GRID.replace("\n", "\r\n"),
        "small letters": GRID.replace("A-B", "a-b").replace("pins,P,R,N", "PINS,p,r,n"),
        "columns in another order": "pins,N,P,R\nA-B,c,0.2,OL\nC-B,,o,3.31k\ncase-A,inf,0L,>40M\n",
        "roles, notes and empty columns": (
            "pins,P,R,N,role,note,,\nA-B,0.2,OL,c,start permit,fine,,\n"
            "C-B,o,3.31k,,,,,\ncase-A,0L,>40M,inf,,,,\n"
        ),
        "remarks and blank rows": "# invented\n\n" + GRID.replace("\n", "\n\n#x,y,z\n,,\n"),
    }.items(),
    ids=lambda case: case[0],
)
def test_one_grid_in_every_dress(text: tuple[str, str]) -> None:
    def order(reading: Reading) -> str:
        return f"{reading.pair} {reading.position}"

    assert sorted(read(text[1]), key=order) == sorted(GRID_READ, key=order)


TITLED = "pins;P;R\nA-B;0,2;OL\n"


@pytest.mark.parametrize(
    "text",
    [
        f"sep=;\n{TITLED}",
        f'"sep=;"\r\n{TITLED}',
        f"Range switch, bench 2\n{TITLED}",
        f"Range switch\n\n2026-03-02\n{TITLED}",
        f"Range switch, bench 2, as found, by AB;;\n;;\n{TITLED}",
        f"sep=;\nRange switch;;\n{TITLED}",
        "Range switch,,\npins,P,R\nA-B,0.2,OL\n",
        "Range switch,,\nx,P,R\nA-B,0.2,OL\n",
        "Range switch\nposition,pin,pin,reading\nP,A,B,0.2\nR,A,B,OL\n",
    ],
)
def test_a_title_and_a_spreadsheet_s_separator_are_looked_past(text: str) -> None:
    assert read(text) == read(TITLED)


def test_a_title_in_a_workbook_is_looked_past() -> None:
    titled: list[Row] = [["Range switch, bench 2"], [], ["pins", "P", "R"], ["A-B", 0.2, "OL"]]
    assert read(workbook(titled)) == read(TITLED)


def test_a_reading_below_a_title_knows_its_cell() -> None:
    assert read(f"Range switch\n{TITLED}")[0].place == "line 3 column 2"
    assert read(f"sep=;\n{TITLED}")[0].place == "line 3 column 2"


def test_a_reading_knows_its_cell() -> None:
    places = [reading.place for reading in read(GRID)]
    assert places[:4] == [
        "line 2 column 2", "line 2 column 3", "line 2 column 4", "line 3 column 2",
    ]  # fmt: skip


def test_a_grid_may_leave_out_positions_and_pairs() -> None:
    assert read("pins,R\nB-C,3.3k\n") == (Reading("R", ("B", "C"), Measured(3300.0, 100.0)),)


def test_the_chart_itself_is_a_grid_of_readings_where_its_cells_can_be() -> None:
    values = [reading.value for reading in read(CHART)]
    assert values[:3] == [Mark.CLOSED, Mark.OPEN, Mark.CLOSED]
    assert Measured(3300.0, 100.0) in values
    assert len(values) == 9
    toleranced = CHART.replace("3.3 kohm", "3.3 kohm ±5%")
    (sentence,) = sentences(toleranced)
    assert sentence.startswith("r.csv, line 3 column 3: '3.3 kohm ±5%' is no reading; ")


LIST = """\
position,pin,pin,reading,unit,time,note
P,A,B,0.2,ohm,08:15,
R,B,C,3.31,kohm,08:16,"wiggled, twice"
N,case,A,OL,,,
P,A,B,0.4,,08:20,again
"""
LIST_READ = (
    Reading("P", ("A", "B"), Measured(0.2, 0.1), "08:15"),
    Reading("R", ("B", "C"), Measured(3310.0, 10.0), "08:16", "wiggled, twice"),
    Reading("N", ("case", "A"), OverRange()),
    Reading("P", ("A", "B"), Measured(0.4, 0.1), "08:20", "again"),
)


@pytest.mark.parametrize(
    "text",
    {
        "as documented": LIST,
        "semicolon": LIST.replace(",", ";").replace("wiggled;", "wiggled,").replace("0.2", "0,2"),
        "tab": LIST.replace(",", "\t").replace("wiggled\t", "wiggled,"),
        "other headings": LIST.replace(
            "position,pin,pin,reading,unit,time,note", "Lever,Pin 1,From pin,Value,Units,TIME,Notes"
        ),
        "ohms for a heading": LIST.replace("reading", "Ohms"),
        "one column of pairs": (
            "pins,position,reading,note,time,unit\nA-B,P,0.2,,08:15,ohm\n"
            'B to C,r,3.31,"wiggled, twice",08:16,kohm\nCase/A,N,OL,,,\na-b,P,0.4,again,08:20,\n'
        ),
        "leans, none of them": LIST.replace("note\n", "note,lean\n"),
        "rows not yet measured": LIST + "N,B,C,,,,\nR,A,B\n",
    }.items(),
    ids=lambda case: case[0],
)
def test_one_list_in_every_dress(text: tuple[str, str]) -> None:
    assert read(text[1]) == LIST_READ


def test_a_typed_workbook_is_read_as_a_grid_and_as_a_list() -> None:
    grid: list[Row] = [["pins", "P", "R"], ["A-B", 0.2, "OL"], ["B-C", None, 3310]]
    assert read(workbook(grid)) == (
        Reading("P", ("A", "B"), Measured(0.2, 0.1)),
        Reading("R", ("A", "B"), OverRange()),
        Reading("R", ("B", "C"), Measured(3310.0, 1.0)),
    )
    as_list: list[Row] = [
        ["position", "pin", "pin", "reading", "unit", "time"],
        ["P", "A", "B", 0.2, "ohm", datetime.time(8, 15)],
        ["R", "B", "C", 3.31, "kohm", datetime.datetime(2026, 1, 2, 8, 16)],
    ]
    assert read(workbook(as_list)) == (
        Reading("P", ("A", "B"), Measured(0.2, 0.1), "08:15:00"),
        Reading("R", ("B", "C"), Measured(3310.0, 10.0), "2026-01-02 08:16:00"),
    )


def test_a_cell_may_be_read_again_at_another_time_even_the_other_way_round() -> None:
    again = read("position,pins,reading,time\nP,A-B,0.2,1\nP,B-A,0.3,2\nP,A-B,OL,\n")
    assert [reading.time for reading in again] == ["1", "2", ""]


def test_a_reading_may_lean_toward_a_neighbour_and_is_then_another() -> None:
    text = "position,pins,reading,lean\nP,A-B,0.2,\nP,A-B,OL,r\nR,A-B,OL,P\nR,A-B,0.2,N\n"
    assert [(r.position, r.lean, r.value) for r in read(text)] == [
        ("P", "", Measured(0.2, 0.1)),
        ("P", "R", OverRange()),
        ("R", "P", OverRange()),
        ("R", "N", Measured(0.2, 0.1)),
    ]


# The dial: common practice, no source.


def test_0_and_1_are_marks_only_where_the_meter_is_declared_so() -> None:
    sheet = "pins,P,R\nA-B,0,1\n"
    assert [reading.value for reading in read(sheet, DIAL)] == [Mark.CLOSED, Mark.OPEN]
    assert [reading.value for reading in read(sheet)] == [Measured(0.0, 1.0), Measured(1.0, 1.0)]


HEADINGS = "position, pin, pin, reading, unit, time, note, lean"
PINS = "known are A, B, C, case"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", [": is empty; a table needs a first row and rows below it."]),
        ("pins,P,R\n", [": holds no reading; fill in the cells that were measured."]),
        ("pins,P,R\nA-B,,\n", [": holds no reading; fill in the cells that were measured."]),
        ("pins\nA-B\n", [
            "line 1 column 1: starts no readings; type 'pins, P, R, N' in the first row, or "
            f"'{HEADINGS}'."]),
        # grids
        ("pins,P,X\nA-B,0.2,OL\n", [
            "line 1 column 3: 'X' is no position of this family; known are P, R, N."]),
        ("pins,P,p\nA-B,0.2,OL\n", ["line 1 column 3: is a second column for P; keep one."]),
        ("pins,P\nA-Z,0.2\n", [
            f"line 2 column 1: 'Z' is no pin of this family; {PINS}."]),
        ("pins,P\n,0.2\n", ["line 2 column 1: is not a pair of pins; type two pins such as A-B."]),
        ("pins,P\nA-B,0.2\nA-B,0.3\n", [
            "line 3 column 1: reads A-B again, as line 2 column 1 does; keep one row, or head "
            "the row of second readings 'A-B again'."]),
        ("pins,P\nA-B,0.2\nb to a,\n", [
            "line 3 column 1: reads B-A again, as line 2 column 1 does; keep one row, or head "
            "the row of second readings 'B-A again'."]),
        ("Range switch, bench 2\npins,P,R\nA-B,0.2,OL\n", [
            "line 1 column 1: stands above the headings of line 2 column 1; delete it, or begin "
            "it with #."]),
        ("x,P,R\nA-B,0.2,OL\npins,P,R\nC-D,0.2,OL\n", [
            "line 1 column 1: stands above the headings of line 3 column 1; delete it, or begin "
            "it with #."]),
        ("pins,P,R\nA-B,zero,-5\n", [
            "line 2 column 2: 'zero' is no reading; type c or closed, o or open, OL, or ohms such "
            "as 0.3 or 1.2k.",
            "line 2 column 3: '-5' is further below zero than ordinary handheld can be wrong "
            "(0.45 ohm); null the leads and read again."]),
        ("pins,P,R\nA-B,0,3,OL\n", [
            "line 2 column 4: 'OL' stands under no heading; a decimal comma needs quotes in a file "
            "parted by commas."]),
        ("pins,P,R,,\nA-B,0,3,OL,\n", [
            "line 2 column 4: 'OL' stands under no heading; a decimal comma needs quotes in a file "
            "parted by commas."]),
        # lists
        ("position,pin,pin,reading\nP,A,B,0,3\n", [
            "line 2 column 5: '3' stands under no heading; a decimal comma needs quotes in a file "
            "parted by commas."]),
        ("position,pin,pin,reading,unit\nP,A,B,0,3\n", [
            "line 2 column 4: '0' has the unit '3', no unit of resistance; type ohm, kohm or "
            "Mohm."]),
        ("position,pin,pin,result\nP,A,B,0.3\n", [
            "line 1 column 1: begins a list without a column headed 'reading'; add it.",
            f"line 1 column 4: 'result' is no heading; headings are {HEADINGS}."]),
        ("pin,pin,reading\nA,B,0.3\n", [
            "line 1 column 1: begins a list without a column headed 'position'; add it."]),
        ("position,pin,reading\nP,A,0.3\n", [
            "line 1 column 1: needs two columns headed 'pin', or one headed 'pins'."]),
        ("position,pins,pin,reading\nP,A-B,C,0.3\n", [
            "line 1 column 1: needs two columns headed 'pin', or one headed 'pins'."]),
        ("position,pins,reading,ohms\nP,A-B,0.3,5\n", [
            "line 1 column 4: is a second column headed 'reading'; keep one."]),
        ("position,pins,reading,unit,units\nP,A-B,0.3,ohm,\n", [
            "line 1 column 5: is a second column headed 'unit'; keep one."]),
        ("position,pin,pin,reading\n,A,B,0.3\nP,A,,0.3\nP,A,A,1\nS,A,D,1\n", [
            "line 2 column 1: names no position; known are P, R, N.",
            f"line 3 column 3: names no pin; {PINS}.",
            "line 4 column 3: names pin A again; a pair is two pins.",
            "line 5 column 1: 'S' is no position of this family; known are P, R, N.",
            f"line 5 column 3: 'D' is no pin of this family; {PINS}."]),
        ("position,pins,reading\nP,A-B,0.3\nP,B-A,0.3\n", [
            "line 3 column 3: reads B-A in P again, as line 2 column 3 does; keep one, or give "
            "each its time."]),
        ("position,pins,reading,time\nP,A-B,0.3,8\nP,A-B,0.3,8\n", [
            "line 3 column 3: reads A-B in P again, as line 2 column 3 does; keep one, or give "
            "each its time."]),
        ("position,pins,reading,unit\nP,A-B,1.2k,kohm\n", [
            "line 2 column 3: '1.2k' has a unit, and the unit column says 'kohm' too; give it "
            "once."]),
        ("position,pins,reading,unit\nP,A-B,41,Mohm\nP,B-C,> 41,Mohm\n", [
            "line 2 column 3: '41 Mohm' is more than ordinary handheld can read; type OL for "
            "over-range, or name the meter that read it.",
            "line 3 column 3: '> 41 Mohm' is more than ordinary handheld can read; type OL for "
            "over-range, or name the meter that read it."]),
        ("position,pins,reading,lean\nP,A-B,0.3,N\nR,A-B,0.3,R\nN,A-B,1,D\n", [
            "line 2 column 4: names N, which is not next to P; name the neighbour.",
            "line 3 column 4: names R, which is not next to R; name the neighbour.",
            "line 4 column 4: 'D' is no position of this family; known are P, R, N."]),
        ('position,pins,reading,note\nP,A-B,0.3,"loose\nP,B-C,OL,\nR,B-C,OL,\n', [
            "line 2: has a quote without its partner; quote whole cells, and double quotes in "
            "them."]),
    ],
    ids=lambda case: repr(case)[:50],
)  # fmt: skip
def test_a_mistake_is_told_in_one_sentence_with_its_cell(text: str, told: list[str]) -> None:
    assert sentences(text) == [f"r.csv{t if t[0] == ':' else f', {t}'}" for t in told]


def test_a_dial_s_mark_beside_a_unit_is_refused() -> None:
    assert sentences("position,pins,reading,unit\nP,A-B,1,ohm\n", DIAL) == [
        "r.csv, line 2 column 3: '1' with a unit could be a number or this meter's mark for open; "
        "type open, or '1 ohm' and no unit beside it."
    ]


def test_what_the_meter_reads_at_most_is_still_a_reading() -> None:
    assert read("pins,P,R\nA-B,40M,> 40M\n")[0].value == Measured(40e6, 1e6)


def test_a_pair_that_became_a_date_is_told() -> None:
    rows: list[Row] = [["pins", "P"], [datetime.datetime(2026, 1, 2), 0.2]]
    assert sentences(workbook(rows)) == [
        "r.csv, cell A2: '2026-01-02 00:00:00' is a date that a spreadsheet made of two pins; "
        "format the column as text and type it again, such as '1 to 2'."
    ]


def test_a_sheet_full_of_mistakes_is_cut_and_counted() -> None:
    told = sentences("position,pin,pin,reading\n" + "X,Y,Z,?\n" * 1000)
    assert len(told) == 21
    assert told[-1] == "r.csv: and many more problems like these."
