"""What may fill the memory is done in a process of its own, one at a time.

The process bounds its own memory (`drawing.bounded`); here it is started, given its input and
waited for.
"""

import ctypes
import os
import shutil
import subprocess
import sys
import tempfile
from threading import Lock
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from collections.abc import Sequence

_ONE_AT_A_TIME = Lock()
"""Each may take some hundred megabytes."""


class Broke(Exception):
    """The process ended without an answer."""


def apart(program: "Sequence[str]", content: bytes | BinaryIO, seconds: float) -> bytes:
    """Run a program of ours in Python and return what it writes to standard output.

    Parameters
    ----------
    program : sequence of str
        Arguments for Python.
    content : bytes or BinaryIO
        What it finds on standard input, a file; one that is open is never held here as a whole.
    seconds : float
        So long it may take.

    Raises
    ------
    Broke
        If it failed or said nothing.
    TimeoutError
        If it took longer.
    """
    with _ONE_AT_A_TIME, tempfile.TemporaryFile() as file:
        _give_back()
        if isinstance(content, bytes):
            file.write(content)
        else:
            content.seek(0)
            shutil.copyfileobj(content, file)
        file.seek(0)
        try:
            done = subprocess.run(
                [sys.executable, "-I", *program],
                stdin=file,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                timeout=seconds,
                check=False,
                # Each thread of its own would set address space aside.
                env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            )
        except subprocess.TimeoutExpired:
            raise TimeoutError from None
    if done.returncode or not done.stdout:
        raise Broke
    return done.stdout


def _give_back() -> None:
    """Give memory that is free, but still ours, back to the system."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if sys.platform == "linux" else None
    if trim is not None:
        trim(0)
