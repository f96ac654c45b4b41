"""Whether the bench still gets its page while a crowd tries to shut it out.

A crowd from other loopback addresses, which stand for strangers of the network, holds connections
to `benchproof bench --lan`: idle, a half handshake, half headers, dripping headers, slow bodies,
answers that are never read. Whoever is cut off comes again. Meanwhile the bench asks for its page.
"""

import asyncio
import random
import ssl
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter, sleep
from typing import IO

import httpx2
import psutil

from figures import write_between

DOC = Path(__file__).parent.parent / "docs" / "performance.md"
COMMAND = [sys.executable, "-c", "from benchproof.cli import main; main()", "bench", "--no-open"]
FOES = 1000
ADDRESSES = 100
SECONDS = 40.0
FILES = 256
SAID = "said"
"""Where the server's complaints go."""
NETWORK = "127.0.0.2"
"""Stands for the bench's address in the network; the crowd comes from those after it."""
AGAIN_S = 0.5
"""How soon one who was cut off comes again."""
ASK_S = 0.25
CALM_S = 2.0
HALF_HEAD = b"GET /pair HTTP/1.1\r\nHost: 127.0.0.2\r\nX-A: "
HALF_HELLO = bytes.fromhex("1603010200010001fc0303")
"""How a TLS handshake begins (RFC 8446, 4.1.2 and 5.1), and no more."""


@dataclass
class Trial:
    """What was seen.

    Attributes
    ----------
    answers_s, calm_s : list of float
        How long each answer to the bench took, seconds; infinite for none. `calm_s` is without the
        crowd, on the same machine just before.
    tried : int
        How often a hostile connection was tried.
    standing : int
        The most hostile connections that the crowd held at once.
    held : int
        The most connections that the server held at once.
    cut : Counter
        How often each kind was cut off.
    said : list of str
        What the server printed meanwhile, in lines.
    before_mb, most_mb, after_mb : float
        The server's memory before the crowd, at most, and after it has gone.
    """

    answers_s: list[float] = field(default_factory=list)
    calm_s: list[float] = field(default_factory=list)
    tried: int = 0
    standing: int = 0
    held: int = 0
    cut: Counter[str] = field(default_factory=Counter)
    said: list[str] = field(default_factory=list)
    before_mb: float = 0.0
    most_mb: float = 0.0
    after_mb: float = 0.0


Foe = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


