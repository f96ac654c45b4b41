"""The archive as one SQLite file: open to record, or open only to read, wherever it lies."""

import os
import shutil
import sqlite3
import tempfile
import weakref
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import QueuePool

from benchproof.record import inuse
from benchproof.record.failures import sqlite_name
from benchproof.record.inuse import APPLICATION_ID, log_of, size, uri
from benchproof.record.privatefiles import born, make_folder
from benchproof.record.problems import Unusable, no_archive

WAIT_MS = 20_000
"""How long one program waits for another that is writing."""
_NO_LOG = ("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_IOERR", "SQLITE_FULL", "SQLITE_PERM")
"""Beginnings of the errors where the index of the log cannot be made."""
_TRIES = 3


class RecordFile:
    """An SQLite file that is open to record; made if it is not there.

    Parameters
    ----------
    path : Path

    Attributes
    ----------
    engine : Engine
    notes : tuple of str
        Sentences that a person should read; none here.

    Raises
    ------
    Unusable
        If it is no archive, or was parted from its log.
    """

    notes: tuple[str, ...] = ()

    def __init__(self, path: Path) -> None:
        try:
            make_folder(path.parent)
        except OSError as error:
            raise Unusable(f"{path.parent}: cannot be made ({error.strerror}).") from None
        _check_file(path)
        born(path, APPLICATION_ID)
        logged = log_of(path).exists()
        self._path = path
        self._marked = False

        def connect() -> sqlite3.Connection:
            return _recording(path, logged=logged)

        self.engine = _engine(connect)
        try:
            with self.engine.connect():
                # SQLite takes the log away with the last connection that could write. This one
                # cannot, and ends after all others: the mark goes before the log.
                keeper = _reading(path, "mode=ro")
        except BaseException:
            self.engine.dispose()
            raise
        self._end = weakref.finalize(self, _end, self.engine, keeper, path)

    def before_change(self) -> None:
        """Mark the file as in use."""
        if self._marked:
            return
        with self.engine.connect() as connection:
            driver = connection.connection.driver_connection
            if driver is None:
                raise AssertionError("the connection is closed")
            self._marked = inuse.mark(driver)

    def copy_to(self, target: sqlite3.Connection) -> None:
        """Copy the file as it is at one moment."""
        _copy(_reading(self._path, "mode=ro"), target)

    def close(self) -> None:
        """Let go of the file."""
        self._end()


class ReadFile:
    """An SQLite file that is open only to read; nothing is made, changed or left beside it.

    Parameters
    ----------
    path : Path

    Attributes
    ----------
    engine : Engine
    notes : tuple of str
        Sentences that a person should read.

    Raises
    ------
    Unusable
        If it is no archive, or cannot be read.
    """

    def __init__(self, path: Path) -> None:
        _check_file(path)
        if not path.is_file():
            raise no_archive(str(path.absolute()))
        self.notes: tuple[str, ...] = ()
        self._path = path
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._before: tuple[object, ...] | None = None
        self._tidy = not log_of(path).exists()
        self._file, self._how = path, "mode=ro"
        self._keeper = self._opened()
        file, how = self._file, self._how
        self.engine = _engine(lambda: _reading(file, how))

    def before_change(self) -> None:
        """Refuse: what is open to read is not written."""
        raise AssertionError("the archive was opened only to read")

    def copy_to(self, target: sqlite3.Connection) -> None:
        """Copy the file as it is at one moment."""
        _copy(_reading(self._file, self._how), target)

    def close(self) -> None:
        """Let go of the file.

        Raises
        ------
        Unusable
            If it was read without its locks, and somebody wrote to it meanwhile.
        """
        self.engine.dispose()
        self._keeper.close()
        if self._folder is not None:
            self._folder.cleanup()
        elif self._before is not None:
            if self._before != _state(self._path):
                raise Unusable(f"{self._path}: was written to while it was read; do it again.")
        elif self._tidy:
            inuse.settle(self._path)

    def _opened(self) -> sqlite3.Connection:
        path, log = self._path, log_of(self._path)
        if not log.exists():
            connection = self._still()
            if inuse.marked(connection) and not log.exists():
                self.notes = (inuse.parted_sentence(path),)
                return connection
            connection.close()
        # Who may not write the file would leave a log of its own beside it, for the owner to
        # stumble over.
        if not size(log) and not os.access(path, os.W_OK):
            return self._still()
        self._before, self._how = None, "mode=ro"
        try:
            return _reading(path, self._how)
        except sqlite3.Error as error:
            if not sqlite_name(error).startswith(_NO_LOG):
                raise
        if not size(log):
            # What the attempt left beside the file goes.
            inuse.settle(path)
            return self._still()
        self._folder, self._file = _copied(path)
        return _reading(self._file, self._how)

    def _still(self) -> sqlite3.Connection:
        """Open it as a file that nobody writes, without locks; close() looks whether that held."""
        self._before, self._how = _state(self._path), "mode=ro&immutable=1"
        return _reading(self._path, self._how)


