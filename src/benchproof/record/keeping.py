"""Backups of the archive while it is in use, and getting them back."""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from benchproof.record.database import Database
from benchproof.record.openformats import copy, export, take_in
from benchproof.record.problems import RecordProblem
from benchproof.record.regular import read_regular
from benchproof.record.verifying import verify

if TYPE_CHECKING:
    from benchproof.record.store import Store

_BEGINS = b"SQLite format 3\0"
"""An empty file would be taken for a new archive."""


def backup(store: "Store", path: Path) -> None:
    """Write a backup; others may go on reading and writing meanwhile.

    Parameters
    ----------
    store : Store
    path : Path
        A new file for an archive in SQLite, a new folder for one in PostgreSQL. It appears once all
        of it is on disk.

    Raises
    ------
    RecordProblem
        If the path is taken, or the backup cannot be written.
    OSError
        If it cannot be written.
    """
    if path.exists():
        raise RecordProblem(f"{path}: is there already; a backup never overwrites anything.")
    if store.database.path is None:
        export(store.database, path)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{path.name}-", dir=path.parent) as beside:
        unfinished = Path(beside) / "backup"
        try:
            with (
                closing(sqlite3.connect(store.database.path)) as source,
                closing(sqlite3.connect(unfinished)) as target,
            ):
                source.backup(target)
                # One file, without a log beside it.
                target.execute("PRAGMA journal_mode=DELETE")
                sound = target.execute("PRAGMA quick_check").fetchone()[0]
        except sqlite3.Error as error:
            raise RecordProblem(f"{path}: the backup cannot be written ({error}).") from None
        if sound != "ok":
            raise RecordProblem(
                f"{store.database.place}: is damaged ({sound}); keep the last backup."
            )
        with unfinished.open("rb") as file:
            os.fsync(file.fileno())
        unfinished.rename(path)


def restore(store: "Store", path: Path) -> dict[str, int]:
    """Read a backup, or an export, into an archive that is empty; all of it, or nothing.

    Returns
    -------
    dict of str to int
        How many rows each table has.

    Raises
    ------
    RecordProblem
        If the backup cannot be used, or was altered, or the archive is not empty.
    OSError
        If it cannot be read.
    """
    if path.is_dir():
        return take_in(store.database, path)
    begins = read_regular(path, len(_BEGINS))
    if begins != _BEGINS:
        raise RecordProblem(f"{path}: is no backup of an archive; nothing was restored.")
    with tempfile.TemporaryDirectory() as folder:
        # The backup itself stays as it is, though an old one is brought to the newest shape.
        copied = Path(folder) / path.name
        shutil.copyfile(path, copied)
        with closing(Database(copied)) as source:
            altered = verify(source).found
            if altered:
                raise RecordProblem(
                    f"{path}: was altered ({altered[0].where}: {altered[0].sentence}) "
                    "Nothing was restored; take another backup."
                )
            return copy(source, store.database)
