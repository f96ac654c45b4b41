"""A chart typed as a table: first row `pins, P, R, N, ...`, then one row a pair.

A row `lever, park, reverse, neutral, drive` says what each position is, and one
`start permit, none` that no pair of the chart is one. A part without a lever has one column of
expectations, under the heading `expect`, and neither of these rows.
"""

from dataclasses import dataclass

from benchproof.family.branches import CASE
from benchproof.family.expectation import ANY, Expectation, parse_expectation
from benchproof.family.model import (
    AT_REST,
    EXPECT,
    NO_ROLE,
    ChartRow,
    Family,
    Pair,
    Pin,
    Role,
    usual_positions,
)
from benchproof.family.names import (
    MOST_PAIRS,
    MOST_PINS,
    MOST_POSITIONS,
    check_pin_name,
    check_position,
    named,
    parse_role,
    split_pair,
)
from benchproof.family.problems import Problems
from benchproof.family.sentence import quoted
from benchproof.family.sheet import Sheet, TableCell

LAST_COLUMNS = {"role", "note", "notes", "remark"}
"""Headings that may stand after the positions."""
NO_POSITION = {EXPECT, "expected", "expectation", "expectations"}
"""Headings of the one column of a part without a lever."""


@dataclass(frozen=True)
class _Header:
    """The first row, understood.

    Attributes
    ----------
    positions : tuple of str
        The lever positions; they stand in the columns after the first.
    role_column : int or None
        Where the roles stand, if the table has them.
    width : int
        How many columns have a heading.
    """

    positions: tuple[str, ...]
    role_column: int | None
    width: int

    @property
    def lever(self) -> bool:
        """Whether the part has a lever."""
        return self.positions != (AT_REST,)


def family_of_sheet(sheet: Sheet, name: str) -> Family:
    """Read a family from a chart's table.

    The pins are those that the pairs name, in that order; limits are the usual ones.

    Raises
    ------
    BadFile
        With every cell that cannot be understood.
    """
    problems = Problems(sheet.file)
    first, *rows = sheet.rows
    header = _header(first, problems)
    said = {_word(line[0]): line for line in rows if _word(line[0]) in (LEVER, PERMIT)}
    lines = [line for line in rows if _word(line[0]) not in said]
    if not lines:
        problems.add("", "has positions but no pairs below them; type one row per pair.")
    if len(lines) > MOST_PAIRS:
        problems.add("", f"has more than {MOST_PAIRS} pairs; is it a chart?")
    problems.raise_if_any()
    chart = [_row(line, header, problems) for line in lines]
    pins = dict.fromkeys(pin for row in chart for pin in row.pair if pin != CASE)
    if len(pins) > MOST_PINS:
        problems.add("", f"names more than {MOST_PINS} pins; is it a chart?")
    if not header.lever:
        for line in said.values():
            problems.add(
                line[0].place,
                f"begins a row for a part with a lever, and '{first[1].text}' is no position; "
                "leave the row out, or name the positions above the columns.",
            )
    lever = _lever(said.get(LEVER, ()), header, problems)
    no_permit = _no_permit(said.get(PERMIT, ()), problems)
    problems.raise_if_any()
    return Family(
        name=name,
        positions=header.positions,
        pins=tuple(Pin(pin) for pin in pins),
        chart=tuple(chart),
        park=lever["park"],
        neutral=lever["neutral"],
        reverse=lever["reverse"],
        positions_told=LEVER in said,
        no_start_permit=no_permit,
    )


LEVER = "lever"
"""First word of the row that says what each position is."""
PERMIT = "start permit"
"""First words of the row that says that there is none."""
_KINDS = ("park", "neutral", "reverse")
_FORWARD = frozenset({"", "drive", "forward", "gear"})


def _word(cell: TableCell) -> str:
    return " ".join(cell.text.split()).casefold()


