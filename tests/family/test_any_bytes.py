"""No bytes make anything of the family readers but a family or a BadFile."""

import io
import zipfile
from collections.abc import Callable

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet

from benchproof.family.audit.whole import audit
from benchproof.family.model import Family
from benchproof.family.problems import BadFile
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.shipped.contents import shipped, shipped_bytes

Spoil = Callable[[bytes], st.SearchStrategy[bytes]]

FAMILIES = {f"{name}.toml": shipped_bytes("families", name) for name in shipped("families")}
ROWS = [
    ["pins", "P", "R", "N", "D", "role", "note"],
    ["A-E", "closed", "open", "any", "3.3 kohm 3.1..3.5", "range bit", "one, two"],
    ["B to E", "390 ohm ±5%", "< 5 ohm", "> 100 kohm", "1k2", "", ""],
    ["case/A", "open", "OL", "∞", "c", "start permit", "# no remark"],
]
CSV = "\n".join(",".join(f'"{cell}"' if "," in cell else cell for cell in row) for row in ROWS)


def workbook() -> bytes:
    """Return a workbook that is the same every time, its members unpacked."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in ROWS:
        sheet.append(row)
    saved, data = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as old, zipfile.ZipFile(data, "w") as new:
        for name in old.namelist():
            # The properties hold the time of day.
            if "docProps" not in name:
                new.writestr(zipfile.ZipInfo(name), old.read(name))
    return data.getvalue()


WORKBOOK = workbook()


def read_or_refuse(data: bytes, file: str) -> Family | None:
    """Return the family, or None after a refusal in sentences fit to be shown."""
    try:
        return read_family(data, file)
    except BadFile as error:
        problems = error.problems
    assert 1 <= len(problems) <= 21
    for problem in problems:
        assert problem.sentence.isprintable()
        assert problem.sentence.endswith((".", "?"))
        assert len(problem.sentence) < 2500
    return None


NAMES = st.sampled_from(["f.toml", "f.csv", "f.xlsx", "f"])


@given(st.binary(max_size=300), NAMES)
def test_any_bytes(data: bytes, file: str) -> None:
    family = read_or_refuse(data, file)
    assert family is None or family.chart


@given(st.text(max_size=300), NAMES)
def test_any_text(text: str, file: str) -> None:
    family = read_or_refuse(text.encode(errors="replace"), file)
    assert family is None or family.chart


@pytest.mark.parametrize("name", sorted(FAMILIES))
@given(data=st.data())
def test_a_spoilt_family_file(name: str, spoil: Spoil, data: st.DataObject) -> None:
    family = read_or_refuse(data.draw(spoil(FAMILIES[name])), name)
    if family:
        # What is read can be worked with.
        assert all(finding.sentence.isprintable() for finding in audit(completed(family)))


@given(data=st.data())
def test_a_spoilt_chart(spoil: Spoil, data: st.DataObject) -> None:
    family = read_or_refuse(data.draw(spoil(CSV.encode())), "chart.csv")
    if family:
        assert all(finding.sentence.isprintable() for finding in audit(family))


@given(data=st.data())
def test_a_spoilt_workbook(spoil: Spoil, data: st.DataObject) -> None:
    family = read_or_refuse(data.draw(spoil(WORKBOOK)), "chart.xlsx")
    assert family is None or len(family.chart) <= len(ROWS)


def test_the_files_are_good_before_they_are_spoilt() -> None:
    for name, content in FAMILIES.items():
        assert read_or_refuse(content, name)
    assert read_or_refuse(CSV.encode(), "chart.csv") == read_or_refuse(WORKBOOK, "chart.xlsx")
