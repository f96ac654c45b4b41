"""Changes pushed to the open screens, so that two screens on one thing stay in step."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import contextmanager
from threading import Lock
from typing import TYPE_CHECKING

from anyio import move_on_after
from sse_starlette import EventSourceResponse, ServerSentEvent
from sse_starlette.sse import AppStatus
from starlette.concurrency import run_in_threadpool

from benchproof.web.security import may_enter

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from starlette.requests import Request

    from benchproof.web.site import Site

PING_S = 15
LOOK_S = 1.0
"""How often a screen looks whether somebody else, a command say, changed the archive."""
TAKE_UP_MS = 500
"""How soon a browser connects again."""

# The library would cut the streams when the server is told to end; `Hub.end` ends them whole.
AppStatus.enable_automatic_graceful_drain = False


class Hub:
    """Which screens are open, by topic; any thread may publish.

    Attributes
    ----------
    is_over : bool
        Whether the page is going off, and every stream with it.
    """

    def __init__(self) -> None:
        self.is_over = False
        self._lock = Lock()
        self._open: dict[str, set[tuple[asyncio.AbstractEventLoop, asyncio.Event]]] = {}

    def publish(self, topic: str) -> None:
        """Tell every screen on a topic that it changed."""
        with self._lock:
            screens = tuple(self._open.get(topic, ()))
        self._wake(screens)

    def look_again(self) -> None:
        """Let every stream see whether it may still go on: a device may be forgotten."""
        with self._lock:
            screens = [screen for open_ in self._open.values() for screen in open_]
        self._wake(screens)

    def end(self) -> None:
        """End every stream, whole, so that the page can go off."""
        self.is_over = True
        self.look_again()

    def _wake(self, screens: "Iterable[tuple[asyncio.AbstractEventLoop, asyncio.Event]]") -> None:
        for loop, changed in screens:
            try:
                loop.call_soon_threadsafe(changed.set)
            except RuntimeError:
                # That screen's loop is closed: there is nobody to tell.
                continue

    def screens(self, topic: str) -> int:
        """Return how many screens are open on a topic."""
        with self._lock:
            return len(self._open.get(topic, ()))

    @contextmanager
    def opened(self, topic: str) -> "Iterator[asyncio.Event]":
        """Count a screen in for the time of a block; the event it gets is set at each change."""
        screen = (asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._open.setdefault(topic, set()).add(screen)
        try:
            yield screen[1]
        finally:
            with self._lock:
                self._open[topic].discard(screen)
                if not self._open[topic]:
                    del self._open[topic]


def stream(
    request: "Request",
    topic: str,
    render: Callable[[], str],
    stamp: Callable[[], object] | None = None,
) -> EventSourceResponse:
    """Return a stream of HTML: now, and whenever the topic changes.

    Parameters
    ----------
    request : Request
        Who asked: the stream ends when he may come in no more. Its query may tell what he has
        seen: the stamp, as text, of what the screen shows already; it is not sent that again.
    topic : str
    render : callable
        Makes the HTML; called in a thread of its own, so it may read the archive.
    stamp : callable, optional
        Returns something that differs once the archive was changed from elsewhere; looked at every
        `LOOK_S` seconds, in a thread.

    Notes
    -----
    Several changes at once are one message: a screen shows how things are, not how they came.
    """
    site: Site = request.app.state.site
    hub, seen = site.hub, request.query_params.get("seen", "")

    def goes_on() -> bool:
        return not hub.is_over and may_enter(request.scope, site.devices)

    async def told() -> AsyncIterator[ServerSentEvent]:
        with hub.opened(topic) as changed:
            known = await run_in_threadpool(stamp) if stamp else None
            sent = ""
            if stamp is None or str(known) != seen:
                sent = await run_in_threadpool(render)
                yield ServerSentEvent(data=sent, retry=TAKE_UP_MS)
            while goes_on():
                with move_on_after(LOOK_S if stamp else None):
                    await changed.wait()
                if not changed.is_set() and stamp:
                    found = await run_in_threadpool(stamp)
                    if found == known:
                        continue
                    known = found
                changed.clear()
                if not goes_on():
                    return
                now = await run_in_threadpool(render)
                # Whoever made the change has it on the screen already.
                if now != sent:
                    sent = now
                    yield ServerSentEvent(data=sent)

    return EventSourceResponse(told(), ping=PING_S)
