"""Readings from a table, in either of two layouts, and back.

*Grid*: the chart's own layout, first row `pins, P, R, N, ...`, with readings for expectations.
*List*: one row a reading, under the headings `position, pin, pin, reading, unit, time, note, lean`,
the last naming the neighbouring position toward which the lever was held off its detent; a part
without a lever has neither position nor lean.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from benchproof.family.branches import CASE
from benchproof.family.chartsheet import LAST_COLUMNS, NO_POSITION
from benchproof.family.model import AT_REST, Family, Pair, cell_text, pair_text, same_pair
from benchproof.family.names import match_name, match_pair
from benchproof.family.problems import Problems
from benchproof.family.safetext import csv_text
from benchproof.family.sentence import quoted
from benchproof.family.sheet import Sheet, TableCell, read_sheet
from benchproof.reading.meter import Meter, why_unreadable
from benchproof.reading.value import (
    UNTOLD,
    Conditions,
    Measured,
    Reading,
    format_value,
    parse_value,
)

HEADINGS = ("position", "pin", "pin", "reading", "unit", "time", "note", "lean")
AGAIN = " again"
"""What ends the heading of a grid's row of second readings."""
_ALIASES = {
    "lever": "position",
    "value": "reading",
    "ohm": "reading",
    "ohms": "reading",
    "resistance": "reading",
    "units": "unit",
    "pair": "pins",
    "notes": "note",
}


def read_readings(
    data: bytes, file: str, family: Family, meter: Meter, under: Conditions = UNTOLD
) -> tuple[Reading, ...]:
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
    under : Conditions
        What the part was under at every one of them.

    Returns
    -------
    tuple of Reading
        In file order, under the family's own spelling of positions and pins; empty cells are
        left out. A list may hold a cell again at another time; either in a row of its own, headed
        "A-B again".

    Raises
    ------
    BadFile
        With every cell that cannot be understood.
    """
    sheet = read_sheet(data, file)
    problems = Problems(file)
    reader = _Reader(family, meter, problems)
    listed = _is_list(sheet) or not family.lever
    readings = reader.listed(sheet) if listed else reader.grid(sheet)
    problems.raise_if_any()
    if not readings:
        problems.stop("", "holds no reading; fill in the cells that were measured.")
    return tuple(replace(reading, conditions=under) for reading in readings)


def write_readings(readings: Iterable[Reading]) -> str:
    """Return readings as CSV text in the list layout, which `read_readings` reads back.

    Blanks around a note are dropped, and its line ends become single ones.
    """
    told_of = list(readings)
    # What a lever did is told where there is one.
    still = bool(told_of) and all(one.position == AT_REST for one in told_of)
    first, last = (1, -1) if still else (0, None)
    rows: list[Sequence[str]] = [HEADINGS[first:last]]
    for r in told_of:
        # With its unit a number is never taken for one of a meter's marks.
        unit = " ohm" if isinstance(r.value, Measured) else ""
        told = [re.sub("\r\n?", "\n", text) for text in (r.time, r.note)]
        row = [r.position, *r.pair, f"{format_value(r.value)}{unit}", "", *told, r.lean]
        rows.append(row[first:last])
    return csv_text(rows)


def _heading(cell: TableCell) -> str:
    words = cell.text.casefold().split()
    # "pin 1", "pin a", "from pin" are all pin columns.
    word = "pin" if "pin" in words else " ".join(words)
    return _ALIASES.get(word, word)


def _again(cell: TableCell) -> tuple[TableCell, bool]:
    """Return a row's heading without the word that makes it one of second readings."""
    if cell.text.casefold().endswith(AGAIN):
        return replace(cell, text=cell.text[: -len(AGAIN)].rstrip()), True
    return cell, False


