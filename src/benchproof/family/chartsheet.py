"""A chart typed as a table: first row `pins, P, R, N, ...`, then one row a pair."""

from benchproof.family.expectation import ANY, Expectation, parse_expectation
from benchproof.family.model import (
    ChartRow,
    Family,
    Pair,
    Pin,
    Role,
    usual_positions,
)
from benchproof.family.names import named, parse_role, split_pair
from benchproof.family.problems import Problems, quoted
from benchproof.family.sheet import Cell, Sheet

LAST_COLUMNS = {"role", "note", "notes", "remark"}
"""Headings that may stand after the positions."""


def family_of_sheet(sheet: Sheet, name: str) -> Family:
    """Read a family from a chart's table.

    The pins are those that the pairs name, in that order; limits are the usual ones.

    Raises
    ------
    BadFile
        With every cell that cannot be understood.
    """
    problems = Problems(sheet.file)
    header, *lines = sheet.rows
    positions, role_column = _header(header, problems)
    if not lines:
        problems.add("", "has positions but no pairs below them; type one row per pair.")
    problems.raise_if_any()
    chart = [row for line in lines if (row := _row(line, positions, role_column, problems))]
    problems.raise_if_any()
    pins = dict.fromkeys(pin for row in chart for pin in row.pair)
    return Family(
        name=name,
        positions=positions,
        pins=tuple(Pin(pin) for pin in pins),
        chart=tuple(chart),
        park=usual_positions("park", positions),
        neutral=usual_positions("neutral", positions),
        reverse=usual_positions("reverse", positions),
    )


def _header(header: tuple[Cell, ...], problems: Problems) -> tuple[tuple[str, ...], int | None]:
    """Return the positions and the number of the role column, if there is one."""
    cells = list(header[1:])
    while cells and not cells[-1].text:
        cells.pop()
    role_column = None
    while cells and cells[-1].text.casefold() in LAST_COLUMNS:
        if cells.pop().text.casefold() == "role":
            role_column = len(cells) + 1
    if not cells:
        problems.add(
            header[0].place, "starts no chart; type 'pins, P, R, N, ...' in the first row."
        )
    seen: dict[str, str] = {}
    for cell in cells:
        if not cell.text:
            problems.add(cell.place, "is empty between positions; name the position.")
        elif cell.text in seen:
            problems.add(
                cell.place, f"names position {cell.text} again, as {seen[cell.text]} does."
            )
        seen[cell.text] = cell.place
    return tuple(cell.text for cell in cells), role_column


def _row(
    line: tuple[Cell, ...], positions: tuple[str, ...], role_column: int | None, problems: Problems
) -> ChartRow | None:
    """Return the row, or None after noting what is wrong with it."""
    before = len(problems)
    pair: Pair = ("", "")
    role = Role.OTHER
    try:
        pair = named(split_pair, line[0].text)
    except ValueError as error:
        problems.add(line[0].place, f"{error}.")
    width = len(positions)
    if len(line) < 1 + width:
        problems.add(
            line[-1].place,
            f"ends the row early: {len(line) - 1} expectations for {width} positions; "
            "give every position one.",
        )
    expect = [_expect(cell, problems) for cell in line[1 : 1 + width]]
    for number, cell in enumerate(line[1 + width :], 1 + width):
        if number == role_column:
            try:
                role = parse_role(cell.text)
            except ValueError as error:
                problems.add(cell.place, f"{error}")
        elif cell.text and role_column is None:
            problems.add(
                cell.place,
                f"{quoted(cell.text)} stands right of the last position; "
                "a cell with a comma in it needs quotes.",
            )
    return ChartRow(pair, tuple(expect), role, line[0].place) if len(problems) == before else None


def _expect(cell: Cell, problems: Problems) -> Expectation:
    try:
        return named(parse_expectation, cell.text)
    except ValueError as error:
        problems.add(cell.place, f"{error}.")
        return ANY
