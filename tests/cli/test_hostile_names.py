"""Names and notes from elsewhere never command the terminal, whatever prints them."""

import io
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from benchproof.cli import main
from benchproof.cli.output import echo_bytes

HOSTILE = "a\x1b[2J\x9b31m\u202eb\u2066\x07"
CONTROLS = ("\x1b", "\x9b", "\u202e", "\u2066", "\x07")
FREE = ("name", "contact", "family", "codes", "complaint", "missing", "remark", "damage", "serial")
"""Columns that hold what people typed."""
CLI = Path(__file__).parents[2] / "src" / "benchproof" / "cli"
CHART = """pins, P, R, N, D, role
A-E, closed, open, open, closed, range bit
B-E, closed, closed, open, open, range bit
G-H, closed, open, closed, open, start permit
"""
READINGS = "pins,P,R,N,D\nA-E,0.2,OL,OL,0.1\nB-E,0.1,0.2,OL,OL\nG-H,0.2,OL,0.1,0.2\n"


def shown(*arguments: str, stdin: str | None = None) -> str:
    """Return all that a command prints."""
    result = CliRunner().invoke(main, list(arguments), input=stdin, color=False)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.stdout + result.stderr


def commanding(told: str) -> list[str]:
    return [repr(control) for control in CONTROLS if control in told]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", str(tmp_path / "archive.sqlite"))
    return tmp_path


@pytest.mark.parametrize(
    "arguments",
    [
        ("audit", "{chart}"),
        ("audit", "{chart}", "--json"),
        ("judge", "{chart}", "{readings}", "--json"),
        ("judge", "{chart}", "{readings}"),
        ("judge", "{readings}", "{chart}"),
        ("next", "{chart}", "{readings}"),
        ("window", "{chart}"),
        ("foretell", "{chart}", "{readings}"),
        ("certificate", "--blank", "{chart}"),
        ("audit", "{missing}"),
        ("judge", "{chart}", "{chart}", "--meter", "{missing}"),
        ("export", "{folder}"),
        ("backup", "{folder}"),
        ("demo", "{folder}"),
        ("{missing}",),
        ("--{missing}",),
        ("audit", "--{missing}"),
        ("audit", "{chart}", "{missing}"),
        ("bench", "--port", "{missing}"),
        ("part", "add", "S-1", "{missing}"),
        ("part", "add", "{missing}", "valley-coded-7"),
        ("proof", "show", "{missing}"),
        ("audit", "{chart}", "--say", "{missing}=park"),
    ],
    ids="-".join,
)
def test_a_hostile_name_of_a_file_or_a_word(folder: Path, arguments: Sequence[str]) -> None:
    chart, readings = folder / f"{HOSTILE}.csv", folder / f"{HOSTILE}-read.csv"
    chart.write_text(CHART)
    readings.write_text(READINGS)
    names = {
        "chart": chart.name,
        "readings": readings.name,
        "missing": HOSTILE,
        "folder": f"{HOSTILE}-folder",
    }
    told = shown(*(one.format(**names) for one in arguments))
    assert told
    assert commanding(told) == []


def test_hostile_names_that_stand_in_an_archive(folder: Path) -> None:
    """No command takes such a name; an import of rows, or another program, may bring it."""
    for line in (
        "person add AB --name Ada",
        "customer add K-1 --name Farm --contact gate",
        "unit add U-1 --family autobus --customer K-1 --codes 17 --complaint slips",
        "core add C-1 --family autobus --missing plug",
        "core note C-1 corrosion=slight --remark green",
        "gear add M-1 --kind other --name Box",
        "part add S-1 valley-coded-7 --core C-1",
        "part note S-1 corrosion=slight --remark green",
    ):
        shown(*line.split())
    with closing(sqlite3.connect(folder / "archive.sqlite")) as archive:
        tables = ("people", "customers", "units", "cores", "gear", "parts", "conditions")
        spoilt = 0
        for table in tables:
            for _, column, *_ in archive.execute(f"PRAGMA table_info({table})").fetchall():
                if column in FREE:
                    done = archive.execute(f"UPDATE {table} SET {column} = ?", (HOSTILE,))
                    spoilt += done.rowcount
        archive.commit()
    assert spoilt > 8
    for line in (
        "person list", "customer list", "unit list", "unit show U-1", "core list", "core show C-1",
        "gear list", "part list", "part show S-1", "shelf list", "verify",
        "person list --json", "part show S-1 --json", "core show C-1 --json",
    ):  # fmt: skip
        told = shown(*line.split())
        assert told
        assert commanding(told) == [], line
    assert "\\u001b[2J" in shown("person", "list")


def test_everything_is_printed_in_one_place() -> None:
    for path in CLI.glob("*.py"):
        if path.name == "output.py":
            continue
        text = path.read_text(encoding="utf-8")
        assert re.findall(r"click\.(?:s?echo|style|prompt|confirm)|(?<!\w)print\(", text) == [], (
            path
        )


class Terminal(io.StringIO):
    """A terminal's end of standard output."""

    def isatty(self) -> bool:
        return True


def test_a_file_that_goes_to_a_terminal_is_shown_as_text(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    echo_bytes(f"{HOSTILE},\u03a9\n".encode())
    assert commanding(terminal.getvalue()) == []
    assert terminal.getvalue().endswith(",\u03a9\n")
    with pytest.raises(click.UsageError, match="name a file with --out"):
        echo_bytes(b"%PDF\xff\x1b[2J")
    assert commanding(terminal.getvalue()) == []


def test_a_file_that_goes_elsewhere_stays_as_it_is(
    capfdbinary: pytest.CaptureFixture[bytes],
) -> None:
    echo_bytes(b"%PDF\xff\x1b[2J")
    assert capfdbinary.readouterr().out == b"%PDF\xff\x1b[2J"
