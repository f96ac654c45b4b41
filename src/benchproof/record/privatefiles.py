"""Files that hold records: only their owner reads them, and they appear whole or not at all.

What the program writes by itself (archives, backups, exports) is made 0600 in folders 0700, or
stricter if the person's own umask is. What a person asks for by name to hand on, such as a
certificate, is written by others and keeps the umask.
"""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from benchproof.record.problems import Unusable

_UNFINISHED = ".benchproof-unfinished-"


def opened(path: Path) -> BinaryIO:
    """Open a file to be written, which only its owner may read."""
    return open(path, "wb", opener=lambda name, flags: os.open(name, flags, 0o600))


def make_folder(path: Path) -> None:
    """Make a folder and those above it where they are missing, for their owner only.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    for missing in [one for one in (*reversed(path.parents), path) if not one.exists()]:
        missing.mkdir(mode=0o700, exist_ok=True)


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Give a new folder beside a path, in which what shall stand there is made; then it is deleted.

    What an earlier one left when it was killed is deleted first.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    make_folder(path.parent)
    prefix = f"{_UNFINISHED}{path.name}-"
    _delete_leftovers(path.parent, prefix)
    while True:
        folder = Path(tempfile.mkdtemp(prefix=prefix, dir=path.parent))
        held = _held(folder, wait=True)
        if folder.exists():
            break
        # Another one that cleans up came between.
        _let_go(held)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        _let_go(held)


def _delete_leftovers(parent: Path, prefix: str) -> None:
    for folder in parent.iterdir():
        if folder.name.startswith(prefix):
            held = _held(folder, wait=False)
            # Whoever still works in it holds it.
            if held is not None:
                shutil.rmtree(folder, ignore_errors=True)
                _let_go(held)


def _held(folder: Path, *, wait: bool) -> int | None:
    """Hold a folder as long as this process lives; None if another does, or it cannot be held."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        number = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(number, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(number)
        return None
    return number


def _let_go(number: int | None) -> None:
    if number is not None:
        os.close(number)


def born(path: Path, application: int) -> None:
    """Make a new archive, without tables yet, unless one is there; it is never an empty file.

    Parameters
    ----------
    path : Path
        Where the SQLite file shall be.
    application : int
        The number in its header.

    Raises
    ------
    Unusable
        If it cannot be made, or an empty file is there.
    """
    try:
        if path.exists():
            if path.stat().st_size == 0:
                raise Unusable(
                    f"{path}: is an empty file, which an archive never is, so it may have lost its "
                    "records; restore a backup to a new file, or delete this one to begin anew."
                )
            return
        make_folder(path.parent)
        handle, name = tempfile.mkstemp(prefix=f"{_UNFINISHED}{path.name}-", dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise Unusable(f"{path}: cannot be made ({error.strerror}).") from None
    new = Path(name)
    try:
        with closing(sqlite3.connect(new)) as connection:
            connection.execute(f"PRAGMA application_id={application}")
        # Another program may have made it meanwhile; nothing is ever put over an archive.
        with suppress(FileExistsError):
            _put(new, path)
    except (OSError, sqlite3.Error) as error:
        raise Unusable(f"{path}: cannot be made ({error}).") from None
    finally:
        new.unlink(missing_ok=True)


def _put(new: Path, path: Path) -> None:
    try:
        path.hardlink_to(new)
    except FileExistsError:
        raise
    except OSError:
        # A disk without links.
        if path.exists():
            raise FileExistsError from None
        new.rename(path)
