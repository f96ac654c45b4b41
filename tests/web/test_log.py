"""What the server logs goes to a terminal too, and commands it no more than anything else."""

import logging
import sys

from benchproof.web.serve import ShownLines


def test_a_log_line_and_a_traceback_show_control_characters() -> None:
    try:
        raise ValueError("a\x1b[2Jb")
    except ValueError:
        record = logging.LogRecord(
            "uvicorn.error", logging.ERROR, "f", 1, "failed: %s", ("\u202e",), sys.exc_info()
        )
    told = ShownLines().format(record)
    assert told.startswith("failed: \\u202e\nTraceback")
    assert told.endswith("ValueError: a\\u001b[2Jb")
