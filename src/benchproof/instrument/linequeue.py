"""Lines from a stream that blocks, with a time-out: a thread reads, the caller waits."""

import threading
from collections import deque
from contextlib import suppress
from typing import IO

MOST_LETTERS = 1000
"""A line that is longer is thrown away as it comes."""
MOST_LINES = 100
"""Of more unread lines than these the oldest are forgotten: a display shows only what is new."""


class LineQueue:
    """The newest lines of a stream.

    Parameters
    ----------
    stream : text stream
        Read by a thread until it ends.
    """

    def __init__(self, stream: IO[str]) -> None:
        self._lines: deque[str] = deque(maxlen=MOST_LINES)
        self._changed = threading.Condition()
        self._stream = stream
        self._ended = False
        threading.Thread(target=self._read, daemon=True).start()

    def next(self, timeout_s: float) -> str | None:
        """Return the next line without its end, or None if none came in time.

        Raises
        ------
        EOFError
            If the stream has ended.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._lines or self._ended, timeout_s)
            if self._lines:
                return self._lines.popleft().rstrip("\r\n")
            if self._ended:
                raise EOFError
            return None

    def drop(self) -> None:
        """Throw away the lines that wait."""
        with self._changed:
            self._lines.clear()

    def _read(self) -> None:
        with suppress(OSError, ValueError):
            begins = True
            while line := self._stream.readline(MOST_LETTERS):
                # A last line without an end was cut short, and one that is longer is none.
                ends = line.endswith("\n")
                if begins and ends:
                    with self._changed:
                        self._lines.append(line)
                        self._changed.notify()
                begins = ends
        with self._changed:
            self._ended = True
            self._changed.notify()
