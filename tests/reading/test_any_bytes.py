"""No bytes make anything of the readers of meters and readings but a BadFile."""

import io
import zipfile
from collections.abc import Callable

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet

from benchproof.family.problems import BadFile
from benchproof.network.files import read_family
from benchproof.reading.meter import Meter
from benchproof.reading.meterfile import read_meter
from benchproof.reading.sheet import read_readings, write_readings
from benchproof.reading.value import Reading
from benchproof.shipped.contents import shipped, shipped_bytes

Spoil = Callable[[bytes], st.SearchStrategy[bytes]]

METERS = {f"{name}.toml": shipped_bytes("meters", name) for name in shipped("meters")}
DIAL = read_meter(METERS["workshop-dial.toml"], "workshop-dial.toml")
FAMILY = read_family(b"pins,P,R,3\nA-B,any,any,any\nB-C,any,any,any\n", "chart.csv")
GRID = 'pins,P,R,3\nA-B,0.2,OL,"0,3"\nb to case,1,> 20M,0\n# remark\nC/A,1k2,,inf\n'
LIST = (
    "position,pin,pin,reading,unit,time,note,lean\n"
    'P,A,B,0.2,ohm,08:15,"said ""loose"",\ntwice",R\n'
    "3,case,A,OL,,,,\nR,b,C,3.31,kohm,08:16,,\n"
)
SHEETS = [GRID, GRID.replace(",", ";").replace("0;3", "0,3"), LIST, LIST.replace(",", "\t")]


def packed(members: dict[str, bytes]) -> bytes:
    """Return an archive that is the same every time, its members as they are."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return data.getvalue()


def workbook_members() -> dict[str, bytes]:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in (["pins", "P", "R", 3], ["A-B", 0.2, "OL", 0.3], ["B-case", 1, "> 20M", 1200.5]):
        sheet.append(row)
    data = io.BytesIO()
    book.save(data)
    with zipfile.ZipFile(data) as archive:
        # The properties hold the time of day.
        return {name: archive.read(name) for name in archive.namelist() if "docProps" not in name}


MEMBERS = workbook_members()
WORKBOOK = packed(MEMBERS)


def check_refusal(error: BadFile) -> None:
    assert 1 <= len(error.problems) <= 21
    for problem in error.problems:
        assert problem.sentence.isprintable()
        assert problem.sentence.endswith((".", "?"))
        assert len(problem.sentence) < 2500


def meter_or_refuse(data: bytes) -> Meter | None:
    try:
        return read_meter(data, "meter.toml")
    except BadFile as error:
        refusal = error
    check_refusal(refusal)
    return None


def readings_or_refuse(data: bytes, file: str = "readings.csv") -> tuple[Reading, ...]:
    try:
        return read_readings(data, file, FAMILY, DIAL)
    except BadFile as error:
        refusal = error
    check_refusal(refusal)
    return ()


@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    assert meter_or_refuse(data) is None
    assert readings_or_refuse(data) == ()


@given(st.text(max_size=300))
def test_any_text(text: str) -> None:
    assert meter_or_refuse(text.encode(errors="replace")) is None
    assert readings_or_refuse(text.encode(errors="replace")) == ()


@pytest.mark.parametrize("name", sorted(METERS))
@given(data=st.data())
def test_a_spoilt_meter_file(name: str, spoil: Spoil, data: st.DataObject) -> None:
    meter = meter_or_refuse(data.draw(spoil(METERS[name])))
    assert meter is None or 0.0 < meter.ranges[0].step_ohm < meter.top_ohm <= 1e13


@pytest.mark.parametrize("sheet", SHEETS, ids=["grid", "grid;", "list", "list-tab"])
@given(data=st.data())
def test_a_spoilt_sheet_is_refused_or_comes_back(
    sheet: str, spoil: Spoil, data: st.DataObject
) -> None:
    read = readings_or_refuse(data.draw(spoil(sheet.encode())))
    if read and not any("\r" in reading.time + reading.note for reading in read):
        assert readings_or_refuse(write_readings(read).encode()) == read


@given(data=st.data())
def test_a_spoilt_workbook(spoil: Spoil, data: st.DataObject) -> None:
    content = data.draw(spoil(WORKBOOK))
    assert len(readings_or_refuse(content, "readings.xlsx")) <= 12


@given(data=st.data(), name=st.sampled_from(["xl/worksheets/sheet1.xml", *sorted(MEMBERS)]))
def test_a_workbook_with_a_spoilt_member(name: str, spoil: Spoil, data: st.DataObject) -> None:
    content = packed({**MEMBERS, name: data.draw(spoil(MEMBERS[name]))})
    assert len(readings_or_refuse(content, "readings.xlsx")) <= 12


def test_the_files_are_good_before_they_are_spoilt() -> None:
    assert all(meter_or_refuse(content) for content in METERS.values())
    assert [len(readings_or_refuse(sheet.encode())) for sheet in SHEETS] == [8, 8, 3, 3]
    assert len(readings_or_refuse(WORKBOOK, "readings.xlsx")) == 6
