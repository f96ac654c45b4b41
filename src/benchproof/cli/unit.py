"""`benchproof unit`: the transmissions being rebuilt."""

from dataclasses import replace

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.quantity import NumberType
from benchproof.cli.store import completing, opened_store
from benchproof.cli.tables import print_fields, print_rows
from benchproof.conduct.marks import Marks
from benchproof.face.kept import Units, UnitView, row_shown, rows_shown, unit_shown
from benchproof.record.rows import UnitRow


@click.command("add")
@click.argument("tag")
@click.option("--family", default="", help="Family of unit, as the shop calls it.")
@click.option(
    "--customer",
    metavar="TAG",
    shell_complete=completing("customers"),
    help="Whose it is (benchproof customer add).",
)
@click.option("--serial", default="", help="Serial number.")
@click.option("--complaint", default="", help="What the customer says.")
@click.option("--codes", default="", help="Trouble codes that were reported.")
@click.option(
    "--mileage",
    "--mileage-km",
    "mileage_km",
    type=NumberType("km", 0, 10_000_000, whole=True),
    metavar="KM",
    help="When it came in: kilometers, or miles such as '75000 mi'.",
)
@STORE
@JSON
def add_unit(
    tag: str,
    family: str,
    customer: str | None,
    serial: str,
    complaint: str,
    codes: str,
    mileage_km: int | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Record a unit as TAG."""
    with opened_store(store) as archive:
        row = UnitRow(tag, archive.now(), family, customer, serial, complaint, codes, mileage_km)
        archive.units.add(row)
    if as_json:
        print_json(row_shown(UnitView, row))
        return
    echo(f"Recorded: unit {tag}.")


@click.command("list")
@click.argument("beginning", default="", shell_complete=completing("units"))
@STORE
@JSON
def list_units(beginning: str, store: str | None, as_json: bool) -> None:
    """List the units, or those whose tag begins with BEGINNING."""
    with opened_store(store, reading=True) as archive:
        rows = archive.units.list(beginning)
    if as_json:
        print_json(Units(units=rows_shown(UnitView, rows)))
        return
    columns = ("tag", "family", "customer", "serial", "complaint", "codes", "mileage_km", "added")
    print_rows(rows, columns, "No such unit is recorded.")


@click.command("show")
@click.argument("tag", shell_complete=completing("units"))
@STORE
@JSON
def show_unit(tag: str, store: str | None, as_json: bool) -> None:
    """Show the unit TAG and the parts that are reserved for it or fitted in it."""
    with opened_store(store, reading=True) as archive:
        row = archive.units.get(tag)
        fitted = [move for move, _ in archive.shelf.list(unit=tag)]
        marks = Marks(archive)
        words = {move.part: marks.of_part(move.part) for move in fitted}
    if as_json:
        print_json(unit_shown(row, fitted, words))
        return
    for part, word in words.items():
        if word:
            echo(f"{word}: see part {part}, before anything of it is used.")
    echo(f"Unit {tag}")
    print_fields(replace(row, tag=""))
    for move in fitted:
        echo(f"  {move.state}: part {move.part}")
