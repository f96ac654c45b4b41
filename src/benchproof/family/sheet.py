"""CSV and spreadsheet bytes as rows of text, each cell knowing its place."""

import csv
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from benchproof.family import limits
from benchproof.family.problems import BadFile, Problem, Problems
from benchproof.family.safetext import from_cell
from benchproof.family.workbook import check_workbook

MOST_COLUMNS = limits.SHEET_COLUMNS.most
MOST_TITLE_ROWS = 8
"""So many rows of a title are looked past."""
_HEADINGS = {"pins", "pin", "pair", "pairs", "position"}
_SEPARATOR = re.compile(r'"?sep=([,;\t])"?', re.I)
"""A spreadsheet's own first line, which tells what parts the cells."""
_OLE = bytes.fromhex("d0cf11e0a1b11ae1")
"""How a workbook of the old form begins, and one with a password."""


@dataclass(frozen=True, slots=True)
class TableCell:
    """The text of one cell, stripped, and its place as a person would find it."""

    text: str
    place: str


@dataclass(frozen=True)
class Sheet:
    """The rows of a table that hold anything, without comment rows (first cell begins with #)."""

    file: str
    rows: tuple[tuple[TableCell, ...], ...]


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
    limits.FILE_BYTES.check(len(data), file)
    rows = _workbook_rows(data, file) if is_workbook(data) else _text_rows(data, file)
    kept: list[tuple[TableCell, ...]] = []
    cells = 0
    for row in rows:
        if any(cell.text for cell in row) and not row[0].text.startswith("#"):
            kept.append(row)
            limits.SHEET_ROWS.check(len(kept), file)
            cells += len(row)
            limits.SHEET_CELLS.check(cells, file)
    if not kept:
        what = "has nothing on its first sheet" if is_workbook(data) else "is empty"
        sentence = f"{what}; a table needs a first row and rows below it."
        raise BadFile(file, [Problem("", sentence)])
    return Sheet(file, tuple(_without_title(kept, file)))


def _without_title(rows: list[tuple[TableCell, ...]], file: str) -> list[tuple[TableCell, ...]]:
    """Return rows from the headings on: what stands alone in its row above them is a title.

    Raises
    ------
    BadFile
        If more than a title stands above the headings: that could be readings.
    """
    near = (n for n, row in enumerate(rows[:MOST_TITLE_ROWS]) if row[0].text and _heads(row))
    headings = next(near, 0)
    for row in rows[:headings]:
        if _filled(row) > 1:
            place, below = row[0].place, rows[headings][0].place
            sentence = f"stands above the headings of {below}; delete it, or begin it with #."
            raise BadFile(file, [Problem(place, sentence)])
    if headings:
        return rows[headings:]
    alone = 0
    if any(_filled(row) > 1 for row in rows):
        while alone < MOST_TITLE_ROWS and not _heads(rows[alone]) and _filled(rows[alone]) == 1:
            alone += 1
    return rows[alone:]


def _filled(row: tuple[TableCell, ...]) -> int:
    return sum(bool(cell.text) for cell in row)


def _heads(row: tuple[TableCell, ...]) -> bool:
    """Return whether a row begins as our headings do."""
    return row[0].text.casefold().split(" ")[0] in _HEADINGS


def is_workbook(data: bytes) -> bool:
    """Return whether a file is a spreadsheet program's own, told by its first bytes."""
    return data.startswith((b"PK\x03\x04", _OLE))


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


def _text_rows(data: bytes, file: str) -> Iterator[tuple[TableCell, ...]]:
    text = decode_text(data, file)
    reader = csv.reader(
        _lines(text, file),
        delimiter=_delimiter(text),
        skipinitialspace=True,
        # Else a quote that is never closed would swallow every row after it.
        strict=True,
    )
    line = 1
    try:
        for fields in reader:
            if line == 1 and _SEPARATOR.fullmatch(text.partition("\n")[0].strip("\r ")):
                line = reader.line_num + 1
                continue
            if any(fields[MOST_COLUMNS:]):
                limits.SHEET_COLUMNS.check(len(fields), file, f"line {line}")
            yield tuple(
                TableCell(from_cell(field.strip()), f"line {line} column {number}")
                for number, field in enumerate(fields[:MOST_COLUMNS] or [""], 1)
            )
            line = reader.line_num + 1
    except csv.Error as error:
        sentence = (
            "has a cell far too long; is it the right file?"
            if "limit" in str(error)
            else "has a quote without its partner; quote whole cells, and double quotes in them."
        )
        raise BadFile(file, [Problem(f"line {line}", sentence)]) from None


def _lines(text: str, file: str) -> Iterator[str]:
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        limits.SHEET_LINE.check(len(line), file, f"line {number}")
        yield line


def _delimiter(text: str) -> str:
    """Return the mark that the line of headings uses most, or else the first telling line."""
    if told := _SEPARATOR.fullmatch(text.partition("\n")[0].strip("\r ")):
        return told[1]
    first = ""
    telling = 0
    for line in io.StringIO(text):
        # A spreadsheet puts quotes around a remark that has the mark in it.
        if line.strip() and not line.lstrip('" ').startswith("#"):
            first = first or line
            telling += 1
            if (
                re.split(r"[ ,;\t]", line.lstrip('" ').rstrip().casefold())[0].strip('"')
                in _HEADINGS
            ):
                first = line
                break
            if telling == MOST_TITLE_ROWS:
                break
    return max(",;\t", key=first.count)


def _workbook_rows(data: bytes, file: str) -> Iterator[tuple[TableCell, ...]]:
    from openpyxl.cell.cell import ERROR_CODES
    from openpyxl.utils import get_column_letter

    problems = Problems(file)
    for number, values in _values(data, file):
        cells = [
            TableCell(from_cell(_text_of(value)), f"cell {get_column_letter(column)}{number}")
            for column, value in enumerate(values, 1)
        ]
        for cell in cells:
            # Their # would make a remark of the row.
            if cell.text in ERROR_CODES:
                problems.add(cell.place, f"is {cell.text}; mend the formula, or type the value.")
        yield tuple(cells)
    problems.raise_if_any()


def _values(data: bytes, file: str) -> list[tuple[int, tuple[Any, ...]]]:
    """Return the number of each row of the first sheet that holds anything, with its values."""
    from openpyxl import load_workbook

    problems = Problems(file)
    cells = 0
    most_cells = limits.SHEET_ROWS.most * limits.SHEET_COLUMNS.most
    found: list[tuple[int, tuple[Any, ...]]] = []
    try:
        check_workbook(data, file)
        # What the library does not keep of a workbook is no concern of a table's.
        with warnings.catch_warnings(action="ignore"):
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
            table = book.worksheets[0]
            # The size a workbook claims for itself is often wrong and may be huge.
            table.reset_dimensions()
            for number, values in enumerate(table.iter_rows(values_only=True), 1):
                cells += len(values)
                if number > limits.SHEET_ROWS.most or cells > most_cells:
                    problems.stop("", limits.WORKBOOK_CELLS.told())
                last = max((n for n, value in enumerate(values, 1) if value is not None), default=0)
                limits.SHEET_COLUMNS.check(last, file, f"row {number}")
                if last:
                    found.append((number, values[:last]))
    except BadFile:
        raise
    except Exception:
        sentence = "is no workbook that can be read; save it as XLSX without a password, or as CSV."
        problems.stop("", sentence)
    return found


def _text_of(value: object) -> str:
    match value:
        case None:
            return ""
        case float():
            # As many digits as a spreadsheet shows: 0.1 + 0.2 is 0.3.
            return f"{value:.15g}"
        case _:
            return str(value).strip()