class ReadCopy:
    """An older archive, read as a copy that is brought to the newest shape.

    Parameters
    ----------
    path : Path
        The archive, which stays as it is.
    fill : callable
        Makes the copy at the path that it is given.

    Attributes
    ----------
    engine : Engine
    notes : tuple of str
        Says so.

    Raises
    ------
    Unusable
        If there is no room for a copy.
    """

    def __init__(self, path: Path, fill: Callable[[Path], None]) -> None:
        self._folder = temporary(path)
        try:
            copied = Path(self._folder.name) / path.name
            fill(copied)
            self._read = ReadFile(copied)
        except (sqlite3.OperationalError, OSError) as error:
            self._folder.cleanup()
            raise no_room(path, error) from None
        except BaseException:
            self._folder.cleanup()
            raise
        self.engine = self._read.engine
        self.notes: tuple[str, ...] = (
            f"{path}: is of an older benchproof and was left as it is; a copy of it was brought up "
            "and read. The next command that records brings up the archive itself.",
        )

    def before_change(self) -> None:
        """Refuse: what is open to read is not written."""
        self._read.before_change()

    def close(self) -> None:
        """Let go of the copy, and throw it away."""
        self._read.close()
        self._folder.cleanup()


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise Unusable(f"{path}: is a folder; name a file for the archive.")


def _end(engine: Engine, keeper: sqlite3.Connection, path: Path) -> None:
    engine.dispose()
    keeper.close()
    inuse.settle(path)


def _engine(connect: Callable[[], sqlite3.Connection]) -> Engine:
    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool)

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writing = connection.get_execution_options().get("writing")
        # The lock is taken at once: a reader that becomes a writer might find a newer state.
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _connection(path: Path, how: str) -> sqlite3.Connection:
    # Transactions are begun by hand: sqlite3 would begin them late.
    return sqlite3.connect(
        uri(path, how),
        uri=True,
        timeout=WAIT_MS / 1000,
        check_same_thread=False,
        isolation_level=None,
    )


def _recording(path: Path, *, logged: bool) -> sqlite3.Connection:
    connection = _connection(path, "mode=rwc")
    try:
        # Before anything is set: the log would change a database of another program.
        _check_ours(connection, path)
        if not logged and inuse.parted(connection, path):
            raise Unusable(inuse.parted_sentence(path))
        for pragma in (
            "journal_mode=WAL",
            # A commit is on disk before it returns; fullfsync is for macOS.
            "synchronous=FULL",
            "fullfsync=ON",
            "foreign_keys=ON",
        ):
            connection.execute(f"PRAGMA {pragma}").close()
    except BaseException:
        connection.close()
        raise
    return connection


def _reading(path: Path, how: str) -> sqlite3.Connection:
    connection = _connection(path, how)
    try:
        # It is only by looking into it that SQLite opens the log and takes its locks.
        _check_ours(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def _check_ours(connection: sqlite3.Connection, path: Path) -> None:
    (found,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if tables and found != APPLICATION_ID:
        raise Unusable(f"{path}: is a database of another program, not an archive of benchproof.")


def _copy(source: sqlite3.Connection, target: sqlite3.Connection) -> None:
    try:
        source.backup(target)
    finally:
        source.close()
    # One file without a log beside it, and without the mark that there is one.
    target.execute("PRAGMA journal_mode=DELETE").close()
    target.execute("PRAGMA user_version=0").close()
    target.commit()


def _state(path: Path) -> tuple[object, ...]:
    told = path.stat()
    return told.st_mtime_ns, told.st_size, size(log_of(path))


def _copied(path: Path) -> tuple["tempfile.TemporaryDirectory[str]", Path]:
    """Copy a file and its log to where the log can be read."""
    folder = temporary(path)
    try:
        for _ in range(_TRIES):
            before = _state(path)
            copied = Path(folder.name) / path.name
            shutil.copyfile(path, copied)
            shutil.copyfile(log_of(path), log_of(copied))
            if before == _state(path):
                return folder, copied
    except OSError as error:
        with suppress(OSError):
            folder.cleanup()
        raise no_room(path, error) from None
    folder.cleanup()
    raise Unusable(f"{path}: is written to while it is read; do it again.")


def temporary(path: Path) -> "tempfile.TemporaryDirectory[str]":
    """Return a new folder for a copy of the archive at `path`.

    Raises
    ------
    Unusable
        If no disk has room for one.
    """
    try:
        return tempfile.TemporaryDirectory(prefix="benchproof-")
    except OSError as error:
        raise no_room(path, error) from None


def no_room(path: Path, error: object) -> Unusable:
    """Return what to say where a copy cannot be made."""
    why = getattr(error, "strerror", None) or error
    return Unusable(
        f"{path}: can be read only from a copy here, and none can be made ({why}): set TMPDIR to a "
        "folder on a disk with room."
    )
