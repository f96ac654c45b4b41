"""The README's walk-through does just what it shows."""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def console_steps(text: str) -> list[tuple[str, str]]:
    """Return each command of the console blocks with the output shown below it."""
    steps: list[tuple[str, str]] = []
    for block in re.findall(r"^```console\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
        for line in block.splitlines(keepends=True):
            if line.startswith("$ "):
                steps.append((line[2:], ""))
            elif line.startswith("> ") and not steps[-1][1]:
                steps[-1] = (steps[-1][0] + line[2:], "")
            else:
                steps[-1] = (steps[-1][0], steps[-1][1] + line)
    return steps


def run(command: str, folder: Path) -> str:
    environment = {
        **os.environ,
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "COLUMNS": "100",
        "PYTHONUTF8": "1",
    }
    # One shell for all the commands would hide which one printed what.
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout + done.stderr


def test_the_librarys_example_does_what_it_shows() -> None:
    # In a process of its own: whoever imports the library gets its front door.
    done = subprocess.run(
        [sys.executable, "-m", "doctest", str(ROOT / "README.md")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, "")
    assert ">>> from benchproof import examine" in (ROOT / "README.md").read_text(encoding="utf-8")


def without_trailing_blanks(text: str) -> str:
    return "\n".join(line.rstrip() for line in text.splitlines())


def test_the_walk_through_prints_what_it_shows(tmp_path: Path) -> None:
    steps = console_steps((ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(steps) >= 5
    for command, shown in steps:
        printed = run(command, tmp_path)
        assert without_trailing_blanks(printed) == without_trailing_blanks(shown), command
