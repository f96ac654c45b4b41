"""A pipe or a device that gives nothing is told, not waited for; only ``-`` is read as it comes."""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchproof.cli.main import main
from benchproof.record.regularfile import NO_FILE
from benchproof.record.rows import CoreRow, PersonRow
from benchproof.record.store import open_store
from benchproof.web.serve import local_now

MOST_S = 20.0


@pytest.fixture
def pipe(tmp_path: Path) -> Iterator[Path]:
    """Make a pipe to which nobody writes; whoever waits for it is let go after a while."""
    path = tmp_path / "pipe"
    os.mkfifo(path)

    def let_go() -> None:
        # Gives an end to a reader who waits, so that the test fails instead of hanging.
        for one in tmp_path.rglob("*"):
            if one.is_fifo():
                try:
                    os.close(os.open(one, os.O_WRONLY | os.O_NONBLOCK))
                except OSError:
                    continue

    timer = threading.Timer(MOST_S, let_go)
    timer.start()
    yield path
    timer.cancel()


@pytest.fixture
def exported(tmp_path: Path) -> Path:
    """Export an archive with a little in it."""
    store = str(tmp_path / "from.sqlite")
    with open_store(store, local_now) as opened:
        opened.people.add(PersonRow("JB", "invented"))
        opened.cores.add(CoreRow("C-1", local_now(), "valley bus"))
    folder = tmp_path / "export"
    assert CliRunner().invoke(main, ["export", str(folder), "--store", store]).exit_code == 0
    return folder


def refused(words: list[str], name: Path) -> str:
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2, done.output
    assert done.output.splitlines()[-1] == f"{name}: {NO_FILE}."
    return done.output


COMMANDS: dict[str, Callable[[str], list[str]]] = {
    "audit": lambda pipe: ["audit", pipe],
    "judge a chart": lambda pipe: ["judge", pipe, "x.csv"],
    "judge readings": lambda pipe: ["judge", "valley-coded-7", pipe],
    "judge a meter": lambda pipe: ["judge", "valley-coded-7", "-", "--meter", pipe],
    "judge a trace": lambda pipe: ["judge", "valley-coded-7", "--trace", pipe],
    "next": lambda pipe: ["next", "valley-coded-7", pipe],
    "window": lambda pipe: ["window", "valley-coded-7", "--priors", pipe],
    "gear check": lambda pipe: ["gear", "check", pipe],
    "bench": lambda pipe: ["bench", "--no-open", "--gear", pipe],
    "restore": lambda pipe: ["restore", pipe, "--store", f"{pipe}.sqlite"],
    "figure": lambda pipe: ["figure", "strip", "valley-coded-7", "--out", pipe],
}


@pytest.mark.parametrize("words", COMMANDS.values(), ids=COMMANDS)
def test_a_pipe_is_not_waited_for(pipe: Path, words: Callable[[str], list[str]]) -> None:
    refused(words(str(pipe)), pipe)


def test_a_device_is_not_read() -> None:
    refused(["audit", "/dev/zero"], Path("/dev/zero"))


@pytest.mark.parametrize("name", ["people.jsonl", "proofs.jsonl", "manifest.json"])
def test_an_export_with_a_pipe_in_it_is_not_waited_for(
    exported: Path, pipe: Path, name: str
) -> None:
    (exported / name).unlink()
    pipe.rename(exported / name)
    into = exported.with_name("into.sqlite")
    refused(["import", str(exported), "--store", str(into)], exported / name)
    # Nothing was taken in: the same archive takes a whole copy.
    (exported / name).unlink()
    whole = exported.with_name("whole")
    words = ["export", str(whole), "--store", str(exported.with_name("from.sqlite"))]
    assert CliRunner().invoke(main, words).exit_code == 0
    shutil.copyfile(whole / name, exported / name)
    done = CliRunner().invoke(main, ["import", str(exported), "--store", str(into)])
    assert done.exit_code == 0, done.output


def test_standard_input_is_read_where_it_is_asked_for() -> None:
    sheet = "pins,D\nG-H,OL\n"
    done = CliRunner().invoke(main, ["judge", "valley-coded-7", "-"], input=sheet)
    assert "G-H" in done.output
    assert done.exit_code in (0, 1)
