"""`benchproof shelf`: proven parts in stock, and where they went."""

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import completing, opened_store
from benchproof.cli.tables import print_table, short
from benchproof.conduct.marks import Marks
from benchproof.conduct.people import check_somebody
from benchproof.conduct.shelflist import shelved
from benchproof.conduct.shelving import move_part as moved
from benchproof.face.kept import MoveView, ShelfView, row_shown, shelf_shown

STATES = ("stock", "reserved", "fitted", "returned", "scrapped")


@click.command("list")
@click.option("--state", type=click.Choice(STATES), help="Only parts in this state.")
@click.option(
    "--unit", metavar="TAG", shell_complete=completing("units"), help="Only parts of this unit."
)
@STORE
@JSON
def list_shelf(state: str | None, unit: str | None, store: str | None, as_json: bool) -> None:
    """List where the parts are."""
    with opened_store(store, reading=True) as archive:
        places = shelved(archive, Marks(archive), state=state, unit=unit)
    if as_json:
        print_json(ShelfView(parts=shelf_shown(places)))
        return
    if not places:
        echo("No such part is on the shelf.")
        return
    rows = [
        [
            one.danger,
            one.move.part,
            one.family,
            one.move.state,
            one.move.unit or "",
            short(one.move.at),
            one.move.by or "",
            f"NOT PROVED, override by {one.override_by}" if one.override_by else "proved",
        ]
        for one in places
    ]
    print_table(["", "part", "family", "state", "unit", "since", "by", "proved"], rows)


@click.command("move")
@click.argument("part", shell_complete=completing("parts"))
@click.argument("to", type=click.Choice(STATES))
@click.option(
    "--unit", metavar="TAG", shell_complete=completing("units"), help="For or in which unit."
)
@click.option("--by", metavar="INITIALS", shell_complete=completing("people"), help="Who moved it.")
@click.option("--note", default="", help="Why.")
@click.option(
    "--another", is_flag=True, help="Although the unit has a range switch; a transmission has one."
)
@STORE
@JSON
def move_part(
    part: str,
    to: str,
    unit: str | None,
    by: str | None,
    note: str,
    another: bool,
    store: str | None,
    as_json: bool,
) -> None:
    """Move PART. Only a proven part goes to stock, and none is on two units at once."""
    with opened_store(store) as archive:
        check_somebody(archive, by)
        move = moved(archive, part, to, unit, by, note, another=another)
    if as_json:
        print_json(row_shown(MoveView, move))
        return
    for_unit = f" {move.unit}" if move.unit else ""
    echo(f"Recorded: part {part} {move.state}{for_unit}.")
