"""Files that hold records are their owner's only, and stand whole or not at all."""

import os
import signal
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from tests.record.conftest import Clock

from benchproof.record.keeping import backup
from benchproof.record.openformats import export
from benchproof.record.privatefiles import beside, born
from benchproof.record.problems import Unusable
from benchproof.record.rows import PersonRow
from benchproof.record.store import Store, open_store


@pytest.fixture
def sqlite_store(tmp_path: Path, photograph_file: bytes) -> Iterator[Store]:
    with open_store(str(tmp_path / "new" / "deep" / "archive.sqlite"), Clock()) as store:
        store.people.add(PersonRow("AB", "Invented"))
        store.files.put(b"an invented family")
        store.photographs.put(photograph_file, "a.jpg")
        yield store


def modes(folder: Path) -> dict[str, int]:
    return {
        str(path.relative_to(folder)): stat.S_IMODE(path.stat().st_mode)
        for path in folder.rglob("*")
    }


@pytest.mark.parametrize(("umask", "file", "place"), [(0o000, 0o600, 0o700), (0o377, 0o400, 0o400)])
def test_nobody_else_reads_what_holds_records(
    sqlite_store: Store, tmp_path: Path, umask: int, file: int, place: int
) -> None:
    """Nor the owner what the owner's own umask forbids."""
    if umask and os.geteuid():
        pytest.skip("only root makes a folder and writes into it under so strict a umask")
    before = os.umask(umask)
    try:
        export(sqlite_store.database, tmp_path / "out" / "export")
        backup(sqlite_store, tmp_path / "out" / "backup")
    finally:
        os.umask(before)
    found = modes(tmp_path / "out")
    assert len(found) > 30
    for name, mode in found.items():
        assert mode == (place if (tmp_path / "out" / name).is_dir() else file), name


def test_nobody_else_reads_an_archive_or_its_log(sqlite_store: Store, tmp_path: Path) -> None:
    found = modes(tmp_path)
    assert found.pop("new") == found.pop("new/deep") == 0o700
    assert set(found) == {f"new/deep/archive.sqlite{end}" for end in ("", "-wal", "-shm")}
    assert set(found.values()) == {0o600}


def test_an_emptied_archive_is_not_taken_for_a_new_one(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite"
    with open_store(str(path), Clock()) as store:
        store.people.add(PersonRow("AB", "Invented"))
    path.write_bytes(b"")
    with pytest.raises(Unusable, match="is an empty file, which an archive never is"):
        open_store(str(path), Clock())
    assert path.read_bytes() == b""


def test_an_archive_that_is_being_made_is_never_empty(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite"
    born(path, 7)
    assert path.stat().st_size > 0
    held = path.read_bytes()
    born(path, 8)
    assert path.read_bytes() == held
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (7,)
    assert [one.name for one in tmp_path.iterdir()] == ["archive.sqlite"]


def test_a_disk_without_links_gets_its_archive_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(_: Path, __: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refused)
    with open_store(str(tmp_path / "archive.sqlite"), Clock()) as store:
        store.people.add(PersonRow("AB", "Invented"))
    assert {one.name for one in tmp_path.iterdir()} == {"archive.sqlite"}


KILLED = """
import sys, time
from pathlib import Path
from benchproof.record.openformats import export
from benchproof.record.store import open_store
from datetime import UTC, datetime

def stand_still():
    print("here", flush=True)
    time.sleep(60)

with open_store(sys.argv[1], lambda: datetime.now(UTC)) as store:
    export(store.database, Path(sys.argv[2]), going_on=stand_still)
"""


def test_a_killed_export_leaves_nothing_under_its_name_and_the_next_one_cleans_up(
    sqlite_store: Store, tmp_path: Path
) -> None:
    out = tmp_path / "outs" / "export"
    place = sqlite_store.database.place
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, place, out], stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"here\n"
        # Another one that runs meanwhile is left alone.
        (working,) = out.parent.iterdir()
        with beside(out):
            assert working in out.parent.iterdir()
        process.send_signal(signal.SIGKILL)
    assert not out.exists()
    assert [one.name for one in out.parent.iterdir()] == [working.name]
    mine = out.parent / ".export-mine"
    mine.mkdir()
    export(sqlite_store.database, out)
    assert {one.name for one in out.parent.iterdir()} == {"export", mine.name}


def test_a_folder_beside_is_gone_after_a_mistake(tmp_path: Path) -> None:
    def spoilt() -> None:
        with beside(tmp_path / "a") as folder:
            (folder / "b").write_text("c")
            raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        spoilt()
    assert list(tmp_path.iterdir()) == []
