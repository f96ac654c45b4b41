"""`benchproof gear add`: bench gear with its file and its calibration."""

from datetime import date, datetime

import click

from benchproof.cli.files import named_bytes
from benchproof.cli.loading import load_bench, load_meter
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.cli.store import opened_store
from benchproof.face.kept import gear_shown
from benchproof.record.rows import GearRow


def day(_: click.Context, option: click.Parameter, value: str | None) -> date | None:
    """Return a day from "2026-01-31"."""
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise click.BadParameter("type a day as 2026-01-31.", param=option) from None


@click.command("add")
@click.argument("tag")
@click.option(
    "--kind", type=click.Choice(("meter", "selector", "other")), default="meter", show_default=True
)
@click.option("--file", "name", metavar="F", help="Its meter file or bench profile.")
@click.option("--calibrated", callback=day, metavar="DAY", help="When it was calibrated.")
@click.option("--due", callback=day, metavar="DAY", help="When it must be calibrated again.")
@click.option("--note", default="", help="Anything worth knowing.")
@STORE
@JSON
def add_gear(
    tag: str,
    kind: str,
    name: str | None,
    calibrated: date | None,
    due: date | None,
    note: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Record a piece of bench gear as TAG."""
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
        row = GearRow(tag, kind, kept, calibrated, due, note)
        archive.gear.add(row)
    if as_json:
        print_json(gear_shown(row, datetime.now().astimezone().date()))
        return
    echo(f"Recorded: {kind} {tag}.")
