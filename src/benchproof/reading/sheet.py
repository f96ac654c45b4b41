"""Readings from a table, in either of two layouts, and back.

*Grid*: the chart's own layout, first row `pins, P, R, N, ...`, with readings for expectations.
*List*: one row a reading, under the headings `position, pin, pin, reading, unit, time, note`.
"""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from benchproof.family.chartsheet import LAST_COLUMNS
from benchproof.family.model import Family, Pair, pair_text, same_pair
from benchproof.family.names import check_pair, match_name, match_pair
from benchproof.family.problems import Problems, quoted
from benchproof.family.sheet import Cell, Sheet, read_sheet
from benchproof.reading.meter import Meter
from benchproof.reading.value import Measured, Reading, format_value, parse_value

HEADINGS = ("position", "pin", "pin", "reading", "unit", "time", "note")
_ALIASES = {
    "lever": "position",
    "value": "reading",
    "units": "unit",
    "pair": "pins",
    "notes": "note",
}


def read_readings(data: bytes, file: str, family: Family, meter: Meter) -> tuple[Reading, ...]:
    """Read a sheet of readings, as a grid or as a list.

    Parameters
    ----------
    data : bytes
        CSV text or an XLSX workbook.
    file : str
        Its name, for messages.
    family : Family
        The family whose positions and pins the readings name.
    meter : Meter
        What they were read with: what its display means, and how far it reads.

    Returns
    -------
    tuple of Reading
        In file order, under the family's own spelling of positions and pins; empty cells are
        left out. A list may hold a cell again at another time; a grid may not.

    Raises
    ------
    BadFile
        With every cell that cannot be understood.
    """
    sheet = read_sheet(data, file)
    problems = Problems(file)
    reader = _Reader(family, meter, problems)
    readings = reader.listed(sheet) if _is_list(sheet) else reader.grid(sheet)
    problems.raise_if_any()
    if not readings:
        problems.stop("", "holds no reading; fill in the cells that were measured.")
    return tuple(readings)


