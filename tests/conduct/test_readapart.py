"""A large file is read in a process of its own, with the same result or the same sentences."""

import io
import operator
import zipfile
from collections.abc import Callable
from typing import Any

import pytest

from benchproof.conduct import readapart
from benchproof.conduct.chartfile import text_of
from benchproof.conduct.readapart import SMALL, read_apart
from benchproof.family.limits import READING_MEMORY
from benchproof.family.problems import BadFile
from benchproof.network.files import read_family
from benchproof.reading.sheet import read_readings
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_meter
from hostile_files import CHARTS, workbook

PADDING = b"#" + b" " * SMALL + b"\n"
FAMILY = shipped_bytes("families", "valley-coded-7")
HERE = "benchproof.record.ownprocess.apart"


def _nowhere(*_: object) -> bytes:
    raise AssertionError("a process was started")


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that holds, for each process, how many bytes it was given."""
    from benchproof.record.ownprocess import apart

    seen: list[int] = []

    def counted(program: list[str], content: bytes, seconds: float) -> bytes:
        seen.append(len(content))
        return apart(program, content, seconds)

    monkeypatch.setattr(HERE, counted)
    return seen


def test_a_small_file_is_read_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(HERE, _nowhere)
    family = read_family(FAMILY, "a.toml")
    assert read_apart(read_family, FAMILY, "a.toml") == family
    row = "<row>" + '<c t="inlineStr"><is><t>P</t></is></c>' * 2 + "</row>"
    assert text_of(workbook(row * 2), "a.xlsx") == "P\tP\n" * 2


def test_a_large_file_reads_to_the_same(started: list[int]) -> None:
    family, meter = read_family(FAMILY, "a.toml"), shipped_meter()
    assert read_apart(read_family, PADDING + FAMILY, "a.toml") == family
    sheet = b"pins,P,R\nA-E,0.2,OL\n"
    readings = read_readings(sheet, "a.csv", family, meter)
    found = read_apart(read_readings, sheet + PADDING, "a.csv", family, meter)
    assert found == readings
    assert len(started) == 2


def test_a_workbook_that_unpacks_to_much_is_read_apart(started: list[int]) -> None:
    row = '<row><c t="inlineStr"><is><t>P</t></is></c></row>'
    book = workbook(row * 8_000)
    assert len(book) < SMALL
    assert text_of(book, "a.xlsx") == "P\n" * 8_000
    assert len(started) == 1


@pytest.mark.parametrize("name", ["as-large-as-may-be.toml", "empty-cells.csv", "styles.xlsx"])
def test_what_is_wrong_is_said_in_the_same_words(name: str, started: list[int]) -> None:
    def said(read: Callable[[], Any]) -> tuple[str, object]:
        with pytest.raises(BadFile) as caught:
            read()
        return caught.value.file, caught.value.problems

    content = CHARTS[name]()
    apart = said(lambda: read_apart(read_family, content, name))
    assert apart == said(lambda: read_family(content, name))
    assert len(started) == 1


def test_more_bytes_than_a_file_has_start_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(HERE, _nowhere)
    with pytest.raises(BadFile, match="is larger than 5 MB"):
        read_apart(read_family, bytes(5_000_001), "a.csv")


def test_what_fills_the_memory_gets_a_sentence() -> None:
    """The product of the two would be ten times what the process may take."""
    times: Any = 10 * READING_MEMORY.most // SMALL
    with pytest.raises(BadFile, match="takes more than 200 MB of memory"):
        read_apart(operator.mul, bytes(SMALL + 1), times)


def test_what_only_begins_as_a_workbook_is_left_to_the_reader() -> None:
    for content in (b"PK\x03\x04", b"PK\x03\x04" + b"x" * 100):
        assert readapart._is_small(content)
        with pytest.raises(BadFile, match="is no workbook that can be read"):
            read_apart(read_family, content, "a.xlsx")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("a", bytes(1_000_000))
    assert not readapart._is_small(packed.getvalue())
