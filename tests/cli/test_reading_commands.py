"""A command that records nothing makes nothing and changes nothing, wherever the archive lies."""

from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main

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
    "bench", "restore", "import",
}  # fmt: skip


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def with_store(group: click.Group, path: str = "") -> Iterator[str]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from with_store(command, f"{path}{name} ")
        elif any(one.name == "store" for one in command.params):
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
