"""`benchproof window`: how far off is still good."""

from math import isfinite, isnan

import click

from benchproof.align.band import WindowBand, band_of
from benchproof.align.remarks import turning_cautions, window_remarks
from benchproof.align.window import CellWindow, Window, names, shape_of, window_of
from benchproof.cli.diagnosis import print_cautions
from benchproof.cli.loading import load_family, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, PRIORS
from benchproof.cli.output import echo, print_grid, styled
from benchproof.face.aligned import window_shown
from benchproof.family.sentence import percent


@click.command()
@FAMILY
@PRIORS
@JSON
@click.pass_context
def window(ctx: click.Context, family: str, priors: str | None, as_json: bool) -> None:
    """Tell between which offsets every cell of FAMILY's chart holds, and what limits them.

    Exit code 1 if there is no such offset.
    """
    chart = load_family(family)
    known = load_priors(priors, chart.name)
    found = window_of(shape_of(chart, known), known)
    remarks, cautions = window_remarks(found), turning_cautions(found)
    if as_json:
        print_json(window_shown(found, band_of(found), remarks, cautions))
    else:
        _print_cells(found)
        _print_window(found, band_of(found))
        for remark in remarks:
            echo(f"  {remark}")
        print_cautions(cautions)
    ctx.exit(int(found.empty))


def _print_cells(found: Window) -> None:
    positions = found.family.positions
    rows = []
    for start in range(0, len(found.cells), len(positions)):
        cells = found.cells[start : start + len(positions)]
        rows.append([("-".join(cells[0].pair), ""), *((_span(cell), "") for cell in cells)])
    unit = "deg" if found.unit == "deg" else "detent gaps"
    echo(f"Offsets at which each cell holds, {unit} (* limits the window):")
    limiting = {(c.pair, c.position) for c in (*found.low_cells, *found.high_cells)}
    for row in rows:
        for column, position in enumerate(positions, 1):
            text, result = row[column]
            if any(position == at and row[0][0] == "-".join(pair) for pair, at in limiting):
                row[column] = (f"{text} *", result)
    print_grid(["pins", *positions], rows)


def _span(cell: CellWindow) -> str:
    if cell.never:
        return "never"
    return f"{angle(cell.low)}..{angle(cell.high)}" + ("" if cell.at_zero else " (not at 0)")


def angle(value: float) -> str:
    """Return an angle as it is printed."""
    if isnan(value) or not isfinite(value):
        return "-" if value < 0 else "+" if value > 0 else "?"
    # Rounded away from minus zero.
    return f"{round(value, 2) + 0.0:+.2f}"


def _print_window(found: Window, band: WindowBand) -> None:
    if found.empty:
        echo(styled("Window: none", bold=True, fg="red"))
        return
    unit = "deg" if found.unit == "deg" else "detent gaps"
    told = f"{angle(found.low)} to {angle(found.high)} {unit}"
    if found.centre is not None:
        told += f", centre {angle(found.centre)}"
    echo(styled("Window: ", bold=True), told)
    mm, lines = found.mm(found.high - found.low), found.lines(found.high - found.low)
    if mm is not None and lines is not None and isfinite(mm):
        echo(
            f"  At the marks ({found.family.mark_radius_mm:g} mm radius) it is {mm:.2f} mm wide, "
            f"{lines:.1f} widths of a {found.family.mark_line_mm:g} mm line; 1 deg is "
            f"{found.mm(1.0):.3f} mm."
        )
    for side, end, cells in (
        ("Lower", found.low, found.low_cells),
        ("Upper", found.high, found.high_cells),
    ):
        echo(f"  {side} end{_at_marks(found, end)}: {names(cells) or 'nothing ends it'}")
    echo(
        f"  From part to part (edges spread by {found.edge_sd:.2g} {unit}): nine lower ends of ten "
        f"lie in {angle(band.low[0])}..{angle(band.low[1])}, upper ends in "
        f"{angle(band.high[0])}..{angle(band.high[1])}."
    )
    echo(f"  Set to the centre, {percent(band.share)} of parts hold in every cell.")


def _at_marks(found: Window, end: float) -> str:
    mm, lines = found.mm(end), found.lines(end)
    if mm is None or lines is None or not isfinite(end):
        return ""
    return f", {mm:+.2f} mm or {abs(lines):.1f} line widths at the marks"
