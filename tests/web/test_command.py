"""`benchproof bench` as a person starts it."""

import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx2
from click.testing import CliRunner

from benchproof.cli.main import main

COMMAND = [sys.executable, "-c", "from benchproof.cli import main; main()", "bench", "--no-open"]


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        store = str(tmp_path / "a.sqlite")
        done = CliRunner().invoke(main, ["bench", "--no-open", "--port", port, "--store", store])
    assert done.exit_code == 2
    assert f"port {port}:" in done.output
    assert "--port" in done.output


def test_an_archive_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.sqlite").write_text("no archive, only words that were typed by somebody")
    done = CliRunner().invoke(main, ["bench", "--no-open", "--store", str(tmp_path / "a.sqlite")])
    assert done.exit_code == 2
    assert "a.sqlite" in done.output


def test_it_listens_here_only_and_loses_nothing_at_a_cut(tmp_path: Path) -> None:
    store = str(tmp_path / "a.sqlite")
    for attempt in range(2):
        with subprocess.Popen(
            [*COMMAND, "--port", "0", "--store", store], stdout=subprocess.PIPE, text=True
        ) as running:
            assert running.stdout is not None
            address = running.stdout.readline().split(" at ")[1].split(";")[0]
            port = int(address.rsplit(":", 1)[1].rstrip("/"))
            if attempt == 0:
                body = {"tag": "C-1"}
                assert httpx2.post(f"{address}api/cores", json=body).status_code == 201
            assert [row["tag"] for row in httpx2.get(f"{address}api/cores").json()] == ["C-1"]
            with socket.socket() as probe:
                # This computer's other loopback address reaches nothing: it is bound to one.
                probe.settimeout(1.0)
                assert probe.connect_ex(("127.0.0.2", port)) != 0
            # As a power cut does it: without a word.
            running.kill()


def test_ctrl_c_with_a_page_open_ends_it_quietly(tmp_path: Path) -> None:
    store = str(tmp_path / "a.sqlite")
    with subprocess.Popen(
        [*COMMAND, "--port", "0", "--store", store],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as running:
        assert running.stdout is not None
        address = running.stdout.readline().split(" at ")[1].split(";")[0]
        live = f"{address}align/valley-coded-7/live?part=x"
        with httpx2.stream("GET", live, timeout=20) as response:
            lines = response.iter_lines()
            next(lines)
            running.send_signal(signal.SIGINT)
            # It ends whole: a stream that is cut raises here.
            assert list(lines)[-1] == ""
        where, last = running.stdout.read().splitlines()
        assert where.startswith(f"The archive is {store}")
        assert last == "The bench page is off."
        assert running.wait(10) == 0
