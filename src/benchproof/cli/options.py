"""Options that several commands share."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from benchproof.cli.output import finite
from benchproof.cli.refusals import Refused
from benchproof.reading.value import Conditions

_Command = TypeVar("_Command", bound=Callable[..., Any])

BENCH = click.option(
    "--bench", metavar="B", help="Bench profile, or the name of one that comes along."
)
FROM = click.option("--from", "start", metavar="POSITION", help="Where the lever stands now.")
PRIORS = click.option("--priors", metavar="FILE", help="Priors to take in place of the usual.")
STORE_VARIABLE = "BENCHPROOF_STORE"
STORE = click.option(
    "--store",
    metavar="WHERE",
    envvar=STORE_VARIABLE,
    show_envvar=True,
    help="Archive: a file, or a PostgreSQL URL. Without it, a file in your data folder.",
)
"""The option of every command that uses the archive."""
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object (docs/json.md).")
SAY = click.option(
    "--say",
    multiple=True,
    metavar="WHAT",
    help="What nobody has said of the family: proposed, NAME=park, A-B='start permit', "
    "'start permit=none'; may be given again.",
)


def temperature_options(command: _Command) -> _Command:
    """Add the options that tell the temperature of the part: `part_c` and `part_c_u`."""
    how_well = click.option(
        "--temperature-u",
        "part_c_u",
        type=click.FloatRange(0, 400, min_open=True),
        callback=finite,
        metavar="K",
        help="Standard uncertainty of that; 2 K where it is not told.",
    )
    told = click.option(
        "--temperature",
        "part_c",
        type=click.FloatRange(-100, 400),
        callback=finite,
        metavar="DEGC",
        help="Temperature of the part, such as that of the room it lay in.",
    )
    return told(how_well(command))


def under_of(part_c: float | None, part_c_u: float | None) -> Conditions:
    """Return what a part was under, by these options."""
    if part_c is None and part_c_u is not None:
        raise Refused("--temperature-u says how well the temperature is known; give --temperature.")
    return Conditions(part_c, part_c_u)
