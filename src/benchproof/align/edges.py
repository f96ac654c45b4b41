"""The edges that were found by turning the body: read from a table.

One row an approach, under the headings `position, pins, scale, turned, became, toward`; `pins` may
be two columns headed `pin`, `toward` may be left out, and so may columns `time` and `note`.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from benchproof.align.window import CellWindow, Window
from benchproof.family.model import Family, Pair, pair_text, same_pair
from benchproof.family.names import match_name, match_pair
from benchproof.family.ohms import NUMBER
from benchproof.family.problems import Problems
from benchproof.family.sentence import quoted
from benchproof.family.sheet import Sheet, TableCell, read_sheet

HEADINGS = ("position", "pins", "scale", "turned", "became", "toward")
_NEEDED = HEADINGS[:-1]
_KNOWN = {*HEADINGS, "pin", "time", "note", ""}
_ALIASES = {
    "lever": "position",
    "pair": "pins",
    "reading": "scale",
    "direction": "turned",
    "change": "became",
    "notes": "note",
}
_TURNED = {"up": True, "rising": True, "down": False, "falling": False}
_BECAME = {"closed": True, "c": True, "open": False, "opened": False, "o": False}
MOST_ON_SCALE = 1e9
"""No scale that a person reads goes further; it is a typing mistake."""


@dataclass(frozen=True)
class Approach:
    """An edge found once, the lever in a detent and the body turned.

    Attributes
    ----------
    position : str
        The detent.
    pair : tuple of str
        The pair that was watched, as the chart has it.
    scale : float
        What the scale read when the pair changed, in its own unit.
    rising : bool
        Whether the scale was rising as the body was turned.
    closed : bool
        Whether the pair became closed; else it became open.
    toward : str
        The neighbouring position toward which the lever, leaned at this edge, closed the pair
        again; empty if that was not tried.
    place : str
        Where it stands in its file.
    """

    position: str
    pair: Pair
    scale: float
    rising: bool
    closed: bool
    toward: str = ""
    place: str = ""

    @property
    def at_lower(self) -> bool:
        """Whether it is the edge at the lower end of the scale: rising onto it closes the pair."""
        return self.rising == self.closed


def cell_of(window: Window, position: str, pair: Pair) -> CellWindow:
    """Return a cell of the window; the first, if the chart has its pair twice."""
    return next(c for c in window.cells if c.position == position and c.pair == pair)


def shows_edges(window: Window, cell: CellWindow) -> bool:
    """Return whether a cell conducts over a dwell and is open on both sides of it."""
    family = window.family
    column = family.positions.index(cell.position)
    charted = next(row for row in family.chart if row.pair == cell.pair).expect[column]
    opens = min(cell.low_ohm, cell.high_ohm) >= family.limits.open_at_least_ohm
    return charted.conducts and isfinite(cell.low) and isfinite(cell.high) and opens


def rises_with_offset(approach: Approach, family: Family) -> bool | None:
    """Return whether the scale rises as the offset does; None if the approach does not tell.

    A lean toward a later position adds to the offset. Where it closes the pair again the offset
    was too low.
    """
    if not approach.toward:
        return None
    order = family.positions
    offset_low = order.index(approach.toward) > order.index(approach.position)
    return approach.at_lower == offset_low


def read_edges(data: bytes, file: str, window: Window) -> tuple[Approach, ...]:
    """Read the edges that were found.

    Parameters
    ----------
    data : bytes
        CSV text or an XLSX workbook.
    file : str
        Its name, for messages.
    window : Window
        The family's window: which cells have edges that can be found.

    Returns
    -------
    tuple of Approach
        In file order, at least one for either edge of each cell that is named.

    Raises
    ------
    BadFile
        With every cell that cannot be understood, and every dwell without one of its edges.
    """
    sheet = read_sheet(data, file)
    reader = _Reader(window, Problems(file))
    found = reader.approaches(sheet)
    reader.check_together(found)
    reader.problems.raise_if_any()
    if not found:
        reader.problems.stop("", "holds no edge; type one row for each time the pair changed.")
    return tuple(found)


@dataclass
class _Reader:
    window: Window
    problems: Problems

    @property
    def family(self) -> Family:
        """The family."""
        return self.window.family

    def approaches(self, sheet: Sheet) -> list[Approach]:
        """Return the approaches of a table."""
        header, *lines = sheet.rows
        columns = self._columns(header)
        found = []
        for line in lines:
            for number, cell in enumerate(line):
                if cell.text and (number >= len(header) or not header[number].text):
                    self.problems.add(
                        cell.place,
                        f"{quoted(cell.text)} stands under no heading; "
                        "a decimal comma needs quotes in a file parted by commas.",
                    )
            approach = self._approach(line, columns)
            if approach is not None:
                found.append(approach)
        return found

    def _columns(self, header: tuple[TableCell, ...]) -> dict[str, list[int]]:
        columns: dict[str, list[int]] = {}
        for number, cell in enumerate(header):
            heading = _heading(cell)
            if heading not in _KNOWN:
                self.problems.add(
                    cell.place,
                    f"{quoted(cell.text)} is no heading; headings are {', '.join(HEADINGS)}.",
                )
            elif heading in columns and heading not in ("", "pin"):
                self.problems.add(cell.place, f"is a second column headed '{heading}'; keep one.")
            columns.setdefault(heading, []).append(number)
        if len(columns.get("pin", [])) == 2 and "pins" not in columns:
            columns["pins"] = columns["pin"]
        missing = [f"'{heading}'" for heading in _NEEDED if heading not in columns]
        if missing and not self.problems:
            self.problems.add(
                header[0].place,
                f"begins a table without {', '.join(missing)}; its first row is"
                f" '{','.join(HEADINGS)}'.",
            )
        self.problems.raise_if_any()
        return columns

    def _approach(
        self, line: tuple[TableCell, ...], columns: Mapping[str, Sequence[int]]
    ) -> Approach | None:
        def cell(heading: str) -> TableCell:
            numbers = [n for n in columns.get(heading, ()) if n < len(line)]
            if not numbers:
                return TableCell("", line[0].place)
            text = " ".join(line[n].text for n in numbers)
            return TableCell(text.strip(), line[numbers[0]].place)

        if not cell("scale").text:
            # A row kept for an edge not yet found.
            return None
        position = self._name(cell("position"), "position")
        pair = self._pair(cell("pins"))
        scale = self._scale(cell("scale"))
        rising = self._word(cell("turned"), _TURNED, "up or down, as the scale moved")
        closed = self._word(cell("became"), _BECAME, "closed or open")
        toward = self._name(cell("toward"), "position") if cell("toward").text else ""
        if not position or pair is None or scale is None or rising is None or closed is None:
            return None
        if toward:
            order = self.family.positions
            if abs(order.index(toward) - order.index(position)) != 1:
                self.problems.add(
                    cell("toward").place,
                    f"names {toward}, which is not next to {position}; name the neighbour.",
                )
                return None
        return Approach(position, pair, scale, rising, closed, toward, line[0].place)

    def _name(self, cell: TableCell, what: str) -> str:
        try:
            return match_name(cell.text, self.family.positions, what)
        except ValueError as error:
            self.problems.add(cell.place, f"{error}")
            return ""

    def _pair(self, cell: TableCell) -> Pair | None:
        """Return the charted pair in a cell; None if, once noted, it is none."""
        try:
            typed = match_pair(cell.text, self.family.pin_names)
        except ValueError as error:
            self.problems.add(cell.place, f"{error}")
            return None
        charted = [row.pair for row in self.family.chart]
        for pair in charted:
            if same_pair(pair) == same_pair(typed):
                return pair
        self.problems.add(
            cell.place, f"{pair_text(typed)} is not in the chart; watch a pair that is."
        )
        return None

    def _scale(self, cell: TableCell) -> float | None:
        text = cell.text.replace("\N{MINUS SIGN}", "-")
        if not re.fullmatch(NUMBER, text):
            self.problems.add(
                cell.place, f"{quoted(cell.text)} is no reading of a scale; type a number."
            )
            return None
        if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
            self.problems.add(
                cell.place,
                f"{quoted(cell.text)} could be {text.replace(',', '.')} or "
                f"{text.replace(',', '')}; type one of these.",
            )
            return None
        value = float(text.replace(",", "."))
        if abs(value) > MOST_ON_SCALE:
            self.problems.add(
                cell.place, f"{quoted(cell.text)} is further than any scale goes; check the digits."
            )
            return None
        return value

    def _word(self, cell: TableCell, words: Mapping[str, bool], wanted: str) -> bool | None:
        word = cell.text.casefold()
        if word not in words:
            subject = f"{quoted(cell.text)} " if cell.text else ""
            self.problems.add(cell.place, f"{subject}does not tell; type {wanted}.")
            return None
        return words[word]

    def check_together(self, found: Sequence[Approach]) -> None:
        """Note each dwell without one of its edges, crossed edges, and leans that disagree."""
        cells: dict[tuple[str, Pair], list[Approach]] = {}
        for approach in found:
            cells.setdefault((approach.position, approach.pair), []).append(approach)
        for (position, pair), approaches in cells.items():
            place = approaches[0].place
            cell = cell_of(self.window, position, pair)
            name = cell.name
            if not shows_edges(self.window, cell):
                self.problems.add(
                    place,
                    f"begins {name}, which is not a pair that conducts there and opens on both "
                    "sides; watch one that does (benchproof centre without --edges names one).",
                )
                continue
            lower = [a.scale for a in approaches if a.at_lower]
            upper = [a.scale for a in approaches if not a.at_lower]
            if not lower or not upper:
                self.problems.add(
                    place,
                    f"begins {name}, of which one edge only was found; turn back until the pair "
                    "changes on the other side too.",
                )
            elif sum(lower) / len(lower) >= sum(upper) / len(upper):
                self.problems.add(
                    place,
                    f"begins {name}, which by 'turned' and 'became' closes above where it opens; "
                    "rising onto the lower edge closes it. Check both columns.",
                )
        leans = [(a, rises_with_offset(a, self.family)) for a in found if a.toward]
        for approach, rises in leans[1:]:
            if rises != leans[0][1]:
                self.problems.add(
                    approach.place,
                    f"says by 'toward' that the scale turns against what {leans[0][0].place} says; "
                    "lean the lever again at both.",
                )


def _heading(cell: TableCell) -> str:
    words = cell.text.casefold().split()
    word = "pin" if "pin" in words else " ".join(words)
    return _ALIASES.get(word, word)
