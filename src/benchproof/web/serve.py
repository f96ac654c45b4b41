"""Serving the page: on this computer only, or to paired devices in the network."""

import asyncio
import gc
import logging
import socket
from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path

import uvicorn
from anyio.to_thread import current_default_thread_limiter

from benchproof.family.safetext import for_terminal
from benchproof.record.database import Database
from benchproof.record.inuse import log_of
from benchproof.record.store import open_store
from benchproof.web.addresses import EVERY, own_names, reached
from benchproof.web.app import LOOPBACK, make_app
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.devices import Devices
from benchproof.web.gate import BACKLOG, Door, Gate
from benchproof.web.instruments import Plugged
from benchproof.web.memory import keep_small
from benchproof.web.site import Reach, Site
from benchproof.web.tls import certificate

THREADS = 12
WAIT_S, CUT_S = 3, 1
"""How long answers that are under way may hold up the end; a little before, who does not take his
is cut off."""


def local_now() -> datetime:
    """Return the time, with its offset."""
    return datetime.now().astimezone()


def serve(
    where: str | None,
    port: int,
    *,
    lan: str | None,
    plugged: Plugged | None = None,
    say: Callable[[str], None],
    started: Callable[[str], None],
) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    where : str or None
        The archive, as `record.store.open_store` takes it.
    port : int
        0 takes a free one.
    lan : str or None
        The address of this computer at which devices in the network may be paired, over TLS; None
        for no devices.
    plugged : Plugged or None
        The instruments of this bench; let go of at the end.
    say : callable
        Told in sentences how to reach it.
    started : callable
        Called with the page's address once it is there.

    Raises
    ------
    RecordProblem
        If the archive cannot be opened.
    OSError
        If the port is taken.
    """
    keep_small()
    with open_store(where, local_now) as store:
        desk = desk_of(store)
        devices = Devices(desk / "devices.json") if lan else None
        site = Site(store, desk, secret_of(desk), devices, plugged)
        names = own_names(lan) if lan else list(LOOPBACK)
        files: tuple[Path, Path] | None = None
        fingerprint = ""
        if lan:
            *paths, fingerprint = certificate(desk / "tls", names, local_now())
            files = Path(paths[0]), Path(paths[1])
        with ExitStack() as open_sockets:
            listening = [
                open_sockets.enter_context(listening_socket(_at_bench(lan), port, site.gate))
            ]
            held = listening[0].getsockname()[1]
            if lan and lan != _at_bench(lan):
                listening.append(open_sockets.enter_context(listening_socket(lan, held, site.gate)))
            address = f"{'https' if lan else 'http'}://127.0.0.1:{held}/"
            say(f"The bench page is at {address}; Ctrl-C ends it.")
            if lan and devices is not None:
                site.reach = Reach(
                    tuple(f"https://{one}:{held}/" for one in reached(lan)), fingerprint
                )
                say("From the network: " + ", ".join(site.reach.addresses))
                say(f"Its certificate has the SHA-256 fingerprint {fingerprint}.")
                say(f"Code for one device, good for ten minutes: {devices.new_code()}")
                say("More codes: Settings, on this computer.")
            say(_where_it_is(store.database))
            config = _config(site, names, files)
            server = _Server(config, site, started=lambda: started(address))
            try:
                server.run(sockets=listening)
            finally:
                site.jobs.end()
                if plugged is not None:
                    plugged.close()


def _where_it_is(database: Database) -> str:
    """Return where the archive is, and which files are one with it."""
    if database.path is None:
        return f"The archive is {database.place}."
    path = database.path.absolute()
    return (
        f"The archive is {path}; while this runs, {log_of(path).name} beside it belongs to it: "
        "copy it with benchproof backup."
    )


def _at_bench(lan: str | None) -> str:
    """Return the address at which the bench's own browser is served."""
    return EVERY if lan == EVERY else "127.0.0.1"


class _Server(uvicorn.Server):
    """A server that says when it is there, and ends the streams before it ends."""

    def __init__(self, config: uvicorn.Config, site: Site, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._site = site
        self._said = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        # No more at once than the archive has connections for.
        current_default_thread_limiter().total_tokens = THREADS
        # Python looks through its old objects the later the more of them there are, and a
        # connection over TLS leaves a third of a megabyte to be found: the program's own are set
        # apart.
        gc.collect()
        gc.freeze()
        await super().startup(sockets)
        if self.started:
            self._said()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End quietly."""
        self._site.hub.end()
        self._site.gate.cut(idle_only=True)
        asyncio.get_running_loop().call_later(
            WAIT_S - CUT_S, lambda: self._site.gate.cut(idle_only=False)
        )
        await super().shutdown(sockets)


class ShownLines(logging.Formatter):
    """Log lines in which control characters are shown, as everywhere on a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, or the lines of what went wrong."""
        return for_terminal(super().format(record))


_LOG = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"shown": {"()": ShownLines, "fmt": "%(levelname)s: %(message)s"}},
    "handlers": {"terminal": {"class": "logging.StreamHandler", "formatter": "shown"}},
    "loggers": {"uvicorn": {"handlers": ["terminal"], "propagate": False}},
}


def _config(site: Site, names: list[str], files: tuple[Path, Path] | None) -> uvicorn.Config:
    return uvicorn.Config(
        make_app(site, names),
        # Warnings are of what strangers send; the person at the bench can do nothing about it.
        log_level="error",
        log_config=_LOG,
        # Both are named: others that may be installed would not accept at our door.
        loop="asyncio:SelectorEventLoop",
        http="h11",
        backlog=BACKLOG,
        access_log=False,
        server_header=False,
        # No proxy stands before it, so nobody may say that he is somebody else.
        proxy_headers=False,
        ws="none",
        lifespan="off",
        timeout_graceful_shutdown=WAIT_S,
        ssl_certfile=None if files is None else files[0],
        ssl_keyfile=None if files is None else files[1],
    )


def listening_socket(host: str, port: int, gate: Gate) -> socket.socket:
    """Return a socket that listens, so that what fails fails before anything is said.

    Parameters
    ----------
    host : str
        The address.
    port : int
        0 takes a free one.
    gate : Gate
        What its connections pass.

    Raises
    ------
    OSError
        If the port is taken.
    """
    listening = Door(socket.AF_INET, socket.SOCK_STREAM)
    listening.gate = gate
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(BACKLOG)
    except OSError:
        listening.close()
        raise
    return listening