def _lever(
    line: tuple[TableCell, ...], header: _Header, problems: Problems
) -> dict[str, tuple[str, ...]]:
    """Return the positions that are park, neutral and reverse: as said, else by usual names."""
    if not line:
        return {kind: usual_positions(kind, header.positions) for kind in _KINDS}
    found: dict[str, list[str]] = {kind: [] for kind in _KINDS}
    cells = line[1 : 1 + len(header.positions)]
    for position, cell in zip(header.positions, cells, strict=False):
        if (word := _word(cell)) in _KINDS:
            found[word].append(position)
        elif word not in _FORWARD:
            problems.add(
                cell.place,
                f"{quoted(cell.text)} is no kind of position; type park, reverse, neutral or "
                "drive.",
            )
    return {kind: tuple(names) for kind, names in found.items()}


def _no_permit(line: tuple[TableCell, ...], problems: Problems) -> bool:
    """Return whether a row says that no pair of the chart is a start permit."""
    if not line:
        return False
    if [_word(cell) for cell in line[1:] if cell.text] != ["none"]:
        problems.add(
            line[0].place,
            "begins a row that can only say 'none'; name the start permit by its role in the last "
            "column.",
        )
    return True


def _header(first: tuple[TableCell, ...], problems: Problems) -> _Header:
    """Return the header, after noting what is wrong with it."""
    cells = list(first[1:])
    while cells and not cells[-1].text:
        cells.pop()
    width = 1 + len(cells)
    role_column = None
    while cells and cells[-1].text.casefold() in LAST_COLUMNS:
        if cells.pop().text.casefold() == "role":
            role_column = len(cells) + 1
    if not cells or any(cell.text.casefold() in ("closed", "open") for cell in cells):
        problems.add(
            first[0].place,
            "starts no chart; type 'pins, P, R, N, ...' in the first row, or 'pins, expect' for a "
            "part without a lever.",
        )
    if len(cells) > MOST_POSITIONS:
        problems.stop(
            first[0].place, f"begins more than {MOST_POSITIONS} positions; is it a chart?"
        )
    if len(cells) == 1 and _word(cells[0]) in NO_POSITION:
        return _Header((AT_REST,), role_column, width)
    seen: dict[str, str] = {}
    for cell in cells:
        try:
            named(check_position, cell.text)
        except ValueError as error:
            problems.add(cell.place, f"{error}")
        if cell.text and cell.text in seen:
            problems.add(
                cell.place,
                f"names position {cell.text} again, as {seen[cell.text]} does; name it once.",
            )
        seen[cell.text] = cell.place
    return _Header(tuple(cell.text for cell in cells), role_column, width)


def _row(line: tuple[TableCell, ...], header: _Header, problems: Problems) -> ChartRow:
    """Return the row, after noting what is wrong with it."""
    pair: Pair = ("", "")
    role = Role.UNTOLD
    try:
        pair = named(split_pair, line[0].text)
        for pin in pair:
            if pin != CASE:
                named(check_pin_name, pin)
    except ValueError as error:
        problems.add(line[0].place, f"{error}")
    width = len(header.positions)
    if len(line) < 1 + width:
        problems.add(
            line[-1].place,
            f"ends the row early: {len(line) - 1} expectations for {width} positions; "
            "give every position one."
            if header.lever
            else "ends the row without its expectation; give it one.",
        )
    expect = [_expect(cell, problems) for cell in line[1 : 1 + width]]
    for number, cell in enumerate(line):
        if number == header.role_column:
            try:
                role = parse_role(cell.text)
            except ValueError as error:
                problems.add(cell.place, f"{error}")
            if not header.lever and role not in NO_ROLE:
                problems.add(
                    cell.place,
                    f"names the role {quoted(cell.text)}, but a part without positions has no "
                    "lever; leave it empty, or name the positions above the columns.",
                )
        elif number >= header.width and cell.text:
            problems.add(
                cell.place,
                f"{quoted(cell.text)} stands right of the last heading; "
                "a cell with a comma in it needs quotes.",
            )
    return ChartRow(pair, tuple(expect), role, line[0].place)


def _expect(cell: TableCell, problems: Problems) -> Expectation:
    try:
        return named(parse_expectation, cell.text)
    except ValueError as error:
        problems.add(cell.place, f"{error}")
        return ANY
