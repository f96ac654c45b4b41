"""What an engine's error means: one sentence that a person can act on."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError, IntegrityError

from benchproof.record.passwords import without_secrets
from benchproof.record.problems import Conflict, RecordProblem, Unusable

_DAMAGED = "is damaged: restore a backup, or take out what is sound with benchproof salvage"
_SQLITE: tuple[tuple[tuple[str, ...], str], ...] = (
    (("SQLITE_FULL",), "the disk is full: nothing was recorded; make room and record it again"),
    (
        ("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH"),
        "cannot be written: the file, its folder or the disk is read-only; nothing was recorded",
    ),
    (
        ("SQLITE_CANTOPEN",),
        "cannot be opened: look whether the folder is there and may be written",
    ),
    (
        ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"),
        "another program holds it; nothing was recorded: close that one or try again",
    ),
    (("SQLITE_NOTADB",), "is not a database, or its first page is damaged: restore a backup"),
    (("SQLITE_CORRUPT",), _DAMAGED),
    (
        ("SQLITE_IOERR",),
        "the disk failed or is full: nothing was recorded; make room, look after the disk",
    ),
)
"""The beginning of SQLite's error name, and what to say of it."""


@contextmanager
def told(place: str, url: URL | None = None) -> Iterator[None]:
    """Turn what the engine of the archive at `place` raises into a sentence.

    Of a server's error, which may quote how it was called, nothing secret is told, and no cause.

    Raises
    ------
    Conflict
        If a rule of the tables was broken.
    Unusable
        If anything else failed.
    """
    try:
        yield
    except IntegrityError as error:
        said = _said(error.orig, url)
        raise Conflict(f"The archive does not allow this ({said}).") from _cause(error, url)
    except DBAPIError as error:
        raise _told(place, error.orig, _said(error.orig, url)) from _cause(error, url)
    except sqlite3.Error as error:
        raise _told(place, error, _said(error, url)) from error
    except UnicodeDecodeError as error:
        # What SQLite says of a damaged file quotes it, and the driver cannot read that.
        raise Unusable(f"{place}: {_DAMAGED}.") from error


def _said(error: object, url: URL | None) -> str:
    said = (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".")
    return said if url is None else without_secrets(said, url)


def _cause(error: Exception, url: URL | None) -> Exception | None:
    return error if url is None else None


def sqlite_name(error: object) -> str:
    """Return SQLite's name of an error, such as "SQLITE_FULL"; empty if it has none."""
    return getattr(error, "sqlite_errorname", "") or ""


def _told(place: str, error: object, said: str) -> RecordProblem:
    name = sqlite_name(error)
    for beginnings, phrase in _SQLITE:
        if name.startswith(beginnings):
            return Unusable(f"{place}: {phrase}.")
    return Unusable(f"{place}: the archive cannot be used ({said}).")
