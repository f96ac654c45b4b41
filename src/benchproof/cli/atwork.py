"""A sign of work: on a terminal, a command that is silent for a while says that it is at work."""

import sys
from threading import Lock, Timer

SILENT_S = 0.7
"""So long nobody wonders, seconds (common practice, no source)."""
SIGN = "Working it out ..."

_lock = Lock()
_timer: Timer | None = None
_shown = False


def working() -> None:
    """Begin to wait for the next output; tell the sign if it is not there in time."""
    global _timer
    if not sys.stderr.isatty():
        return
    spoken()
    with _lock:
        _timer = Timer(SILENT_S, _show)
        _timer.daemon = True
        _timer.start()


def spoken() -> None:
    """Take the sign away, or the waiting for it: something else is about to be shown."""
    global _timer, _shown
    with _lock:
        if _timer is not None:
            _timer.cancel()
        _timer = None
        if _shown:
            sys.stderr.write("\r" + " " * len(SIGN) + "\r")
            sys.stderr.flush()
        _shown = False


def _show() -> None:
    global _shown
    with _lock:
        # What waited for the lock may have been taken back meanwhile.
        if _timer is None:
            return
        sys.stderr.write(SIGN)
        sys.stderr.flush()
        _shown = True
