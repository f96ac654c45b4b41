"""Files that a person names are read only if they are files: a pipe or a device may never end."""

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

NO_FILE = "is no regular file but a pipe or a device; copy what it gives into a file first"


def open_regular(path: Path) -> BinaryIO:
    """Return a file that is open for reading, at once.

    Raises
    ------
    OSError
        If it is not there, cannot be read, or is no regular file.
    """
    # Without this flag to open a pipe waits for somebody who writes to it.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags)
    mode = os.fstat(handle).st_mode
    if stat.S_ISREG(mode):
        return os.fdopen(handle, "rb")
    os.close(handle)
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    raise OSError(errno.EINVAL, NO_FILE, str(path))


def read_regular(path: Path, most: int = -1) -> bytes:
    """Return the content of a file, or its first `most` bytes.

    Raises
    ------
    OSError
        As for `open_regular`.
    """
    with open_regular(path) as file:
        return file.read(most)
