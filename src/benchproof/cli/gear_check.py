"""`benchproof gear check`: whether the gear of a bench is there, is safe, and reads."""

from pathlib import Path

import click

from benchproof.cli.gearfiles import load_dialect, load_gear
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, along
from benchproof.cli.output import ask, echo
from benchproof.face.checked import Gears, gear_checked_shown
from benchproof.instrument.station import open_station
from benchproof.instrument.tryout import UNPLUGGED, try_out
from benchproof.shipped.contents import shipped


@click.command()
@click.argument("gear", required=False, shell_complete=along("gears"))
@click.option("--read", "reads", is_flag=True, help="Also read every pair of the selector once.")
@JSON
def check(gear: str | None, reads: bool, as_json: bool) -> None:
    """Check that the instruments of a bench answer, and that no voltage stands on the part.

    GEAR is a gear file, or the name of one that comes along; without it these are listed. The part
    must be off the vehicle or unplugged, and de-energised. Exit code 0 only if all is well.
    """
    if gear is None:
        names = shipped("gears")
        if as_json:
            print_json(Gears(gears=names))
        else:
            echo("Gear files that come along (all invented): " + ", ".join(names))
        return
    described = load_gear(gear)
    beside = Path(gear).parent
    if not as_json:
        echo(f"Caution: {UNPLUGGED}")
    station = open_station(described, lambda name: load_dialect(name, beside), _ask, ())
    try:
        tried = try_out(described.name, station, reads=reads)
    finally:
        station.close()
    if as_json:
        print_json(gear_checked_shown(tried))
        return
    echo(f"Gear: {tried.gear}")
    for line in tried.lines:
        echo(f"  {line}")


def _ask(position: str, lean: str) -> str:
    toward = f", held toward {lean}" if lean else ""
    return str(ask(f"Move the lever to {position}{toward}; where is it"))
