"""`benchproof gear check` and `benchproof simulate --serve`, as a person uses them."""

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main

ROOT = Path(__file__).parents[2]
SERVE = [sys.executable, "-c", "from benchproof.cli import main; main()", "simulate"]


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, ["gear", "check", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "Traceback" not in result.stderr
    return result


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Serve a bench as a person does; return its gear file."""
    file = tmp_path_factory.mktemp("gear") / "bench.toml"
    command = [*SERVE, "harvest-ladder-8", "--serve", "--seed", "3", "--gear", str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as process:
        assert process.stdout is not None
        told = []
        while "Ctrl-C" not in (line := process.stdout.readline()):
            assert line, "the bench ended by itself"
            told.append(line)
        assert "Simulated bench (invented) at TCPIP0::127.0.0.1::" in told[0]
        yield file
        process.send_signal(signal.SIGTERM)
        assert process.stdout.read() == "The bench is off.\n"
        assert process.wait(10) == 0


def test_a_served_bench_is_checked_and_read(served: Path) -> None:
    result = run(str(served), "--read")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("Caution: the part is off the vehicle")
    assert "Meter: benchproof, simulated bench, invented, 1" in result.stdout
    assert "No voltage stands on any pair." in result.stdout
    assert "Lever: stands in P" in result.stdout


def test_json_is_one_object_with_the_documented_keys(served: Path) -> None:
    told = json.loads(run(str(served), "--read", "--json").stdout)
    assert told["gear"] == "simulated bench"
    assert told["volts_checked"] is True
    assert len(told["readings"]) > 5


def test_without_a_file_those_that_come_along_are_listed() -> None:
    assert "relay-board" in run().stdout
    assert "relay-board" in json.loads(run("--json").stdout)["gears"]


@pytest.mark.skipif(
    shutil.which("sigrok-cli") is None and not os.environ.get("CI"),
    reason="sigrok-cli is not installed: run tools/setup oracles",
)
def test_a_handheld_meter_through_the_bridge() -> None:
    result = run("bridged-handheld")
    assert result.exit_code == 0, result.stderr
    assert "  now: 270.0000\n" in result.stdout
    assert "Voltage was not checked: check by hand" in result.stdout


def test_nobody_there_is_one_sentence(served: Path, tmp_path: Path) -> None:
    text = served.read_text(encoding="utf-8")
    port = text.split("127.0.0.1::")[1].split("::")[0]
    # No bench listens on a port that only the system may open.
    (tmp_path / "g.toml").write_text(text.replace(f"::{port}::", "::1::"), encoding="utf-8")
    result = run(str(tmp_path / "g.toml"), "--json")
    assert result.exit_code == 2
    assert "check that it is on and plugged in" in result.stderr
    assert result.stdout == ""


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (None, "no such file, and none of the gears"),
        ("name = 1", "'name' needs text"),
        (
            'name="x"\n[meter]\nkind="scpi"\nresource="x"\ndialect="mine.toml"\n',
            "none of the dialects",
        ),
        ('name="x"\n[meter]\nkind="scpi"\nresource="nonsense"\n', "cannot be reached"),
        (
            'name="x"\n[meter]\nkind="scpi"\nresource="y"\nwires=4\ndialect="one-query"\n',
            "cannot do what is asked",
        ),
    ],
)
def test_a_mistake_is_one_sentence(tmp_path: Path, text: str | None, sentence: str) -> None:
    file = tmp_path / "g.toml"
    if text is not None:
        file.write_text(text, encoding="utf-8")
    result = run(str(file))
    assert result.exit_code == 2
    assert sentence in result.stderr


def test_a_dialect_beside_the_gear_file(tmp_path: Path) -> None:
    text = 'name="x"\n[meter]\nkind="scpi"\nresource="y"\nwires=4\ndialect="mine.toml"\n'
    (tmp_path / "g.toml").write_text(text, encoding="utf-8")
    (tmp_path / "mine.toml").write_text('name = "mine"\nfour_wire = ""\n', encoding="utf-8")
    assert "4-wire resistance" in run(str(tmp_path / "g.toml")).stderr


def refused(*arguments: str) -> str:
    result = CliRunner().invoke(main, ["simulate", "orchard-single-7", *arguments])
    assert result.exit_code == 2
    return result.stderr


def test_mistakes_at_serving(served: Path) -> None:
    assert "--out, or serve" in refused()
    assert "is there already" in refused("--serve", "--gear", str(served))
    port = served.read_text(encoding="utf-8").split("127.0.0.1::")[1].split("::")[0]
    assert "name another with --port" in refused("--serve", "--port", port)
    assert "is not one of" in refused("--serve", "--fault", "flood")
