"""A command that records nothing makes nothing and changes nothing, wherever the archive lies."""

import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.cli.store import opened_store
from benchproof.record.rows import PersonRow
from faults import filled, locked, small_disk

READING = (
    "verify", "backup new/copy", "export new/folder", "certificate S-1.1", "tag S-1 --out -",
    "part list", "part show S-1", "core list", "core show C-1", "unit list", "unit show U-1",
    "gear list", "person list", "customer list", "shelf list", "proof list", "proof show S-1.1",
    "proof replay S-1.1",
)  # fmt: skip
RECORDING = {
    "part add", "part note", "core add", "core note", "unit add", "gear add", "person add",
    "customer add", "shelf move", "proof open", "proof choose", "proof read", "proof undo",
    "proof work", "proof turn", "proof remark", "proof photograph", "proof close", "proof run",
    "bench", "restore", "import", "salvage", "proof unturn", "proof edge", "proof offset",
    "proof sweep", "shop",
}  # fmt: skip


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def with_store(group: click.Group, path: str = "") -> Iterator[str]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from with_store(command, f"{path}{name} ")
        elif command is not None and any(one.name == "store" for one in command.params):
            yield f"{path}{name}"


def test_every_command_that_opens_the_archive_reads_or_records() -> None:
    assert isinstance(main, click.Group)
    opening = set(with_store(main))
    reading = {name for name in opening for line in READING if f"{line} ".startswith(f"{name} ")}
    assert len(reading) == len(READING)
    assert reading | RECORDING == opening
    assert not reading & RECORDING


@pytest.mark.parametrize("line", READING)
@pytest.mark.parametrize("empty", [False, True])
def test_where_there_is_no_archive_none_is_made(
    line: str, empty: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    where = Path("mistyped.sqlite") if empty else Path("no", "such", "folder.sqlite")
    if empty:
        where.touch()
    result = run(*line.split(), "--store", str(where))
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.strip() == (
        f"{where.absolute()}: there is no archive here; name the right place with --store, or "
        "record something first, which makes one."
    )
    assert [path.name for path in tmp_path.iterdir()] == (["mistyped.sqlite"] if empty else [])
    assert not empty or where.read_bytes() == b""


def test_the_usual_place_is_said_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("BENCHPROOF_STORE", raising=False)
    assert f"{tmp_path}/benchproof/archive.sqlite: there is no archive" in run("verify").stderr
    assert list(tmp_path.iterdir()) == []


def test_a_file_without_its_log_is_warned_of_refused_and_restored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with opened_store("bench.sqlite") as store:
        store.people.add(PersonRow("AB", "Invented Person"))
        # As a person copies it while the bench page is open for the first time, and later.
        subprocess.run(["cp", "bench.sqlite", "first.sqlite"], check=True)
    with opened_store("bench.sqlite") as store:
        store.people.add(PersonRow("CD", ""))
        subprocess.run(["cp", "bench.sqlite", "copied.sqlite"], check=True)
    assert run("verify", "--store", "first.sqlite").exit_code == 2
    assert "its log first.sqlite-wal is missing" in run("verify", "--store", "first.sqlite").stderr
    warned = run("person", "list", "--store", "copied.sqlite")
    assert warned.exit_code == 0
    assert warned.stderr.startswith("copied.sqlite: was in use when it was copied, but its log")
    assert warned.stderr.count("\n") == 1
    refused = run("person", "add", "EF", "--store", "copied.sqlite")
    assert (refused.exit_code, refused.stderr) == (2, warned.stderr)
    restored = run("restore", "copied.sqlite", "--store", "new.sqlite")
    assert (restored.exit_code, restored.stderr) == (0, warned.stderr)
    assert run("person", "add", "EF", "--store", "new.sqlite").stderr == ""


@pytest.mark.parametrize("how", [locked, filled])
def test_every_command_that_reads_works_on_a_disk_that_takes_nothing(
    how: Callable[[Path], AbstractContextManager[None]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_BY", "AB")
    with small_disk(20) as disk:
        if disk is None:
            pytest.skip("this user may not mount a disk")
        monkeypatch.setenv("BENCHPROOF_STORE", str(disk / "archive.sqlite"))
        for line in (
            "person add AB", "core add C-1", "unit add U-1",
            "part add S-1 valley-coded-7 --core C-1",
            "proof open S-1 --meter depot-bench", "proof close S-1.1 --as abandoned",
        ):  # fmt: skip
            recorded = run(*line.split())
            assert recorded.exit_code in (0, 1), recorded.stderr
        with how(disk):
            for line in (*READING, "certificate S-1.1 --out S-1.pdf"):
                result = run(*line.split())
                assert (result.exit_code, result.stderr) == (0, ""), line
            refused = run("person", "add", "CD")
        assert refused.exit_code == 2
        assert refused.stderr.startswith(f"{disk}/archive.sqlite: ")
    assert Path("S-1.pdf").read_bytes().startswith(b"%PDF")
    assert run("verify", "--store", "new/copy").exit_code == 0
