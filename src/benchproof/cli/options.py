"""Options that several commands share."""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.reading.value import Conditions
from benchproof.shipped.contents import shipped

_Command = TypeVar("_Command", bound=Callable[..., Any])

Completes = Callable[[click.Context, click.Parameter, str], Sequence[CompletionItem]]


def along(kind: str) -> Completes:
    """Return what completes the names of what comes along of a kind, and files.

    Parameters
    ----------
    kind : str
        "families", "meters", "benches" or "gears".
    """

    def complete(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
        names = [CompletionItem(name) for name in shipped(kind) if name.startswith(incomplete)]
        return [*names, CompletionItem(incomplete, type="file")]

    return complete


def either(*completes: Completes) -> Completes:
    """Return what completes as each of several does."""

    def complete(
        ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        return [item for one in completes for item in one(ctx, param, incomplete)]

    return complete


FAMILY = click.argument("family", shell_complete=along("families"))
METER = click.option(
    "--meter",
    metavar="M",
    shell_complete=along("meters"),
    help="Meter file, or the name of one that comes along.",
)
BENCH = click.option(
    "--bench",
    metavar="B",
    shell_complete=along("benches"),
    help="Bench profile, or the name of one that comes along.",
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
        type=NumberType("K", 0, 400, open_low=True),
        metavar="K",
        help="Standard uncertainty of that; 2 K where it is not told.",
    )
    told = click.option(
        "--temperature",
        "part_c",
        type=NumberType("°C", -100, 400),
        metavar="DEGC",
        help="Temperature of the part, such as that of the room it lay in.",
    )
    return told(how_well(command))


def under_of(part_c: float | None, part_c_u: float | None) -> Conditions:
    """Return what a part was under, by these options."""
    if part_c is None and part_c_u is not None:
        raise Refused("--temperature-u says how well the temperature is known; give --temperature.")
    return Conditions(part_c, part_c_u)
