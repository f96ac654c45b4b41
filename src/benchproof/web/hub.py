"""Which screens are open, and word to them that something changed."""

import asyncio
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from threading import Lock


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

    def _wake(self, screens: Iterable[tuple[asyncio.AbstractEventLoop, asyncio.Event]]) -> None:
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
    def opened(self, topic: str) -> Iterator[asyncio.Event]:
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
