"""`benchproof gear check`: whether the gear of a bench is there, is safe, and reads."""

from pathlib import Path

import click

from benchproof.cli.gearfiles import load_dialect, load_gear
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, along
from benchproof.cli.output import ask, echo
from benchproof.face.checked import GearCheckedView, Gears
from benchproof.family.model import pair_text
from benchproof.instrument.checks import check_no_voltage
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.station import Station, open_station
from benchproof.reading.value import format_value
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
        echo("Caution: the part is off the vehicle or unplugged, and de-energised.")
    station = open_station(described, lambda name: load_dialect(name, beside), _ask, ())
    try:
        told = _checked(described.name, station, reads=reads)
    finally:
        station.close()
    if as_json:
        print_json(told)
    else:
        _print(told)


def _ask(position: str, lean: str) -> str:
    toward = f", held toward {lean}" if lean else ""
    return str(ask(f"Move the lever to {position}{toward}; where is it"))


def _checked(gear: str, station: Station, *, reads: bool) -> GearCheckedView:
    """Return what the instruments say; raises at the first that is not well."""
    meter, selector, lever = station.meter, station.selector, station.lever
    volts_checked = selector is not None and station.reads_volts
    if selector is not None:
        selector.open_all()
        if volts_checked:
            check_no_voltage(station.read_volt, selector, selector.pairs)
    stands = lever.position() if isinstance(lever, ScpiLever) else None
    readings: dict[str, str] = {}
    if selector is not None and reads:
        readings = {pair_text(p): format_value(station.read(p)) for p in selector.pairs}
    elif not isinstance(meter, ScpiMeter) or reads:
        readings = {"now": format_value(meter.read_ohm())}
    return GearCheckedView(
        gear=gear,
        meter=meter.identity if isinstance(meter, ScpiMeter) else None,
        selector=None if selector is None else selector.identity,
        lever=stands,
        volts_checked=volts_checked,
        readings=readings,
    )


def _print(told: GearCheckedView) -> None:
    echo(f"Gear: {told.gear}")
    echo(f"  Meter: {told.meter or 'reads'}")
    echo(f"  Selector: {told.selector or 'a person sets the probes'}")
    if told.lever is None:
        echo("  Lever: a person moves it and says where it is")
    else:
        echo(f"  Lever: stands in {told.lever or 'no position, between two'}")
    if told.volts_checked:
        echo("  No voltage stands on any pair.")
    else:
        echo("  Voltage was not checked: check by hand that none stands on the pins.")
    for pair, value in told.readings.items():
        echo(f"  {pair}: {value}")
