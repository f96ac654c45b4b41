"""What `benchproof bench` says at its start, and what it leaves at its end."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_it_says_where_the_archive_is_and_what_belongs_to_it(
    tmp_path: Path, how: signal.Signals
) -> None:
    where = tmp_path / "archive.sqlite"
    program = str(Path(sys.executable).with_name("benchproof"))
    serving = subprocess.Popen(
        [program, "bench", "--no-open", "--typed", "--port", "0", "--store", where.name],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert serving.stdout is not None
    with serving.stdout as said:
        assert "The bench page is at http://127.0.0.1:" in said.readline()
        assert said.readline() == (
            f"The archive is {where}; while this runs, archive.sqlite-wal beside it belongs to "
            "it: copy it with benchproof backup.\n"
        )
        serving.send_signal(how)
        serving.wait(20)
    beside = {path.name for path in tmp_path.iterdir() if path.is_file()}
    log = set() if how == signal.SIGTERM else {"archive.sqlite-wal", "archive.sqlite-shm"}
    assert beside == {"archive.sqlite"} | log
