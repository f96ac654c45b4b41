"""The sign of work on a terminal: there while a command is silent, gone before it speaks."""

import io
import time

import pytest

from benchproof.cli import atwork
from benchproof.cli.output import echo


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def _at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> _Terminal:
    # Not in a fixture: pytest takes stderr anew when the test itself begins.
    shown = _Terminal()
    monkeypatch.setattr("sys.stderr", shown)
    monkeypatch.setattr(atwork, "SILENT_S", 0.01)
    return shown


def test_a_silent_command_tells_that_it_is_at_work_until_it_speaks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terminal = _at_a_terminal(monkeypatch)
    atwork.working()
    until = time.monotonic() + 10.0
    while not terminal.getvalue() and time.monotonic() < until:
        time.sleep(0.005)
    assert terminal.getvalue() == atwork.SIGN
    echo("PASS")
    assert terminal.getvalue() == atwork.SIGN + "\r" + " " * len(atwork.SIGN) + "\r"


def test_what_speaks_in_time_shows_no_sign(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _at_a_terminal(monkeypatch)
    atwork.working()
    atwork.spoken()
    time.sleep(0.05)
    assert terminal.getvalue() == ""


def test_no_sign_goes_into_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    monkeypatch.setattr(atwork, "SILENT_S", 0.0)
    atwork.working()
    time.sleep(0.05)
    atwork.spoken()
    assert file.getvalue() == ""
