"""A wiring plan to print: the connector from both sides, and its tables, as SVG pages."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Pin
from benchproof.report.connector import SAME, SEEN, is_told, seats
from benchproof.report.svg import SMALL_MM, TEXT_MM, Drawing, wrapped
from benchproof.report.wiringtables import Table

PAGE_MM = (210.0, 297.0)
MARGIN_MM = 15.0
ROW_MM = 5.0
_PITCH_MM = 11.0
_TITLE_MM = 5.0


@dataclass(frozen=True)
class WiringSheet:
    """What stands on a wiring plan.

    Attributes
    ----------
    title : str
        Its heading.
    note : str
        What it is for, in a line.
    pins : tuple of Pin
        The connector.
    tables : tuple of Table
        What to solder, and so on.
    cautions : tuple of str
        Sentences for where the box is used.
    """

    title: str
    note: str
    pins: tuple[Pin, ...]
    tables: tuple[Table, ...]
    cautions: tuple[str, ...]


def draw_sheet(sheet: WiringSheet) -> tuple[str, ...]:
    """Return the plan's pages as SVG, each of A4 size."""
    pages: list[Drawing] = []
    room = PAGE_MM[0] - 2 * MARGIN_MM
    page, y = _begun(pages, sheet)
    for line in wrapped(sheet.note, TEXT_MM, room):
        page.text((MARGIN_MM, y), line)
        y += ROW_MM
    for caution in sheet.cautions:
        for line in wrapped(f"! {caution}", TEXT_MM, room):
            page.text((MARGIN_MM, y), line, bold=True)
            y += ROW_MM
    y += ROW_MM
    for mirrored in (False, True):
        high = _connector_height(sheet.pins)
        if y + high > PAGE_MM[1] - MARGIN_MM:
            page, y = _begun(pages, sheet)
        _draw_connector(page, sheet.pins, y, mirrored=mirrored)
        y += high
    for table in sheet.tables:
        left = list(table.rows)
        while True:
            fits = int((PAGE_MM[1] - MARGIN_MM - y - 3 * ROW_MM) / ROW_MM)
            # A heading with fewer than three rows beneath it goes on the next page.
            if fits >= min(3, len(left)):
                y = _draw_table(page, table, left[:fits], y) + 2 * ROW_MM
                left = left[fits:]
            if not left:
                break
            page, y = _begun(pages, sheet)
    for number, drawn in enumerate(pages, 1):
        at = (PAGE_MM[0] - MARGIN_MM, PAGE_MM[1] - MARGIN_MM / 2)
        drawn.text(at, f"page {number} of {len(pages)}", size=SMALL_MM, anchor="end")
    return tuple(drawn.svg() for drawn in pages)


def _begun(pages: list[Drawing], sheet: WiringSheet) -> tuple[Drawing, float]:
    page = Drawing(*PAGE_MM, sheet.title, sheet.note)
    pages.append(page)
    room = PAGE_MM[0] - 2 * MARGIN_MM
    page.text((MARGIN_MM, MARGIN_MM + 5.0), sheet.title, size=_TITLE_MM, bold=True, room=room)
    return page, MARGIN_MM + 14.0


def _columns(pins: Sequence[Pin]) -> int:
    return max(seat.column for seat in seats(pins))


def _pitch_mm(pins: Sequence[Pin]) -> float:
    return min(_PITCH_MM, (PAGE_MM[0] - 2 * MARGIN_MM - 4.0) / _columns(pins))


def _connector_height(pins: Sequence[Pin]) -> float:
    rows = max(seat.row for seat in seats(pins))
    return 3 * ROW_MM + rows * _pitch_mm(pins) + 6.0


def _draw_connector(page: Drawing, pins: Sequence[Pin], top: float, *, mirrored: bool) -> None:
    """Draw the connector; from the wire side left and right are exchanged."""
    pitch, columns = _pitch_mm(pins), _columns(pins)
    told = "" if is_told(pins) else " The family tells no places, so in one row."
    page.text((MARGIN_MM, top + ROW_MM), f"{SEEN[mirrored]}.", bold=True)
    page.text((MARGIN_MM, top + 2 * ROW_MM), f"{SAME[mirrored]}.{told}", size=SMALL_MM)
    y0 = top + 3 * ROW_MM
    rows = max(seat.row for seat in seats(pins))
    page.rect((MARGIN_MM, y0), columns * pitch + 4.0, rows * pitch + 2.0, ink="#000000", weight=0.5)
    for seat in seats(pins, mirrored=mirrored):
        at = (MARGIN_MM + 2.0 + (seat.column - 0.5) * pitch, y0 + 1.0 + (seat.row - 0.5) * pitch)
        page.circle(at, 0.42 * pitch)
        page.text((at[0], at[1] + 1.1), seat.name, anchor="middle", room=0.8 * pitch)


def _draw_table(page: Drawing, table: Table, rows: Sequence[tuple[str, ...]], y: float) -> float:
    """Draw a table and return where it ends."""
    room = PAGE_MM[0] - 2 * MARGIN_MM
    across = room / len(table.header)
    page.text((MARGIN_MM, y + ROW_MM), table.title, bold=True)
    y += 2 * ROW_MM
    for n, title in enumerate(table.header):
        page.text((MARGIN_MM + n * across, y), title, size=SMALL_MM, room=across - 2.0)
    page.line((MARGIN_MM, y + 1.2), (MARGIN_MM + room, y + 1.2))
    for row in rows:
        y += ROW_MM
        for n, words in enumerate(row):
            page.text((MARGIN_MM + n * across, y), words, room=across - 2.0)
        page.line((MARGIN_MM, y + 1.2), (MARGIN_MM + room, y + 1.2), weight=0.08)
    return y
