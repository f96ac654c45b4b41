"""Changes reach every screen: those of other screens at once, those of commands soon."""

import threading
from typing import TYPE_CHECKING

import httpx2
import pytest

from benchproof.conduct.work import Work, now
from benchproof.proof.events import Remarked
from benchproof.web.live import LOOK_S, Hub

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.web.conftest import Served


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
