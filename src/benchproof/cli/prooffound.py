"""`benchproof proof edge`, `offset`, `sweep`: what is found of a part beside readings."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from benchproof.cli.files import shown_name
from benchproof.cli.options import JSON, STORE, along, temperature_options
from benchproof.cli.output import echo
from benchproof.cli.proofrun import meter_file
from benchproof.cli.proofscreen import tell
from benchproof.cli.proofwork import BY, PROOF, opened_work
from benchproof.cli.quantity import NumberType
from benchproof.conduct.finding import TypedEdge, note_edge, note_offset, take_sweep
from benchproof.conduct.work import Work
from benchproof.family import limits
from benchproof.proof.cautions import BEFORE_FINDING
from benchproof.proof.events import EdgeFound, SweepTaken, Turned
from benchproof.record.regularfile import read_regular

_Command = TypeVar("_Command", bound=Callable[..., Any])
_ABOVE_ZERO = NumberType("deg", 1e-6, 3600)
_ANGLE = NumberType("deg", -3600, 3600)
NOTE = click.option("--note", default="", metavar="TEXT", help="What is noted with it.")


def condition_options(command: _Command) -> _Command:
    """Add the options that tell what a part was under when it was read."""
    told = (
        (
            "--pressure-kpa",
            "pressure_kpa",
            "kPa",
            "KPA",
            "Pressure on the part above that of the air.",
        ),
        ("--pressure-kpa-u", "pressure_kpa_u", "kPa", "KPA", "Standard uncertainty of that."),
        ("--supply-v", "supply_v", "V", "V", "What the part was fed with."),
        ("--supply-v-u", "supply_v_u", "V", "V", "Standard uncertainty of that."),
    )
    for option, name, unit, metavar, sentence in reversed(told):
        command = click.option(option, name, type=NumberType(unit), metavar=metavar, help=sentence)(
            command
        )
    return temperature_options(command)


@click.command()
@PROOF
@click.argument("position")
@click.argument("pair")
@click.option(
    "--at",
    "angle",
    type=_ANGLE,
    required=True,
    metavar="ANGLE",
    help="How far the moving part had gone on from its rest in POSITION; plus is toward the last.",
)
@click.option("--u", type=_ABOVE_ZERO, required=True, help="Standard uncertainty of that.")
@click.option("--below", required=True, metavar="VALUE", help="What is read at smaller angles.")
@click.option("--above", required=True, metavar="VALUE", help="What is read at greater angles.")
@click.option(
    "--series",
    type=click.IntRange(0, 1_000_000),
    default=0,
    metavar="N",
    help="Edges of one number were found on one scale.",
)
@click.option(
    "--zero-u",
    type=NumberType("deg", 0, 3600),
    default=0.0,
    help="Standard uncertainty of the zero of that scale.",
)
@click.option("--turned", type=click.Choice(["up", "down"]), help="Which way the angle went.")
@NOTE
@BY
@STORE
@JSON
def edge(
    tag: str,
    position: str,
    pair: str,
    angle: float,
    u: float,
    below: str,
    above: str,
    series: int,
    zero_u: float,
    turned: str | None,
    note: str,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Record where PAIR changed near POSITION of PROOF: an edge that was found.

    Angles are in degrees, or in detent gaps for a family that tells no detent angles. Before you
    move lever or body: part unplugged and de-energised; on a vehicle wheels chocked, parking brake
    on, engine off. Out of park, or with its linkage off, it can roll.
    """
    typed = TypedEdge(
        position, pair, angle, u, below, above, series, zero_u, Turned(turned or ""), note
    )
    with opened_work(store, tag, by) as work:
        work.state.check(EdgeFound)
        echo(f"! {BEFORE_FINDING}", err=True)
        _tell(work, note_edge(work, by, typed), as_json=as_json)


@click.command()
@PROOF
@click.option(
    "--at",
    "offset",
    type=_ANGLE,
    required=True,
    metavar="ANGLE",
    help="The offset; plus is toward the last position.",
)
@click.option("--u", type=_ABOVE_ZERO, required=True, help="Standard uncertainty of that.")
@click.option(
    "--how", default="the marks", show_default=True, metavar="TEXT", help="What it was measured by."
)
@BY
@STORE
@JSON
def offset(
    tag: str, offset: float, u: float, how: str, by: str, store: str | None, as_json: bool
) -> None:
    """Record the offset of PROOF's part as the marks, or something else, tell it.

    In degrees, or in detent gaps for a family that tells no detent angles.
    """
    with opened_work(store, tag, by) as work:
        _tell(work, note_offset(work, by, offset, u, how), as_json=as_json)


@click.command()
@PROOF
@click.argument("file")
@click.option(
    "--meter",
    metavar="M",
    shell_complete=along("meters"),
    help="What it was read with, if not with the proof's meter: a file, or one that comes along.",
)
@NOTE
@BY
@STORE
@JSON
def sweep(
    tag: str,
    file: str,
    meter: str | None,
    note: str,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Record a sweep of the lever in PROOF: FILE is its trace (docs/traces.md).

    It is kept whole; its edges, and what it reads at the detents, count. Where it was read with
    another meter only its edges do. Before you move the lever: part unplugged and de-energised; on
    a vehicle wheels chocked, parking brake on, engine off. Out of park it can roll.
    """
    content = sweep_bytes(file)
    name = Path(shown_name(file)).name
    with opened_work(store, tag, by) as work:
        work.state.check(SweepTaken)
        echo(f"! {BEFORE_FINDING}", err=True)
        said = take_sweep(work, by, content, name, meter=meter or "", file_of=meter_file, note=note)
        _tell(work, said, as_json=as_json)


def sweep_bytes(name: str) -> bytes:
    """Return the content of a trace, or so much that it is refused as too large.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    most = limits.SWEEP_BYTES.most + 1
    return sys.stdin.buffer.read(most) if name == "-" else read_regular(Path(name), most)


def _tell(work: Work, said: str, *, as_json: bool) -> None:
    if not as_json:
        echo(said)
    tell(work, as_json=as_json)
