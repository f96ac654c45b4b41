"""`benchproof tag`: a label for a part or a unit."""

from typing import TYPE_CHECKING

import click

from benchproof.cli.files import write_out
from benchproof.cli.options import JSON, STORE
from benchproof.cli.refusals import Refused
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.papers import part_tag, unit_tag
from benchproof.record.problems import NoSuch
from benchproof.record.rows import PartRow, UnitRow
from benchproof.report.letterhead import LABELS
from benchproof.report.tag import Tag, tag_pdf

if TYPE_CHECKING:
    from benchproof.record.store import Store


@click.command()
@click.argument("tag", metavar="PART|UNIT", shell_complete=completing("parts"))
@click.option(
    "--kind", type=click.Choice(["part", "unit"]), help="Which, where a part and a unit share it."
)
@click.option(
    "--out", required=True, metavar="FILE", help="Where to write it; - for standard output."
)
@click.option(
    "--label",
    type=click.Choice(list(LABELS)),
    help="Size of the label; otherwise the shop's own (benchproof shop).",
)
@STORE
@JSON
def tag(
    tag: str, kind: str | None, out: str, label: str | None, store: str | None, as_json: bool
) -> None:
    """Draw a label for PART or UNIT as PDF, with a code that leads back to its record."""
    with opened_store(store, reading=True) as archive:
        told = _told(archive, tag, kind)
    write_out(tag_pdf(told, label or ""), out, as_json=as_json)


def _told(store: "Store", tag: str, kind: str | None) -> Tag:
    found: list[PartRow | UnitRow] = []
    for register in (store.parts, store.units):
        if kind in (None, "part" if register is store.parts else "unit"):
            try:
                found.append(register.get(tag))
            except NoSuch:
                continue
    if not found:
        raise Refused(f"{tag}: the archive has no {kind or 'part or unit'} of this name.")
    if len(found) > 1:
        raise Refused(f"{tag}: is a part and a unit; add --kind part or --kind unit.")
    row = found[0]
    return part_tag(store, row) if isinstance(row, PartRow) else unit_tag(store, row)