async def _idle(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
    await reader.read(1)


async def _half_hello(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write(HALF_HELLO)
    await reader.read(1)


async def _half_head(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write(HALF_HEAD)
    await reader.read(1)


async def _dripping_head(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write(HALF_HEAD)
    await _drip(reader, writer)


async def _slow_body(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    port = writer.get_extra_info("peername")[1]
    head = (
        f"POST /pair HTTP/1.1\r\nHost: {NETWORK}:{port}\r\nContent-Length: 4000\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n\r\n"
    )
    writer.write(head.encode())
    await _drip(reader, writer)


async def _unread(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    port = writer.get_extra_info("peername")[1]
    asked = f"GET /pair HTTP/1.1\r\nHost: {NETWORK}:{port}\r\n\r\n".encode()
    writer.transport.pause_reading()  # type: ignore[attr-defined]
    while True:
        writer.write(asked)
        await writer.drain()
        await asyncio.sleep(1.0)


async def _drip(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while True:
        writer.write(b"a")
        with suppress(TimeoutError):
            await asyncio.wait_for(reader.read(1), 1.0)
            return


FOE_KINDS: dict[str, tuple[bool, Foe]] = {
    "idle": (False, _idle),
    "half a handshake": (False, _half_hello),
    "half headers": (True, _half_head),
    "dripping headers": (True, _dripping_head),
    "slow bodies": (True, _slow_body),
    "answers not read": (True, _unread),
}
"""Each kind: whether it shakes hands over TLS, and what it does then."""


_CAREFREE = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
_CAREFREE.check_hostname, _CAREFREE.verify_mode = False, ssl.CERT_NONE
"""A foe trusts anybody."""


@contextmanager
def serving(folder: Path) -> Iterator[tuple[int, psutil.Process, str]]:
    """Start the command as a person does; give its port, its process, and its certificate."""
    store = folder / "a.sqlite"
    command = [*COMMAND, "--lan", NETWORK, "--port", "0", "--store", str(store)]
    # No more open files than some systems give a program.
    command = ["sh", "-c", f'ulimit -n {FILES}; exec "$@"', "sh", *command]
    with (
        (folder / SAID).open("w") as said,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said, text=True) as running,
    ):
        try:
            out: IO[str] | None = running.stdout
            assert out is not None
            port = int(out.readline().split("127.0.0.1:")[1].split("/")[0])
            for _ in range(4):
                out.readline()
            pem = folder / "a.sqlite.desk" / "tls" / "certificate.pem"
            yield port, psutil.Process(running.pid), str(pem)
        finally:
            running.kill()


async def _foe(
    number: int, source: str, port: int, trial: Trial, stands: set[int], until: float
) -> None:
    """One of the crowd: holds on as long as it may, and comes again."""
    kind = [*FOE_KINDS][number % len(FOE_KINDS)]
    secure, what = FOE_KINDS[kind]
    await asyncio.sleep(random.Random(number).uniform(0.0, 3.0))
    while (left := until - perf_counter()) > 0.0:
        trial.tried += 1
        writer = None
        with suppress(OSError, TimeoutError, asyncio.IncompleteReadError):
            async with asyncio.timeout(left):
                reader, writer = await asyncio.open_connection(
                    NETWORK, port, ssl=_CAREFREE if secure else None, local_addr=(source, 0)
                )
                stands.add(number)
                trial.standing = max(trial.standing, len(stands))
                await what(reader, writer)
        stands.discard(number)
        trial.cut[kind] += perf_counter() < until
        if writer is not None:
            writer.transport.abort()
        await asyncio.sleep(AGAIN_S)


def ask(port: int, pem: str, seconds: float) -> None:
    """Print how long each of the bench's own requests takes, each as a browser that connects anew.

    In a process of its own: beside the crowd it would wait for the crowd's own work.
    """
    context = ssl.create_default_context(cafile=pem)
    until = perf_counter() + seconds
    while (start := perf_counter()) < until:
        try:
            with httpx2.Client(verify=context, timeout=10.0) as client:
                ok = client.get(f"https://127.0.0.1:{port}/").status_code == 200
        except httpx2.HTTPError:
            ok = False
        print(perf_counter() - start if ok else "inf", flush=True)
        sleep(ASK_S)


async def _watch(port: int, process: psutil.Process, trial: Trial, until: float) -> None:
    while perf_counter() < until:
        trial.most_mb = max(trial.most_mb, process.memory_info().rss / 1e6)
        trial.held = max(trial.held, await asyncio.to_thread(_connections, process, port))
        await asyncio.sleep(ASK_S)


def _connections(process: psutil.Process, port: int) -> int:
    found = process.net_connections("tcp4")
    return sum(one.status == "ESTABLISHED" and one.laddr[1] == port for one in found)


async def _crowd(
    foes: int, addresses: int, port: int, process: psutil.Process, seconds: float
) -> Trial:
    trial = Trial(before_mb=process.memory_info().rss / 1e6)
    until = perf_counter() + seconds
    stands: set[int] = set()
    async with asyncio.TaskGroup() as group:
        for number in range(foes):
            source = f"127.0.0.{number % addresses + 3}"
            group.create_task(_foe(number, source, port, trial, stands, until))
        group.create_task(_watch(port, process, trial, until))
    return trial


def attack(foes: int = FOES, addresses: int = ADDRESSES, seconds: float = SECONDS) -> Trial:
    """Let a crowd from so many addresses loose on a bench page of its own for so many seconds."""
    with tempfile.TemporaryDirectory() as name, serving(Path(name)) as (port, process, pem):
        asking = [sys.executable, __file__, "ask", str(port), pem]
        # What is loaded at the first request is no part of it.
        subprocess.run([*asking, "0.1"], check=True, stdout=subprocess.DEVNULL)
        calm = subprocess.run([*asking, f"{seconds / 4}"], check=True, stdout=subprocess.PIPE)
        with subprocess.Popen([*asking, str(seconds)], stdout=subprocess.PIPE, text=True) as bench:
            trial = asyncio.run(_crowd(foes, addresses, port, process, seconds))
            trial.calm_s = [float(line) for line in calm.stdout.split()]
            trial.answers_s = [float(line) for line in bench.communicate()[0].split()]
        sleep(CALM_S)
        trial.after_mb = process.memory_info().rss / 1e6
        trial.said = (Path(name) / SAID).read_text().splitlines()
        return trial


def told(trial: Trial) -> str:
    """Return the figures as docs/performance.md shows them."""
    answers, calm = sorted(trial.answers_s), sorted(trial.calm_s)
    refused = sum(one == float("inf") for one in answers)
    cut = ", ".join(f"{kind} {trial.cut[kind]:,}" for kind in FOE_KINDS)
    rows = (
        ("the crowd", f"{FOES:,} at a time from {ADDRESSES} addresses, for {SECONDS:.0f} s"),
        ("hostile connections tried", f"{trial.tried:,}"),
        ("cut off", cut),
        ("held by the server at most", f"{trial.held}"),
        ("the bench's own requests", f"{len(answers)}, refused {refused}"),
        ("answered within: median, slowest", _spread(answers)),
        ("the same just before, without the crowd", _spread(calm)),
        (
            "memory of the server: before, at most, after",
            f"{trial.before_mb:.0f}, {trial.most_mb:.0f}, {trial.after_mb:.0f} MB",
        ),
        ("complaints in the bench's window", f"{len(trial.said)} lines"),
    )
    return "\n".join(["| what | figure |", "|---|---|", *(f"| {a} | {b} |" for a, b in rows)])


def _spread(ordered: list[float]) -> str:
    return f"{ordered[len(ordered) // 2]:.2f} s, {ordered[-1]:.2f} s"


def main() -> None:
    """Measure, and write docs/performance.md."""
    if sys.argv[1:2] == ["ask"]:
        port, pem, seconds = sys.argv[2:]
        ask(int(port), pem, float(seconds))
        return
    trial = attack()
    print(told(trial))
    write_between(DOC, "hostile", told(trial))


if __name__ == "__main__":
    main()