def _is_list(sheet: Sheet) -> bool:
    # A grid's first heading may be one of these, the others are positions.
    headings = {_heading(cell) for cell in sheet.rows[0]}
    return len(headings & {"position", "pin", "pins", "reading"}) > 1


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
        places: dict[tuple[frozenset[str], bool], str] = {}
        for line in lines:
            label, again = _again(line[0])
            pair = self._pair(label)
            if pair is None:
                continue
            if (same_pair(pair), again) in places:
                before = places[same_pair(pair), again]
                self.problems.add(
                    line[0].place,
                    f"reads {pair_text(pair)} again, as {before} does; keep one row, or head the "
                    f"row of second readings '{pair_text(pair)}{AGAIN}'.",
                )
                continue
            places[same_pair(pair), again] = line[0].place
            for number, cell in enumerate(line[1:], 1):
                if number in columns:
                    readings += self._reading(columns[number], pair, cell)
                else:
                    self._check_headed(cell, number, header)
        return readings

    def _check_headed(self, cell: TableCell, number: int, header: tuple[TableCell, ...]) -> None:
        """Note a cell that stands under no heading, as half of an unquoted number does."""
        if cell.text and (number >= len(header) or not header[number].text):
            self.problems.add(
                cell.place,
                f"{quoted(cell.text)} stands under no heading; "
                "a decimal comma needs quotes in a file parted by commas.",
            )

    def _position_columns(self, header: tuple[TableCell, ...]) -> dict[int, str]:
        columns: dict[int, str] = {}
        for number, cell in enumerate(header[1:], 1):
            if not cell.text or cell.text.casefold() in LAST_COLUMNS:
                continue
            position = self._name(cell, self.family.positions, "position")
            if not position:
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

    @property
    def headings(self) -> tuple[str, ...]:
        """The headings of a list: no position and no lean without a lever."""
        return HEADINGS if self.family.lever else HEADINGS[1:-1]

    def _heading(self, cell: TableCell) -> str:
        """Return what a column is; a part without a lever may have readings in its chart's."""
        heading = _heading(cell)
        if not self.family.lever and heading in NO_POSITION:
            return "reading"
        # What a pair does in the vehicle is no matter of its readings.
        return "" if not self.family.lever and heading == "role" else heading

    def listed(self, sheet: Sheet) -> list[Reading]:
        """Return the readings of a list."""
        header, *lines = sheet.rows
        columns: dict[str, list[int]] = {}
        for number, cell in enumerate(header):
            heading = self._heading(cell)
            columns.setdefault(heading, []).append(number)
            if cell.text and heading not in {*self.headings, "pins"}:
                self.problems.add(
                    cell.place,
                    f"{quoted(cell.text)} is no heading; headings are {', '.join(self.headings)}.",
                )
        for heading in ("position", "reading") if self.family.lever else ("reading",):
            if heading not in columns:
                self.problems.add(
                    header[0].place, f"begins a list without a column headed '{heading}'; add it."
                )
        pins = len(columns.get("pin", [])), len(columns.get("pins", []))
        if pins not in ((2, 0), (0, 1)):
            self.problems.add(
                header[0].place, "needs two columns headed 'pin', or one headed 'pins'."
            )
        for heading, numbers in columns.items():
            if len(numbers) > 1 and heading not in ("", "pin", "pins"):
                place = header[numbers[1]].place
                self.problems.add(place, f"is a second column headed '{heading}'; keep one.")
        self.problems.raise_if_any()
        readings: list[Reading] = []
        places: dict[tuple[object, ...], str] = {}
        for line in lines:
            for number, cell in enumerate(line):
                self._check_headed(cell, number, header)
            again = any(_again(line[n])[1] for n in columns.get("pins", ()) if n < len(line))
            for reading in self._listed_row(line, columns):
                pair, at = same_pair(reading.pair), (reading.position, reading.lean)
                key = pair, at, reading.time, again
                if key in places:
                    self.problems.add(
                        reading.place,
                        f"reads {cell_text(reading.pair, reading.position)} again, as "
                        f"{places[key]} does; keep one, or give each its time.",
                    )
                places.setdefault(key, reading.place)
                readings.append(reading)
        return readings

    def _listed_row(
        self, line: tuple[TableCell, ...], columns: Mapping[str, list[int]]
    ) -> list[Reading]:
        def cell(heading: str, which: int = 0) -> TableCell:
            numbers = columns.get(heading, [])
            if which < len(numbers) and numbers[which] < len(line):
                return line[numbers[which]]
            return TableCell("", line[0].place)

        position = AT_REST
        if self.family.lever:
            position = self._name(cell("position"), self.family.positions, "position")
        if "pins" in columns:
            pair = self._pair(_again(cell("pins"))[0])
        else:
            pair = self._pair_of_cells(cell("pin"), cell("pin", 1))
        if not position or pair is None:
            return []
        if not cell("reading").text:
            # A row kept for a cell not yet measured.
            return []
        read = self._reading(position, pair, cell("reading"), cell("unit").text)
        lean = self._lean(position, cell("lean"))
        return [replace(r, time=cell("time").text, note=cell("note").text, lean=lean) for r in read]

    def _lean(self, position: str, cell: TableCell) -> str:
        """Return the neighbour that a cell names; empty if none or, once noted, not one."""
        if not cell.text:
            return ""
        toward = self._name(cell, self.family.positions, "position")
        at = self.family.positions.index(position)
        if toward and abs(self.family.positions.index(toward) - at) != 1:
            self.problems.add(
                cell.place, f"names {toward}, which is not next to {position}; name the neighbour."
            )
            return ""
        return toward

    def _name(self, cell: TableCell, known: Sequence[str], what: str) -> str:
        """Return the known name in a cell; empty if, once noted, it is none."""
        try:
            return match_name(cell.text, known, what)
        except ValueError as error:
            self.problems.add(cell.place, f"{error}")
            return ""

    def _pair(self, cell: TableCell) -> Pair | None:
        try:
            return match_pair(cell.text, self.family.pin_names)
        except ValueError as error:
            self.problems.add(cell.place, f"{error}")
            return None

    def _pair_of_cells(self, first: TableCell, second: TableCell) -> Pair | None:
        known = [*self.family.pin_names, CASE]
        pair = self._name(first, known, "pin"), self._name(second, known, "pin")
        if pair[0] and pair[0] == pair[1]:
            self.problems.add(second.place, f"names pin {pair[0]} again; a pair is two pins.")
        return pair if pair[0] and pair[1] and pair[0] != pair[1] else None

    def _reading(self, position: str, pair: Pair, cell: TableCell, unit: str = "") -> list[Reading]:
        """Return the cell's reading; none if it is empty or, once noted, not understood."""
        if not cell.text:
            return []
        try:
            value = parse_value(cell.text, unit, self.meter.marks)
        except ValueError as error:
            self.problems.add(cell.place, f"{quoted(cell.text)} {error}")
            return []
        if why := why_unreadable(value, self.meter):
            self.problems.add(cell.place, f"{quoted(f'{cell.text} {unit}')} {why}.")
            return []
        return [Reading(position, pair, value, place=cell.place)]
