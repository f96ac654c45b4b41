"""A bench in memory, links that follow a script, and a server that is closed after the test."""

import random
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest

from benchproof.family.model import Pair, same_pair
from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.problems import Doubt, Trouble
from benchproof.instrument.scpi import Lines
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring

PAIRS: dict[str, Pair] = {"101": ("A", "E"), "102": ("B", "E"), "103": ("G", "H")}
CHANNELS = {same_pair(pair): (name,) for name, pair in PAIRS.items()}
POSITIONS = ("P", "R", "N")
OHMS = {
    ("A", "P"): 0.25,
    ("A", "R"): float("inf"),
    ("A", "N"): 270.0,
    ("B", "P"): 3300.0,
    ("B", "R"): 12.5,
    ("B", "N"): float("inf"),
}
"""Invented ohms by first pin and position; G-H is 1 ohm everywhere."""


def ohms(pair: Pair, position: str, lean: str) -> float:
    return OHMS.get((pair[0], position), 1.0)


def new_bench() -> SimBench:
    return SimBench(Wiring(PAIRS, POSITIONS, ohms), Faults())


Tamper = Callable[[str, bytes], bytes | None]


class MemoryLink:
    """A link to a bench in memory; `tamper` may change a reply, drop it, or raise a doubt."""

    name = "memory"

    def __init__(self, bench: SimBench, tamper: Tamper | None = None) -> None:
        self.bench, self.tamper = bench, tamper or (lambda _, reply: reply)
        self.now_s, self.opened, self.sent = 0.0, 0, list[str]()
        self._in, self._lines = b"", Lines()

    def push(self, data: bytes) -> None:
        """Let bytes wait that nobody asked for."""
        self._in += data

    def open(self) -> None:
        self.opened += 1
        self._in = b""

    def close(self) -> None:
        pass

    def write(self, data: bytes) -> None:
        for message in self._lines.feed(data):
            self.sent.append(message)
            reply = self.bench.execute(message)
            data = b"" if reply is None else f"{reply}\n".encode()
            self._in += self.tamper(message, data) or b""

    def read(self, timeout_s: float) -> bytes:
        data, self._in = self._in, b""
        if not data:
            self.now_s += max(timeout_s, 1e-3)
        return data

    def dialogue(self, dialect: Dialect | None = None) -> Dialogue:
        spoken = dialect or Dialect("standard")

        def sleep(seconds: float) -> None:
            self.now_s += seconds

        return Dialogue(
            self,
            "meter",
            spoken.conversation(),
            1.0,
            spoken.errors,
            clock=lambda: self.now_s,
            sleep=sleep,
        )


class DeadLink(MemoryLink):
    """A link that cannot be opened."""

    def open(self) -> None:
        raise Doubt(Trouble.NOT_THERE)


MakeLink = Callable[..., MemoryLink]
Serve = Callable[[SimBench], SimServer]


@pytest.fixture
def bench() -> SimBench:
    return new_bench()


@pytest.fixture
def link() -> MakeLink:
    """Return a maker of links to a bench in memory."""
    return MemoryLink


@pytest.fixture
def dead_link(bench: SimBench) -> MemoryLink:
    return DeadLink(bench)


@pytest.fixture
def channels() -> dict[frozenset[str], tuple[str, ...]]:
    return dict(CHANNELS)


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Return a starter of servers; each is closed after the test."""
    with ExitStack() as open_servers:

        def start(bench: SimBench) -> SimServer:
            server = SimServer(bench, random.Random(7))
            open_servers.callback(server.close)
            return server

        yield start
