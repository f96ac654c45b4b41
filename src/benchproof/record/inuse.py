"""The mark in the archive's main file that says: a log belongs to it.

What is recorded goes into a log beside the file (NAME-wal) first, and from there into the file.
Whoever copies the file alone while a program records, or after one was killed, loses what is in the
log. So the file bears a mark (`user_version` 1) from before the first change until the last
program that has it open ends; the log is taken away only after the mark. A file that bears it and
has no log was parted from it.
"""

import contextlib
import sqlite3
from pathlib import Path

APPLICATION_ID = 0x62707266
"""Stands in the header of an SQLite archive."""
IN_USE = 1


def log_of(path: Path) -> Path:
    """Return where the log of a file is."""
    return path.with_name(f"{path.name}-wal")


def size(path: Path) -> int:
    """Return how many bytes a file has, 0 if it is not there."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def uri(path: Path, *options: str) -> str:
    """Return a file's name as SQLite takes it with options."""
    return f"{path.absolute().as_uri()}?{'&'.join(options)}"


def pragma(connection: sqlite3.Connection, name: str) -> int:
    """Return the number that a pragma tells."""
    (found,) = connection.execute(f"PRAGMA {name}").fetchone()
    return int(found)


def marked(connection: sqlite3.Connection) -> bool:
    """Tell whether the archive is marked as in use."""
    return pragma(connection, "user_version") == IN_USE


def mark(connection: sqlite3.Connection) -> bool:
    """Mark the archive as in use, durably; return whether the main file itself bears the mark.

    It does not yet where somebody who reads an older state keeps the log from being emptied.

    Raises
    ------
    sqlite3.Error
        If it cannot be written.
    """
    if not marked(connection):
        connection.execute("BEGIN IMMEDIATE")
        try:
            connection.execute(f"PRAGMA user_version={IN_USE}")
            connection.execute("COMMIT")
        except BaseException:
            connection.rollback()
            raise
    return _emptied(connection)


def parted(connection: sqlite3.Connection, path: Path) -> bool:
    """Tell whether a file that had no log before this connection was parted from it."""
    if connection.execute("PRAGMA journal_mode").fetchone() != ("wal",):
        # Somebody took the log into the file by other means.
        return False
    # Another program may have begun to record since: then there is a log now.
    return marked(connection) and not size(log_of(path))


def parted_sentence(path: Path) -> str:
    """Return what to say of a file that was parted from its log."""
    log = log_of(path).name
    return (
        f"{path}: was in use when it was copied, but its log {log} is missing, so what was "
        f"recorded last may be lost: copy {path.name} and {log} together from where they were, or "
        f"take what is there with benchproof restore {path} --store NEW."
    )


def settle(path: Path) -> None:
    """Take the log into the file, then the mark and the log away, if no program has it open.

    Called when a program lets go of the archive. Where it cannot be done, for whatever reason, all
    stays as it is, which loses nothing.
    """
    mark_left = False
    with (
        contextlib.suppress(sqlite3.Error, OSError),
        contextlib.closing(
            sqlite3.connect(uri(path, "mode=rw"), uri=True, isolation_level=None, timeout=0)
        ) as alone,
    ):
        # Set before the first look, it keeps everybody out from then on: who opens the archive
        # waits, and where anybody has it open the look fails.
        alone.execute("PRAGMA locking_mode=EXCLUSIVE").close()
        ours = pragma(alone, "application_id") == APPLICATION_ID
        if alone.execute("PRAGMA journal_mode").fetchone() != ("wal",):
            return
        mark_left = ours and marked(alone)
        if mark_left:
            # Each of the two ways into the file writes the log through first.
            alone.execute("PRAGMA synchronous=NORMAL").close()
            alone.execute("PRAGMA fullfsync=ON").close()
            # All else is in the file before the mark leaves it: copied alone at any moment, it is
            # whole or marked.
            if _emptied(alone):
                alone.execute("PRAGMA user_version=0").close()
                mark_left = not _emptied(alone)
        # SQLite takes the log away when this connection ends, but not its index.
        path.with_name(f"{path.name}-shm").unlink(missing_ok=True)
    if mark_left:
        # The disk failed in between: a mark without a log would be taken for a loss.
        with contextlib.suppress(OSError):
            log_of(path).touch()


def _emptied(connection: sqlite3.Connection) -> bool:
    """Take the log into the file; return whether all of it is there."""
    busy, logged, moved = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    return not busy and logged == moved
