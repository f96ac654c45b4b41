"""CSV and spreadsheet bytes as rows of text, each cell knowing its place."""

import csv
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice

from benchproof.family.problems import BadFile, Problem, Problems

MOST_ROWS = 20_000
MOST_COLUMNS = 200
MOST_UNPACKED_BYTES = 60_000_000


@dataclass(frozen=True)
class Cell:
    """The text of one cell, stripped, and its place as a person would find it."""

    text: str
    place: str


@dataclass(frozen=True)
class Sheet:
    """The rows of a table that hold anything, without comment rows (first cell begins with #)."""

    file: str
    rows: tuple[tuple[Cell, ...], ...]


def read_sheet(data: bytes, file: str) -> Sheet:
    """Read a table from CSV text (comma, semicolon or tab) or an XLSX workbook's first sheet.

    Parameters
    ----------
    data : bytes
        The file's content; a workbook is told from text by its first bytes.
    file : str
        The file's name, for messages.

    Raises
    ------
    BadFile
        If it is neither, is empty, or is larger than any chart or sheet of readings.
    """
    rows = _workbook_rows(data, file) if data[:4] == b"PK\x03\x04" else _text_rows(data, file)
    kept: list[tuple[Cell, ...]] = []
    for row in rows:
        if any(cell.text for cell in row) and not row[0].text.startswith("#"):
            kept.append(row)
            if len(kept) > MOST_ROWS:
                raise BadFile(file, [Problem("", f"has more than {MOST_ROWS} rows.")])
    if not kept:
        raise BadFile(file, [Problem("", "is empty; a table needs a first row and rows below it.")])
    return Sheet(file, tuple(kept))


def decode_text(data: bytes, file: str) -> str:
    """Return the text of a UTF-8 file.

    Raises
    ------
    BadFile
        If the bytes are no UTF-8 text; the line is named.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        sentence = "is not UTF-8 text; save it again as UTF-8 (in a spreadsheet: 'CSV UTF-8')."
        raise BadFile(file, [Problem(f"line {line}", sentence)]) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BadFile(
            file, [Problem(f"line {line}", "is not text; bring a TOML, CSV or XLSX file.")]
        )
    return text


def _text_rows(data: bytes, file: str) -> Iterator[tuple[Cell, ...]]:
    text = decode_text(data, file)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))
    line = 1
    try:
        for fields in reader:
            yield tuple(
                Cell(field.strip(), f"line {line} column {number}")
                for number, field in enumerate(fields or [""], 1)
            )
            line = reader.line_num + 1
    except csv.Error as error:
        raise BadFile(file, [Problem(f"line {line}", f"is no CSV row ({error}).")]) from None


def _delimiter(text: str) -> str:
    """Return the mark that the first telling line uses most."""
    lines = (line for line in text.splitlines() if line.strip() and not line.startswith("#"))
    first = next(lines, "")
    return max(",;\t", key=first.count)


def _workbook_rows(data: bytes, file: str) -> Iterator[tuple[Cell, ...]]:
    import openpyxl
    from openpyxl.utils import get_column_letter

    problems = Problems(file)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked > MOST_UNPACKED_BYTES:
            problems.stop("", "unpacks to more than any chart holds; bring the one sheet as CSV.")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        table = book.worksheets[0]
        # The size a workbook claims for itself is often wrong and may be huge.
        table.reset_dimensions()
        rows = table.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True)
        found = list(islice(rows, MOST_ROWS + 2))
    except BadFile:
        raise
    except Exception:
        problems.stop("", "is a zip file but no readable XLSX workbook; save it again, or as CSV.")
    for number, values in enumerate(found, 1):
        cells = []
        for column, value in enumerate(values, 1):
            place = f"cell {get_column_letter(column)}{number}"
            if isinstance(value, (date, datetime, time)):
                sentence = (
                    "is a date; format the column as text and type it again (pins: '1 to 2')."
                )
                problems.add(place, sentence)
            cells.append(Cell(_text_of(value), place))
        while cells and not cells[-1].text:
            cells.pop()
        if len(cells) > MOST_COLUMNS:
            problems.stop(f"row {number}", f"has more than {MOST_COLUMNS} columns.")
        yield tuple(cells) or (Cell("", f"cell A{number}"),)
    problems.raise_if_any()


def _text_of(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()
