"""Changes reach every screen: those of other screens at once, those of commands soon."""

import asyncio
import threading
from typing import TYPE_CHECKING

import httpx2
import pytest

from benchproof.conduct.work import Work, now
from benchproof.proof.events import Remarked
from benchproof.web.app import make_app
from benchproof.web.hub import Hub
from benchproof.web.live import LOOK_S
from benchproof.web.security import DEVICE

from .conftest import apart, screen_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from starlette.types import Message, Scope
    from tests.web.conftest import Served

    from benchproof.web.devices import Devices
    from benchproof.web.site import Site


def messages(response: httpx2.Response) -> "Iterator[str]":
    """Yield what a stream says, message by message."""
    lines: list[str] = []
    for line in response.iter_lines():
        if line.startswith("data:"):
            lines.append(line.removeprefix("data:").removeprefix(" "))
        elif not line and lines:
            yield "\n".join(lines)
            lines = []


def test_a_command_is_seen_on_every_screen(served: "Served") -> None:
    address = f"{served.address}/proofs/S-1.1/live"
    with (
        httpx2.Client(timeout=10 * LOOK_S + 20) as client,
        client.stream("GET", address) as one,
        client.stream("GET", address) as other,
    ):
        first, second = messages(one), messages(other)
        for stream in (first, second):
            assert "Against accepting it" in next(stream)
        # As a command does it: straight into the archive.
        Work(served.site.store, "S-1.1").record(Remarked(now(), "MK", "heard it click"))
        for stream in (first, second):
            assert "heard it click" in next(stream)


def test_a_screen_that_is_up_to_date_is_not_sent_the_same_again(served: "Served") -> None:
    seq = served.site.store.proofs.row("S-1.1").last_seq
    address = f"{served.address}/proofs/S-1.1/live?seen={seq}"
    with httpx2.Client(timeout=1.5 * LOOK_S) as client, client.stream("GET", address) as response:
        assert response.headers["content-type"].startswith("text/event-stream")
        with pytest.raises(httpx2.ReadTimeout):
            next(messages(response))


def test_a_screen_that_is_closed_is_forgotten(served: "Served") -> None:
    address = f"{served.address}/align/harvest-ladder-8/live?part=gone"
    topic = "align/harvest-ladder-8/gone"

    def soon(screens: int) -> bool:
        done = threading.Event()
        for _ in range(200):
            if served.site.hub.screens(topic) == screens:
                return True
            done.wait(0.05)
        return False

    with httpx2.Client(timeout=10) as client, client.stream("GET", address) as response:
        # Held on to: a generator that is collected closes its stream.
        heard = messages(response)
        next(heard)
        assert soon(1)
    assert soon(0)


def test_what_is_not_there_has_no_stream(served: "Served") -> None:
    assert httpx2.get(f"{served.address}/proofs/none-such/live").status_code == 404
    assert httpx2.get(f"{served.address}/jobs/none-such/live").status_code == 404


def test_publishing_to_nobody_is_no_mistake() -> None:
    Hub().publish("nothing")


def test_a_device_that_is_forgotten_is_told_no_more(site: "Site", devices: "Devices") -> None:
    """Its stream ends, and that of another device goes on."""
    site.devices = devices
    held = [devices.pair(devices.new_code(), name) for name in ("lost", "kept")]
    app = make_app(site, ["bench.local"])

    async def watch(secret: str, sent: list["Message"]) -> None:
        headers = [(b"host", b"bench.local"), (b"cookie", f"{DEVICE}={secret}".encode())]
        scope: Scope = {
            "type": "http", "method": "GET", "scheme": "https",
            "path": "/align/valley-coded-7/live", "query_string": b"part=x",
            "headers": headers, "client": ("192.0.2.77", 40_000), "server": ("192.0.2.1", 443),
        }  # fmt: skip
        asked = iter([{"type": "http.request", "body": b"", "more_body": False}])

        async def receive() -> "Message":
            message = next(asked, None)
            return message or await asyncio.get_running_loop().create_future()

        async def send(message: "Message") -> None:
            sent.append(message)

        await app(scope, receive, send)

    async def both() -> None:
        sent: list[list[Message]] = [[], []]
        lost, kept = [
            asyncio.create_task(watch(str(secret), one))
            for secret, one in zip(held, sent, strict=True)
        ]
        while min(map(len, sent)) < 2:
            await asyncio.sleep(0.01)
        screen = screen_of(site)
        await asyncio.to_thread(screen.post, "/settings", do="forget", device=devices.list()[0].key)
        await asyncio.wait_for(lost, 5)
        assert sent[0][-1] == {"type": "http.response.body", "body": b"", "more_body": False}
        assert not kept.done()
        kept.cancel()
        await asyncio.gather(kept, return_exceptions=True)

    apart(asyncio.run, both())
