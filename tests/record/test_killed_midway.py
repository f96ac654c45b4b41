"""A change of the whole archive that is killed midway leaves the old one whole, or is done."""

import os
import random
import shutil
import signal
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from benchproof.record import schema
from benchproof.record.database import Database
from benchproof.record.keeping import backup, restore
from benchproof.record.openformats import export, take_in
from benchproof.record.rows import PartRow
from benchproof.record.sqlitefile import ReadFile
from benchproof.record.store import open_store
from benchproof.record.upgrade import revision
from benchproof.record.verifying import verify

FIRST = "1"
PEOPLE = 1000
PROOFS = 60
KILLS = 8


def now() -> datetime:
    return datetime.now(UTC)


def at_random_moments(
    begin: Callable[[], object], do: Callable[[], None], look: Callable[[], None]
) -> None:
    """Do something anew over and over, killed at moments from its begin to its end."""
    begin()
    began = time.monotonic()
    assert killed(do, 60.0) == 0
    lasts = time.monotonic() - began
    look()
    drawn = random.Random(4)
    codes = []
    for turn in range(KILLS):
        # One moment of each equal stretch, so that they cover the whole.
        begin()
        codes.append(killed(do, lasts * (turn + drawn.random()) / KILLS))
        look()
    assert -signal.SIGKILL in codes


def killed(do: Callable[[], None], after: float) -> int:
    child = os.fork()
    if not child:
        code = 1
        try:
            do()
            code = 0
        finally:
            os._exit(code)
    until = time.monotonic() + after
    while time.monotonic() < until:
        found, status = os.waitpid(child, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.001)
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def test_a_migration_that_is_killed_leaves_the_older_archive_whole(tmp_path: Path) -> None:
    where, original = tmp_path / "archive.sqlite", tmp_path / "original"
    with closing(Database(original, FIRST)) as old, old.writing() as connection:
        # Large enough that taking the log into the file takes its time too.
        for number in range(PEOPLE):
            told = {"initials": f"P{number}", "name": "x" * 3000}
            connection.execute(text("INSERT INTO people VALUES (:initials, :name)"), told)
    revisions = []

    def migrate() -> None:
        Database(where).close()

    def look() -> None:
        # Read as it is, not as a newer copy.
        with closing(ReadFile(where)) as there, there.engine.connect() as connection:
            revisions.append(revision(connection))
            people = connection.execute(text("SELECT initials, length(name) FROM people")).all()
        assert {tuple(row) for row in people} == {(f"P{n}", 3000) for n in range(PEOPLE)}
        with open_store(str(where), now) as store:
            assert (store.database.notes, len(store.people.list())) == ((), PEOPLE)
            assert verify(store.database).found == ()

    at_random_moments(lambda: shutil.copy(original, where), migrate, look)
    assert set(revisions) == {FIRST, schema.LAST_REVISION}


@pytest.mark.parametrize("how", ["backup", "export"])
def test_a_restore_or_import_that_is_killed_took_in_nothing(how: str, tmp_path: Path) -> None:
    new, source = tmp_path / "new.sqlite", tmp_path / "source"
    with open_store(str(tmp_path / "full.sqlite"), now) as store:
        family = store.files.put(b"invented family")
        store.parts.add(PartRow("S-1", "invented", family, store.now()))
        for _ in range(PROOFS):
            store.proofs.append(store.proofs.open("S-1", b"x" * 4000), b"y" * 4000, 1)
        if how == "export":
            export(store.database, source)
        else:
            backup(store, source)
    taken = []

    def take() -> None:
        with open_store(str(new), now) as store:
            if how == "export":
                take_in(store, source)
            else:
                restore(store, source)

    def look() -> None:
        with open_store(str(new), now) as store:
            found = verify(store.database)
            assert found.found == ()
            taken.append((found.proofs, found.events, len(store.parts.list())))
        if taken[-1][0] == 0:
            # It goes on as if nothing had been.
            take()

    def begin() -> None:
        for path in tmp_path.glob("new.sqlite*"):
            path.unlink()

    at_random_moments(begin, take, look)
    assert set(taken) == {(0, 0, 0), (PROOFS, 2 * PROOFS, 1)}
