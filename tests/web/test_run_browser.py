"""An automatic run by keys in Debian's Chromium; its bench is a process with an invented part."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.conftest import Bench, Opener
from tests.web.test_proof_browser import FAMILY, begin, wrong_for_some

SERVE = [sys.executable, "-c", "from benchproof.cli import main; main()", "simulate", FAMILY]


@pytest.fixture
def by_hand(tmp_path: Path) -> Iterator[Bench]:
    """Serve a page whose instruments read by themselves, and whose lever a person moves."""
    file = tmp_path / "bench.toml"
    command = [*SERVE, "--serve", "--seed", "3", "--gear", f"{file}"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as process:
        assert process.stdout is not None
        while "Ctrl-C" not in (line := process.stdout.readline()):
            assert line, "the bench ended by itself"
        text = file.read_text(encoding="utf-8")
        before, _, after = text.partition("[lever]")
        without = before + after[after.index("[selector]") :]
        file.write_text(without, encoding="utf-8")
        with Bench(tmp_path / "archive.sqlite", "--gear", f"{file}") as page:
            yield page
        process.send_signal(signal.SIGTERM)
        process.wait(10)


def test_a_run_is_begun_answered_and_stopped_by_keys(opened: Opener, by_hand: Bench) -> None:
    page = opened()
    begin(page, by_hand, "AR-1")
    page.focus("[data-opens=run]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#run form")
    assert "part unplugged from the vehicle" in page.inner_text("#run")
    assert wrong_for_some(page) == []
    page.focus("#run button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/jobs/**")
    page.wait_for_selector("text=Lever to P")
    assert wrong_for_some(page) == []
    page.set_viewport_size({"width": 390, "height": 844})
    box = page.locator("button:has-text('It is there')").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 844
    page.set_viewport_size({"width": 1280, "height": 800})
    page.keyboard.press("Enter")
    page.wait_for_selector("td:has-text('A-E in P')")
    page.wait_for_selector("text=It is there")
    page.click("text=Stop it")
    page.wait_for_selector("text=Stopped; what was done before stands.")
