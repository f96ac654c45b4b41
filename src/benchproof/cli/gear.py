"""`benchproof gear`: meters and other bench gear, and when they must be calibrated again."""

from datetime import datetime

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import opened_store
from benchproof.cli.tables import print_table, short
from benchproof.face.kept import GearList, gear_shown


@click.command("list")
@STORE
@JSON
def list_gear(store: str | None, as_json: bool) -> None:
    """List the bench gear; what is overdue says so."""
    today = datetime.now().astimezone().date()
    with opened_store(store, reading=True) as archive:
        rows = archive.gear.list()
    if as_json:
        print_json(GearList(gear=[gear_shown(row, today) for row in rows]))
        return
    if not rows:
        echo("No gear is recorded yet.")
        return
    told = [
        [
            row.tag,
            row.kind,
            short(row.calibrated_on),
            f"{short(row.due_on)}{' OVERDUE' if row.overdue(today) else ''}",
            short(row.note),
        ]
        for row in rows
    ]
    print_table(["tag", "kind", "calibrated on", "due on", "note"], told)
