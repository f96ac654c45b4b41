"""The devices that may come in from the network: each is paired once with a code.

A code is read off the bench's own screen and typed on the device. It holds for one device, for ten
minutes, and for a few mistakes.
"""

import json
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from hmac import compare_digest
from pathlib import Path
from threading import Lock

from benchproof.web.desk import write_whole

DIGITS = 8
GOOD_S = 600.0
MOST_MISTAKES = 5
"""So many wrong codes, from whomever, and the code is gone: 5 guesses at one in 100 million."""
MOST_DEVICES = 50


@dataclass(frozen=True)
class Device:
    """A paired device.

    Attributes
    ----------
    key : str
        Hash of the secret that it holds.
    name : str
        What it was called when it was paired.
    """

    key: str
    name: str


class Devices:
    """The paired devices, kept on disk.

    Parameters
    ----------
    path : Path
        Their file.
    clock : callable
        Returns seconds that never go back.
    """

    def __init__(self, path: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._path = path
        self._clock = clock
        self._lock = Lock()
        self._code, self._until, self._mistakes = "", 0.0, 0
        try:
            told = json.loads(path.read_bytes())
            self._known = {str(key): str(name) for key, name in told.items()}
        except (FileNotFoundError, ValueError, AttributeError):
            # Without a list nobody is paired, which is safe.
            self._known = {}

    def new_code(self) -> str:
        """Make a code for one device, in place of the last one."""
        with self._lock:
            self._code = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
            self._until, self._mistakes = self._clock() + GOOD_S, 0
            return self._code

    def pair(self, code: str, name: str) -> str | None:
        """Return the secret of a device that brings the code; None if it is not the code."""
        typed = "".join(letter for letter in code if letter.isdecimal() and letter.isascii())
        with self._lock:
            good = bool(self._code) and self._clock() < self._until
            if not good or not compare_digest(typed, self._code):
                self._mistakes += 1
                if self._mistakes >= MOST_MISTAKES:
                    self._code = ""
                return None
            self._code = ""
            held = secrets.token_urlsafe(32)
            while len(self._known) >= MOST_DEVICES:
                del self._known[next(iter(self._known))]
            self._known[_key(held)] = name.strip()[:40] or "device"
            self._write()
            return held

    def knows(self, held: str) -> bool:
        """Tell whether a device was paired."""
        with self._lock:
            return _key(held) in self._known

    def list(self) -> list[Device]:
        """Return the paired devices, the first one first."""
        with self._lock:
            return [Device(key, name) for key, name in self._known.items()]

    def forget(self, key: str) -> None:
        """Let a device in no more."""
        with self._lock:
            if self._known.pop(key, None) is not None:
                self._write()

    def _write(self) -> None:
        write_whole(self._path, json.dumps(self._known).encode())


def _key(held: str) -> str:
    return sha256(held.encode("utf-8", "replace")).hexdigest()
