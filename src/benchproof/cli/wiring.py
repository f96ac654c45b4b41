"""`benchproof wiring`: how to wire a selector between a family's connector and the meter."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.loading import load_family
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON
from benchproof.cli.output import echo, print_grid, styled
from benchproof.cli.refusals import Refused
from benchproof.face.checked import wired_shown
from benchproof.family.branches import CASE
from benchproof.report.pages import pdf_of_pages
from benchproof.report.wiringsheet import WiringSheet, draw_sheet
from benchproof.report.wiringtables import (
    CAUTIONS,
    Table,
    matrix_tables,
    probe_tables,
    selector_tables,
)
from benchproof.wiring.dummy import dummy_plug
from benchproof.wiring.matrix import relay_matrix
from benchproof.wiring.selector import selector_box

if TYPE_CHECKING:
    from benchproof.family.model import Family


@click.command()
@FAMILY
@click.option(
    "--kind",
    type=click.Choice(["selector", "matrix", "probes"]),
    default="selector",
    help="Rotary selectors (usual), a relay matrix, or plain probes.",
)
@click.option("--poles", type=click.IntRange(1, 24), default=2, help="Poles of each selector.")
@click.option("--positions", type=click.IntRange(1, 60), default=12, help="Its positions.")
@click.option("--out", metavar="FILE", help="Also write the plan to print: .pdf, or .svg.")
@JSON
def wiring(
    family: str, kind: str, poles: int, positions: int, out: str | None, as_json: bool
) -> None:
    """Tell how to wire a selector for FAMILY's chart, and how to test the box with a dummy plug."""
    chart = load_family(family)
    tables = _tables(chart, kind, poles, positions)
    if as_json:
        print_json(wired_shown(chart.name, kind, tables, CAUTIONS))
    else:
        for table in tables:
            echo(styled(table.title, bold=True))
            print_grid(table.header, [[(text, "") for text in row] for row in table.rows])
        for caution in CAUTIONS:
            echo(f"! {caution}")
    if out is not None:
        written = _write(chart, kind, tables, out)
        echo(f"Wrote {', '.join(written)}.", err=as_json)


def _tables(family: "Family", kind: str, poles: int, positions: int) -> tuple[Table, ...]:
    pairs = family.charted_pairs
    if kind == "probes":
        return probe_tables(family, pairs)
    try:
        plug = dummy_plug((*family.terminals, CASE), pairs)
        if kind == "matrix":
            return matrix_tables(relay_matrix(pairs), pairs, plug)
        return selector_tables(selector_box(pairs, poles, positions), pairs, plug)
    except ValueError as error:
        raise Refused(f"wiring: {family.name}: {error}.") from None


def _write(family: "Family", kind: str, tables: tuple[Table, ...], out: str) -> list[str]:
    """Write the plan, and return the names of the files: one SVG a page, or one PDF."""
    path = Path(out)
    suffix = path.suffix.casefold()
    if suffix not in (".svg", ".pdf"):
        raise Refused(f"{out}: a wiring plan is written as .svg or .pdf; end the name so.")
    note = f"{kind.capitalize()} for the chart of {family.name}. {family.note}".strip()
    sheet = WiringSheet(f"Wiring for {family.name}", note, family.pins, tables, CAUTIONS)
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
