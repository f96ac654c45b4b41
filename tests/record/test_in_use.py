"""The main file tells that a log belongs to it: never silently less, never refused for nothing."""

import mmap
import os
import random
import shutil
import signal
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest

from benchproof.record import inuse
from benchproof.record.inuse import log_of
from benchproof.record.keeping import restore
from benchproof.record.problems import Unusable
from benchproof.record.rows import PersonRow
from benchproof.record.store import Store, open_store
from recording import begun

MISSING = "was in use when it was copied, but its log archive.sqlite-wal is missing"


def now() -> datetime:
    return datetime.now(UTC)


def ended(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def recorded(store: Store, *initials: str) -> None:
    for one in initials:
        store.people.add(PersonRow(one, "Invented Person"))


def there(store: Store) -> list[str]:
    return sorted(row.initials for row in store.people.list())


def left(where: Path) -> None:
    """Leave an archive as a program does that is killed: the last people in its log only."""

    def die() -> None:
        with open_store(str(where), now) as store:
            recorded(store, "CD", "EF")
            os.kill(os.getpid(), signal.SIGKILL)

    with open_store(str(where), now) as store:
        recorded(store, "AB")
    assert ended(begun(die)) == -signal.SIGKILL


def mark_in(where: Path) -> int:
    """Return the mark in the main file itself: https://www.sqlite.org/fileformat.html, offset 60.

    The source is from memory.
    """
    return int.from_bytes(where.read_bytes()[60:64])


def alone(where: Path, folder: Path) -> Path:
    """Copy the main file without its log."""
    folder.mkdir()
    return Path(shutil.copy(where, folder))


def test_an_archive_that_is_closed_is_one_file(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    with open_store(str(where), now) as store:
        recorded(store, "AB")
        assert mark_in(where) == 1
    assert mark_in(where) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["archive.sqlite"]
    with open_store(str(alone(where, tmp_path / "copy")), now) as store:
        assert there(store) == ["AB"]


def test_after_a_kill_nothing_is_refused_and_nothing_is_lost(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    left(where)
    with open_store(str(where), now, reading=True) as store:
        assert (there(store), store.database.notes) == (["AB", "CD", "EF"], ())
    # Who reads leaves it as it was.
    assert mark_in(where) == 1
    assert log_of(where).stat().st_size
    with open_store(str(where), now) as store:
        recorded(store, "GH")
        assert there(store) == ["AB", "CD", "EF", "GH"]
    assert mark_in(where) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["archive.sqlite"]


def test_the_main_file_alone_is_told_refused_and_restored(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    left(where)
    copied = alone(where, tmp_path / "copy")
    before = copied.read_bytes()
    for _ in range(2):
        with open_store(str(copied), now, reading=True) as store:
            assert there(store) == ["AB"]
            (note,) = store.database.notes
            assert MISSING in note
            assert f"benchproof restore {copied} --store NEW" in note
        with pytest.raises(Unusable, match=MISSING):
            open_store(str(copied), now)
        assert [path.name for path in copied.parent.iterdir()] == ["archive.sqlite"]
        assert copied.read_bytes() == before
    said: list[str] = []
    with open_store(str(tmp_path / "new.sqlite"), now) as store:
        restore(store, copied, said.append)
        assert there(store) == ["AB"]
    assert said == [note]
    # With its log beside it again it is whole.
    shutil.copy(log_of(where), copied.parent)
    with open_store(str(copied), now) as store:
        assert there(store) == ["AB", "CD", "EF"]


def test_the_log_is_restored_with_its_file(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    left(where)
    said: list[str] = []
    with open_store(str(tmp_path / "new.sqlite"), now) as store:
        restore(store, where, said.append)
        assert (there(store), said) == (["AB", "CD", "EF"], [])


def test_a_log_that_another_tool_took_in_is_not_missed(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    left(where)
    with closing(sqlite3.connect(where)) as other:
        other.execute("PRAGMA journal_mode=DELETE")
    with open_store(str(where), now) as store:
        assert there(store) == ["AB", "CD", "EF"]
        recorded(store, "GH")
    with open_store(str(where), now) as store:
        assert len(there(store)) == 4


@pytest.mark.parametrize("last", ["ends", "is killed"])
def test_of_two_programs_the_last_one_takes_the_mark_away(tmp_path: Path, last: str) -> None:
    where = tmp_path / "archive.sqlite"
    ready, go = os.pipe(), os.pipe()

    def other() -> None:
        with open_store(str(where), now) as store:
            recorded(store, "CD")
            os.write(ready[1], b".")
            os.read(go[0], 1)
            recorded(store, "EF")
            if last == "is killed":
                os.kill(os.getpid(), signal.SIGKILL)

    with open_store(str(where), now) as store:
        recorded(store, "AB")
    child = begun(other)
    os.read(ready[0], 1)
    with open_store(str(where), now) as store:
        recorded(store, "GH")
    # The other one still records.
    assert mark_in(where) == 1
    os.write(go[1], b".")
    ended(child)
    assert mark_in(where) == (1 if last == "is killed" else 0)
    with open_store(str(where), now) as store:
        assert there(store) == ["AB", "CD", "EF", "GH"]
    assert [path.name for path in tmp_path.iterdir()] == ["archive.sqlite"]


def test_who_reads_an_older_state_delays_the_mark_and_no_more(tmp_path: Path) -> None:
    where = str(tmp_path / "archive.sqlite")
    with open_store(where, now) as store:
        recorded(store, "AB")
    with open_store(where, now, reading=True) as reader:
        with reader.database.reading() as held:
            assert held.exec_driver_sql("SELECT count(*) FROM people").scalar_one() == 1
            child = begun(lambda: recorded(open_store(where, now), "CD"))
            assert ended(child) == 0
            assert held.exec_driver_sql("SELECT count(*) FROM people").scalar_one() == 1
        with open_store(where, now) as store:
            assert there(store) == ["AB", "CD"]
            recorded(store, "EF")
            # It could not be in the file before; from the next change on it is.
            assert mark_in(Path(where)) == 1
    with open_store(where, now) as store:
        assert there(store) == ["AB", "CD", "EF"]
    assert mark_in(Path(where)) == 0


def test_a_program_that_ends_without_closing_leaves_no_mark_without_a_log(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    store = open_store(str(where), now)
    recorded(store, "AB")
    del store
    with open_store(str(where), now) as store:
        assert there(store) == ["AB"]


@pytest.mark.parametrize("after", [0, 1])
def test_a_disk_that_fails_at_the_end_is_not_taken_for_a_loss(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    where = tmp_path / "archive.sqlite"
    left(where)
    whole = inuse._emptied
    failing = iter([*[False] * after, True, *[False] * 9])

    def emptied(connection: sqlite3.Connection) -> bool:
        if next(failing):
            raise sqlite3.OperationalError("disk I/O error")
        return whole(connection)

    with open_store(str(where), now) as store:
        monkeypatch.setattr(inuse, "_emptied", emptied)
        assert len(there(store)) == 3
    for reading in (True, False, True):
        with open_store(str(where), now, reading=reading) as store:
            assert (len(there(store)), store.database.notes) == (3, ())


def test_a_kill_at_any_moment_is_never_taken_for_a_loss(tmp_path: Path) -> None:
    """Programs that open, record and end over and over are killed; each time it opens again."""
    drawn = random.Random(3)
    where = tmp_path / "archive.sqlite"
    with open_store(str(where), now):
        pass

    def over_and_over(name: str) -> None:
        for number in range(10_000):
            with open_store(str(where), now) as store:
                recorded(store, f"{name}-{number}")

    for turn in range(25):
        children = [begun(partial(over_and_over, f"T{turn}{n}")) for n in "AB"]
        for child in children:
            time.sleep(drawn.uniform(0.0, 0.2))
            os.kill(child, signal.SIGKILL)
            assert ended(child) == -signal.SIGKILL
        with open_store(str(where), now, reading=True) as store:
            assert store.database.notes == ()
        with open_store(str(where), now) as store:
            recorded(store, f"turn-{turn}")
    with open_store(str(where), now) as store:
        assert len(store.people.list("turn-")) == 25


def test_a_file_copied_alone_at_any_moment_is_whole_or_says_that_it_is_not(tmp_path: Path) -> None:
    where = tmp_path / "archive.sqlite"
    with open_store(str(where), now):
        pass
    shared = mmap.mmap(-1, 8)

    def over_and_over() -> None:
        number = 0
        while True:
            with open_store(str(where), now) as store:
                for _ in range(3):
                    number += 1
                    recorded(store, f"P{number:06d}")
                    shared[:8] = number.to_bytes(8)

    child = begun(over_and_over)
    drawn = random.Random(5)
    whole = marked = 0
    try:
        for turn in range(60):
            time.sleep(drawn.uniform(0.0, 0.05))
            folder = tmp_path / f"copy{turn}"
            acknowledged = int.from_bytes(shared[:8])
            copied = alone(where, folder)
            if mark_in(copied):
                marked += 1
                with pytest.raises(Unusable, match=MISSING):
                    open_store(str(copied), now)
                continue
            whole += 1
            with open_store(str(copied), now) as store:
                assert len(there(store)) >= acknowledged
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    assert whole
    assert marked
