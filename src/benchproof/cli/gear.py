"""`benchproof gear`: meters and other bench gear, and when they must be calibrated again."""

from datetime import date, datetime

import click

from benchproof.cli.files import Refused, load_bench, load_meter, named_bytes
from benchproof.cli.gear_check import check
from benchproof.cli.output import echo, print_json
from benchproof.cli.store import JSON, STORE, opened_store, print_table, short


def day(_: click.Context, option: click.Parameter, value: str | None) -> date | None:
    """Return a day from "2026-01-31"."""
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise click.BadParameter("type a day as 2026-01-31.", param=option) from None


@click.group()
def gear() -> None:
    """Meters, selectors and other bench gear."""


@gear.command("add")
@click.argument("tag")
@click.option(
    "--kind", type=click.Choice(("meter", "selector", "other")), default="meter", show_default=True
)
@click.option("--file", "name", metavar="F", help="Its meter file or bench profile.")
@click.option("--calibrated", callback=day, metavar="DAY", help="When it was calibrated.")
@click.option("--due", callback=day, metavar="DAY", help="When it must be calibrated again.")
@click.option("--note", default="", help="Anything worth knowing.")
@STORE
def add_gear(
    tag: str,
    kind: str,
    name: str | None,
    calibrated: date | None,
    due: date | None,
    note: str,
    store: str | None,
) -> None:
    """Record a piece of bench gear as TAG."""
    from benchproof.record.rows import GearRow

    if calibrated is not None and due is not None and due < calibrated:
        raise Refused("gear: --due lies before --calibrated; look at the calibration label again.")
    content = None
    if name is not None:
        if kind == "other":
            raise Refused("gear: only a meter or a selector has a file.")
        # It is read now, so that a mistake in it shows today.
        (load_meter if kind == "meter" else load_bench)(name)
        content = named_bytes("meters" if kind == "meter" else "benches", name)
    with opened_store(store) as archive:
        kept = None if content is None else archive.files.put(content)
        archive.gear.add(GearRow(tag, kind, kept, calibrated, due, note))
    echo(f"Recorded: {kind} {tag}.")


@gear.command("list")
@STORE
@JSON
def list_gear(store: str | None, as_json: bool) -> None:
    """List the bench gear; what is overdue says so."""
    today = datetime.now().astimezone().date()
    with opened_store(store, reading=True) as archive:
        rows = archive.gear.list()
    if as_json:
        from benchproof.face.kept import GearList, gear_shown

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


gear.add_command(check)
