"""`benchproof simulate --serve`: one invented part on a simulated bench, over the real protocol."""

import signal
import threading
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, TypeVar

import click
import numpy as np

from benchproof.cli.loading import load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.output import echo
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.conduct.simulated import serve_part
from benchproof.diagnose.tables import tables_of
from benchproof.face.done import Served
from benchproof.instrument.gearfile import simulated_gear
from benchproof.instrument.simcommands import Faults
from benchproof.shipped.contents import USUAL_METER
from benchproof.simulate.part import PartSource, SimulatedPart

if TYPE_CHECKING:
    from benchproof.instrument.simbench import SimServer

_Command = TypeVar("_Command", bound=Callable[..., object])

_OPTIONS = (
    click.option("--serve", is_flag=True, help="Serve a simulated bench on 127.0.0.1."),
    click.option("--port", type=click.IntRange(0, 65535), default=0, help="0 takes a free one."),
    click.option(
        "--fault",
        "kinds",
        multiple=True,
        type=click.Choice(["garbage", "cut", "silence", "late", "unplug", "slip"]),
        help="A kind of fault to make; may be given more than once.",
    ),
    click.option(
        "--fault-rate",
        type=NumberType("", 0, 1),
        default=0.01,
        help="How many of the replies are disturbed.",
    ),
    click.option(
        "--lag", type=NumberType("s", 0, 60), default=0.0, help="Seconds before each reply."
    ),
    click.option(
        "--gear",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        help="Write the gear file of this bench there; the file must not exist.",
    ),
)
_CODES = {
    "garbage": "GARB",
    "cut": "CUT",
    "silence": "SIL",
    "late": "LATE",
    "unplug": "UNPL",
    "slip": "SLIP",
}


def serve_options(command: _Command) -> _Command:
    """Give a command the options of the simulated bench."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def serve_bench(
    family: str,
    seed: int,
    meter: str | None,
    priors: str | None,
    port: int,
    kinds: tuple[str, ...],
    fault_rate: float,
    lag: float,
    gear: Path | None,
    *,
    as_json: bool,
) -> None:
    """Serve until the person has enough of it."""
    if gear is not None and gear.exists():
        raise Refused(f"{gear}: is there already; name a new file.")
    codes = tuple(_CODES[kind] for kind in kinds)
    server, part, channels = start_bench(
        family, seed, meter, priors, port=port, kinds=codes, rate=fault_rate, lag_s=lag
    )
    # A signal from a program that started the bench ends it as Ctrl-C does.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        if gear is not None:
            gear.write_text(simulated_gear(server.resource, channels), encoding="utf-8")
        if as_json:
            print_json(Served(address=server.resource))
            threading.Event().wait()
        faults = ", ".join(fault.told for fault in part.faults) or "none"
        echo(f"Simulated bench (invented) at {server.resource}")
        stands = f"offset {part.offset:.2f}, " if part.family.lever else ""
        echo(f"Part: {stands}faults: {faults}; verdict: {part.verdict}")
        if gear is not None:
            echo(f"Its gear file: {gear}")
        echo("Ctrl-C ends it.")
        threading.Event().wait()
    except KeyboardInterrupt:
        echo("The bench is off.", err=as_json)
    finally:
        server.close()


def start_bench(
    family: str,
    seed: int,
    meter: str | None = None,
    priors: str | None = None,
    *,
    port: int = 0,
    kinds: tuple[str, ...] = (),
    rate: float = 0.0,
    lag_s: float = 0.0,
) -> "tuple[SimServer, SimulatedPart, dict[str, tuple[str, str]]]":
    """Start a bench with one drawn part on it.

    Returns
    -------
    tuple
        The server, the part, and the pair of each channel.
    """
    chart = load_family(family)
    tables = tables_of(chart, load_priors(priors, chart.name))
    rng = np.random.default_rng(seed)
    part = PartSource(tables).draw(rng)
    used = load_meter(meter or USUAL_METER)
    faults = Faults(rate if kinds else 0.0, kinds, lag_s=lag_s)
    try:
        server, channels = serve_part(part, tables, used, rng, faults, Random(seed), port)
    except OSError as error:
        raise Refused(
            f"port {port}: {error.strerror or error}; name another with --port."
        ) from None
    return server, part, channels
