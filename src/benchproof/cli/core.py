"""`benchproof core`: used units and parts as they are taken in."""

from dataclasses import replace

import click

from benchproof.cli.intake import note_command, print_conditions
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import completing, opened_store
from benchproof.cli.tables import print_fields, print_rows
from benchproof.face.kept import Cores, CoreView, core_shown, row_shown, rows_shown
from benchproof.record.rows import CoreRow
from benchproof.shop.condition import SEIZED


@click.command("add")
@click.argument("tag")
@click.option("--family", default="", help="Family of unit, as the shop calls it.")
@click.option(
    "--deposit",
    type=click.Choice(("none", "owed", "paid", "returned")),
    default="none",
    show_default=True,
)
@click.option("--missing", default="", help="What was missing.")
@click.option("--damaged", default="", help="What was damaged.")
@click.option("--note", default="", help="Anything worth knowing.")
@STORE
@JSON
def add_core(
    tag: str,
    family: str,
    deposit: str,
    missing: str,
    damaged: str,
    note: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Record a core as TAG."""
    with opened_store(store) as archive:
        row = CoreRow(tag, archive.now(), family, deposit, missing, damaged, note)
        archive.cores.add(row)
    if as_json:
        print_json(row_shown(CoreView, row))
        return
    echo(f"Recorded: core {tag}. Grade it with: benchproof core note {tag} ITEM=GRADE")
    echo(SEIZED)


note = note_command("core", 'benchproof core note C-1 "bent pins=slight".')


@click.command("list")
@click.argument("beginning", default="", shell_complete=completing("cores"))
@STORE
@JSON
def list_cores(beginning: str, store: str | None, as_json: bool) -> None:
    """List the cores, or those whose tag begins with BEGINNING."""
    with opened_store(store, reading=True) as archive:
        rows = archive.cores.list(beginning)
    if as_json:
        print_json(Cores(cores=rows_shown(CoreView, rows)))
        return
    columns = ("tag", "family", "deposit", "missing", "damaged", "note", "added")
    print_rows(rows, columns, "No such core is recorded.")


@click.command("show")
@click.argument("tag", shell_complete=completing("cores"))
@STORE
@JSON
def show_core(tag: str, store: str | None, as_json: bool) -> None:
    """Show the core TAG, how it looked, and the parts that were taken from it."""
    with opened_store(store, reading=True) as archive:
        row = archive.cores.get(tag)
        notes = archive.conditions.list(core=tag)
        parts = archive.parts.list(core=tag)
    if as_json:
        print_json(core_shown(row, notes, parts))
        return
    echo(f"Core {tag}")
    print_fields(replace(row, tag=""))
    print_conditions(notes)
    if parts:
        echo(f"  parts: {', '.join(part.tag for part in parts)}")