def write_readings(readings: Iterable[Reading]) -> str:
    """Return readings as CSV text in the list layout, which `read_readings` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADINGS)
    for r in readings:
        writer.writerow([r.position, *r.pair, format_value(r.value), "", r.time, r.note])
    return out.getvalue()


def _heading(cell: Cell) -> str:
    words = cell.text.casefold().split()
    # "pin 1", "pin a", "from pin" are all pin columns.
    word = "pin" if "pin" in words else " ".join(words)
    return _ALIASES.get(word, word)


def _is_list(sheet: Sheet) -> bool:
    headings = {_heading(cell) for cell in sheet.rows[0]}
    return {"position", "reading"} <= headings


@dataclass
class _Reader:
    family: Family
    meter: Meter
    problems: Problems

    def grid(self, sheet: Sheet) -> list[Reading]:
        """Return the readings of a grid."""
        header, *lines = sheet.rows
        columns = self._position_columns(header)
        readings: list[Reading] = []
        places: dict[frozenset[str], str] = {}
        for line in lines:
            pair = self._pair(line[0], line[0].text)
            if pair is None:
                continue
            if same_pair(pair) in places:
                before = places[same_pair(pair)]
                self.problems.add(
                    line[0].place,
                    f"reads {pair_text(pair)} again, as {before} does; keep one row.",
                )
                continue
            places[same_pair(pair)] = line[0].place
            for number, cell in enumerate(line[1:], 1):
                if number in columns:
                    readings += self._reading(columns[number], pair, cell)
                elif cell.text and number >= len(header):
                    self.problems.add(
                        cell.place,
                        f"{quoted(cell.text)} stands right of the last position; "
                        "a decimal comma needs quotes in a file parted by commas.",
                    )
        return readings

    def _position_columns(self, header: tuple[Cell, ...]) -> dict[int, str]:
        columns: dict[int, str] = {}
        for number, cell in enumerate(header[1:], 1):
            if not cell.text or cell.text.casefold() in LAST_COLUMNS:
                continue
            try:
                position = match_name(cell.text, self.family.positions, "position")
            except ValueError as error:
                self.problems.add(cell.place, f"{error}")
                continue
            if position in columns.values():
                self.problems.add(cell.place, f"is a second column for {position}; keep one.")
            columns[number] = position
        if not columns and not self.problems:
            self.problems.add(
                header[0].place,
                f"starts no readings; type 'pins, {', '.join(self.family.positions)}' in the first "
                f"row, or '{', '.join(HEADINGS)}'.",
            )
        return columns

    def listed(self, sheet: Sheet) -> list[Reading]:
        """Return the readings of a list."""
        header, *lines = sheet.rows
        columns: dict[str, list[int]] = {}
        for number, cell in enumerate(header):
            columns.setdefault(_heading(cell), []).append(number)
            if cell.text and _heading(cell) not in {*HEADINGS, "pins"}:
                self.problems.add(
                    cell.place,
                    f"{quoted(cell.text)} is no heading; headings are {', '.join(HEADINGS)}.",
                )
        if len(columns.get("pin", [])) != 2 and len(columns.get("pins", [])) != 1:
            self.problems.add(
                header[0].place, "needs two columns headed 'pin', or one headed 'pins'."
            )
        self.problems.raise_if_any()
        readings: list[Reading] = []
        places: dict[tuple[str, frozenset[str], str], str] = {}
        for line in lines:
            for reading in self._listed_row(line, columns):
                key = reading.position, same_pair(reading.pair), reading.time
                if key in places:
                    self.problems.add(
                        reading.place,
                        f"reads {pair_text(reading.pair)} in {reading.position} again, as "
                        f"{places[key]} does; keep one, or give each its time.",
                    )
                places.setdefault(key, reading.place)
                readings.append(reading)
        return readings

    def _listed_row(
        self, line: tuple[Cell, ...], columns: Mapping[str, list[int]]
    ) -> list[Reading]:
        def cell(heading: str, which: int = 0) -> Cell:
            numbers = columns.get(heading, [])
            if which < len(numbers) and numbers[which] < len(line):
                return line[numbers[which]]
            return Cell("", line[0].place)

        before = len(self.problems)
        position = ""
        try:
            position = match_name(cell("position").text, self.family.positions, "position")
        except ValueError as error:
            self.problems.add(cell("position").place, f"{error}")
        if "pins" in columns:
            pair = self._pair(cell("pins"), cell("pins").text)
        else:
            pair = self._pair(cell("pin"), cell("pin").text, cell("pin", 1).text)
        if pair is None or len(self.problems) > before:
            return []
        if not cell("reading").text:
            # A row kept for a cell not yet measured.
            return []
        read = self._reading(position, pair, cell("reading"), cell("unit").text)
        return [replace(r, time=cell("time").text, note=cell("note").text) for r in read]

    def _pair(self, cell: Cell, first: str, second: str | None = None) -> Pair | None:
        try:
            if second is None:
                return match_pair(first, self.family.pin_names)
            return check_pair(first, second, self.family.pin_names)
        except ValueError as error:
            self.problems.add(cell.place, f"{error}".rstrip(".") + ".")
            return None

    def _reading(self, position: str, pair: Pair, cell: Cell, unit: str = "") -> list[Reading]:
        """Return the cell's reading; none if it is empty or, once noted, not understood."""
        if not cell.text:
            return []
        try:
            value = parse_value(cell.text, unit, self.meter.marks)
        except ValueError as error:
            self.problems.add(cell.place, f"{quoted(cell.text)} {error}.")
            return []
        if isinstance(value, Measured) and value.ohm > self.meter.top_ohm:
            self.problems.add(
                cell.place,
                f"{quoted(cell.text)} is more than {self.meter.name} can read; "
                "type OL for over-range, or name the meter that read it.",
            )
            return []
        return [Reading(position, pair, value, place=cell.place)]
