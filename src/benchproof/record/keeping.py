"""Backups of the archive while it is in use, and getting them back."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from benchproof.record.database import Database
from benchproof.record.openformats import copy, export, take_in
from benchproof.record.privatefiles import beside, opened
from benchproof.record.problems import RecordProblem
from benchproof.record.regularfile import read_regular

if TYPE_CHECKING:
    from benchproof.record.store import Store
    from benchproof.record.verifying import Agrees

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
    with beside(path) as folder:
        unfinished = folder / "backup"
        opened(unfinished).close()
        try:
            with closing(sqlite3.connect(unfinished)) as target:
                store.database.copy_to(target)
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


def restore(
    store: "Store",
    path: Path,
    say: Callable[[str], None] = lambda _: None,
    agrees: "Agrees | None" = None,
) -> dict[str, int]:
    """Read a backup, or an export, into an archive that is empty; all of it, or nothing.

    Parameters
    ----------
    store : Store
    path : Path
        It may also be the file of an archive itself, such as one without its log.
    say : callable, optional
        Told in a sentence what a person should know of the backup.
    agrees : callable, optional
        As `verify` takes it.

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
        return take_in(store, path, agrees)
    begins = read_regular(path, len(_BEGINS))
    if begins != _BEGINS:
        raise RecordProblem(f"{path}: is no backup of an archive; nothing was restored.")
    with closing(Database(path, reading=True)) as source:
        for note in source.notes:
            say(note)
        return copy(source, store, agrees)
