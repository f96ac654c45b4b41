"""An archive is read where nothing can be written: full, read-only, somebody else's."""

import os
import signal
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import pytest

import faults
from benchproof.record.keeping import backup
from benchproof.record.problems import RecordProblem, Unusable
from benchproof.record.rows import PersonRow
from benchproof.record.store import open_store
from benchproof.record.verifying import verify
from recording import scratch

Clock = Callable[[], datetime]
NOBODY = 65534
PEOPLE = 50
REFUSED = r"read-only|the disk is full|the disk failed|the folder is there and may be written"
LOGS = ("no log", "log and index", "log alone")


def in_a_process(do: Callable[[], None]) -> int:
    """Do something in a process of its own; return its exit code, below 0 if it was killed."""
    child = os.fork()
    if not child:
        try:
            do()
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def record(where: Path, clock: Clock, log: str) -> None:
    """Record people, the last of them in the log only, as a program leaves it that was killed."""

    def killed() -> None:
        with open_store(str(where), clock) as store:
            store.people.add(PersonRow("last", ""))
            os.kill(os.getpid(), signal.SIGKILL)

    with open_store(str(where), clock) as store:
        for number in range(PEOPLE):
            store.people.add(PersonRow(f"P{number}", "x" * 500))
        if log == "no log":
            store.people.add(PersonRow("last", ""))
    if log != "no log":
        assert in_a_process(killed) == -signal.SIGKILL
        assert where.with_name(f"{where.name}-wal").stat().st_size
    if log == "log alone":
        where.with_name(f"{where.name}-shm").unlink()


@contextmanager
def without_permission(folder: Path) -> Iterator[None]:
    for file in folder.iterdir():
        file.chmod(0o444)
    folder.chmod(0o555)
    try:
        yield
    finally:
        folder.chmod(0o755)


def kept(folder: Path) -> dict[str, bytes]:
    """Return what is in a folder; the index of the log is made anew from the log."""
    return {
        path.name: path.read_bytes() for path in folder.iterdir() if not path.name.endswith("-shm")
    }


def record_many(where: Path, clock: Clock) -> None:
    with open_store(str(where), clock) as store:
        for number in range(2000):
            store.people.add(PersonRow(f"Q{number}", "y" * 4000))


def read(where: Path, clock: Clock, elsewhere: Path) -> None:
    before = kept(where.parent)
    with open_store(str(where), clock, reading=True) as store:
        assert len(store.people.list()) == PEOPLE + 1
        assert store.people.get("last").initials == "last"
        assert verify(store.database).found == ()
        assert store.database.notes == ()
        backup(store, elsewhere / "copy")
    assert kept(where.parent) == before
    with open_store(str(elsewhere / "copy"), clock, reading=True) as store:
        assert len(store.people.list()) == PEOPLE + 1
    with pytest.raises(RecordProblem, match=REFUSED) as said:
        record_many(where, clock)
    assert str(said.value).count("\n") == 0


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("how", ["locked", "filled"])
def test_it_is_read_on_a_disk_that_takes_nothing(
    how: str,
    log: str,
    clock: Clock,
    tmp_path: Path,
) -> None:
    with faults.small_disk(8) as disk:
        if disk is None:
            pytest.skip("this user may not mount a disk")
        where = disk / "archive.sqlite"
        record(where, clock, log)
        with getattr(faults, how)(disk):
            read(where, clock, tmp_path)
        # Nothing was lost by looking, and with room it goes on.
        with open_store(str(where), clock) as store:
            assert store.people.get("last").initials == "last"
            store.people.add(PersonRow("next", ""))


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are of another kind there")
@pytest.mark.parametrize("log", LOGS)
def test_it_is_read_in_somebody_elses_folder(log: str, clock: Clock) -> None:
    with scratch() as folder:
        theirs, mine = folder / "theirs", folder / "mine"
        theirs.mkdir()
        mine.mkdir()
        mine.chmod(0o777)
        where = theirs / "archive.sqlite"
        record(where, clock, log)
        with without_permission(theirs):

            def as_nobody() -> None:
                # Root writes whatever the permissions say.
                if os.geteuid() == 0:
                    os.setgid(NOBODY)
                    os.setuid(NOBODY)
                read(where, clock, mine)

            assert in_a_process(as_nobody) == 0


def test_where_no_copy_can_be_made_one_sentence_says_what_to_do(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    with faults.small_disk(8) as disk:
        if disk is None:
            pytest.skip("this user may not mount a disk")
        where = disk / "archive.sqlite"
        record(where, clock, "log alone")
        monkeypatch.setattr("tempfile.tempdir", str(disk))
        with faults.filled(disk), pytest.raises(Unusable) as said:
            open_store(str(where), clock, reading=True)
        assert str(said.value).endswith("set TMPDIR to a folder on a disk with room.")
        assert "\n" not in str(said.value)
        assert [path.name for path in disk.iterdir() if path.is_dir()] == []


def test_what_is_written_while_it_is_read_without_locks_is_said(
    clock: Clock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = tmp_path / "archive.sqlite"
    record(where, clock, "no log")
    monkeypatch.setattr("os.access", lambda *_: False)
    store = open_store(str(where), clock, reading=True)
    store.people.list()
    with open_store(str(where), clock) as other:
        other.people.add(PersonRow("next", ""))
    with pytest.raises(Unusable, match="was written to while it was read; do it again"):
        store.database.close()
