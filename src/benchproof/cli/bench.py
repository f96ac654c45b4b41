"""`benchproof bench`: the bench page in a browser."""

import errno
import signal
import webbrowser
from pathlib import Path

import click

from benchproof.cli.gearfiles import load_dialect, load_gear
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE, along
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.face.done import Served
from benchproof.web.addresses import NoAddress, chosen
from benchproof.web.instruments import Gear, Plugged, Simulated
from benchproof.web.serve import serve


@click.command()
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8780,
    show_default=True,
    help="Where to serve it; 0 takes a free one.",
)
@click.option(
    "--lan",
    is_flag=False,
    flag_value="",
    metavar="[ADDRESS]",
    help="Let devices in the network in too, each with a code, over TLS; at this computer's "
    "ADDRESS, which must be named if it has several.",
)
@click.option(
    "--gear",
    metavar="GEAR",
    shell_complete=along("gears"),
    help="Plug in the instruments of a gear file.",
)
@click.option(
    "--simulated/--typed",
    default=True,
    help="Whether a simulated bench reads parts of the invented families.",
)
@click.option("--open/--no-open", "open_it", default=True, help="Open the browser.")
@STORE
@JSON
def bench(
    port: int,
    lan: str | None,
    gear: str | None,
    simulated: bool,
    open_it: bool,
    store: str | None,
    as_json: bool,
) -> None:
    """Serve the bench page on this computer and open it in the browser.

    Without --gear a simulated bench is plugged in. It reads parts of the families that come along
    and are invented, never those of a chart of your own: their readings are typed. With --lan a
    tablet in the same network can be paired: it types a code that is shown here.
    """

    def started(address: str) -> None:
        if as_json:
            print_json(Served(address=address))
        if open_it:
            webbrowser.open(address)

    def say(sentence: str) -> None:
        echo(sentence, err=as_json)

    try:
        at = None if lan is None else chosen(lan)
    except NoAddress as problem:
        raise Refused(f"--lan: {problem}") from None
    # A signal to end it ends it as Ctrl-C does: the archive is closed first.
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        serve(store, port, lan=at, plugged=_plugged(gear, simulated), say=say, started=started)
    except KeyboardInterrupt:
        say("The bench page is off.")
    except OSError as error:
        if error.errno not in (errno.EADDRINUSE, errno.EACCES):
            raise
        raise Refused(
            f"port {port}: {error.strerror or error}; name another with --port, or 0 for a free "
            "one."
        ) from None
    finally:
        signal.signal(signal.SIGTERM, before)


def _plugged(gear: str | None, simulated: bool) -> Plugged | None:
    """Return the instruments of this bench; nothing is talked to yet."""
    if gear is None:
        return Simulated() if simulated else None
    beside = Path(gear).parent
    return Gear(load_gear(gear), lambda name: load_dialect(name, beside))
