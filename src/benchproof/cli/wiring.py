"""`benchproof wiring`: how to wire a selector between a family's connector and the meter."""

from pathlib import Path

import click

from benchproof.cli.loading import load_family
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON
from benchproof.cli.output import echo, print_grid, styled
from benchproof.cli.refusals import Refused
from benchproof.face.checked import wired_shown
from benchproof.report.pages import pdf_of_pages
from benchproof.report.wiringplan import (
    KINDS,
    MOST_POLES,
    MOST_POSITIONS,
    POLES,
    POSITIONS,
    wiring_plan,
)
from benchproof.report.wiringsheet import WiringSheet, draw_sheet


@click.command()
@FAMILY
@click.option(
    "--kind",
    type=click.Choice([*KINDS]),
    default="selector",
    help="Rotary selectors (usual), a relay matrix, or plain probes.",
)
@click.option(
    "--poles", type=click.IntRange(1, MOST_POLES), default=POLES, help="Poles of each selector."
)
@click.option(
    "--positions", type=click.IntRange(1, MOST_POSITIONS), default=POSITIONS, help="Its positions."
)
@click.option("--out", metavar="FILE", help="Also write the plan to print: .pdf, or .svg.")
@JSON
def wiring(
    family: str, kind: str, poles: int, positions: int, out: str | None, as_json: bool
) -> None:
    """Tell how to wire a selector for FAMILY's chart, and how to test the box with a dummy plug."""
    chart = load_family(family)
    try:
        plan = wiring_plan(chart, kind, poles, positions)
    except ValueError as error:
        raise Refused(f"wiring: {chart.name}: {error}.") from None
    if as_json:
        print_json(wired_shown(chart.name, kind, plan.tables, plan.cautions))
    else:
        for table in plan.tables:
            echo(styled(table.title, bold=True))
            print_grid(table.header, [[(text, "") for text in row] for row in table.rows])
        for caution in plan.cautions:
            echo(f"! {caution}")
    if out is not None:
        written = _write(plan, out)
        echo(f"Wrote {', '.join(written)}.", err=as_json)


def _write(sheet: WiringSheet, out: str) -> list[str]:
    """Write the plan, and return the names of the files: one SVG a page, or one PDF."""
    path = Path(out)
    suffix = path.suffix.casefold()
    if suffix not in (".svg", ".pdf"):
        raise Refused(f"{out}: a wiring plan is written as .svg or .pdf; end the name so.")
    pages = draw_sheet(sheet)
    if suffix == ".pdf":
        path.write_bytes(pdf_of_pages(pages, sheet.title))
        return [out]
    names = [
        path if len(pages) == 1 else path.with_stem(f"{path.stem}-{number}")
        for number in range(1, len(pages) + 1)
    ]
    for name, page in zip(names, pages, strict=True):
        name.write_text(page, encoding="utf-8")
    return [str(name) for name in names]
