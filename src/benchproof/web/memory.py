"""How the server holds memory: what it no longer needs goes back to the system at once.

Left to itself the C library takes the largest block that was ever freed for the usual size, keeps
blocks up to it, and has a heap for each thread: after some uploads a server held twice what it
used.
"""

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8
"""Of glibc's malloc.h."""
BLOCK = 262_144
"""Bytes; a larger block is the system's own, and returns to it whole."""


def keep_small() -> bool:
    """Let the C library keep little of what is freed; return whether it can be told so."""
    if sys.platform != "linux":
        return False
    tell = getattr(ctypes.CDLL(None), "mallopt", None)
    if tell is None:
        return False
    # Python runs one thread at a time, so one heap holds nobody up.
    settings = ((_MMAP_THRESHOLD, BLOCK), (_TRIM_THRESHOLD, BLOCK), (_ARENA_MAX, 1))
    return all(tell(what, value) == 1 for what, value in settings)
