"""The files a person names, and those that come with the program."""

import sys
from pathlib import Path

from benchproof.cli.objects import print_json
from benchproof.cli.output import echo, echo_bytes
from benchproof.cli.refusals import Refused
from benchproof.face.done import Written
from benchproof.family import limits
from benchproof.record.regularfile import read_regular
from benchproof.shipped.contents import shipped, shipped_bytes

HOW_TO_SAY = (
    "Answer with --say proposed, or one by one: --say NAME=park, --say A-B='start permit', "
    "--say 'start permit=none', --say 'chart=WHY IT IS RIGHT, WHO SAYS SO'."
)
MOST_BYTES = limits.FILE_BYTES.most


def read_bytes(name: str) -> bytes:
    """Return the content of a file, or of standard input for ``-``.

    Raises
    ------
    Refused
        If it is larger than any chart or sheet of readings.
    OSError
        If it cannot be read.
    """
    if name == "-":
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        data = read_regular(Path(name), MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise Refused(f"{shown_name(name)}: {limits.FILE_BYTES.told()}")
    return data


def shown_name(name: str) -> str:
    """Return a file's name as messages tell it."""
    return "standard input" if name == "-" else name


def named_bytes(kind: str, name: str) -> bytes:
    """Return the content of a file, or of a shipped one if no file has that name.

    Raises
    ------
    Refused
        If there is no such file.
    """
    if name != "-" and not Path(name).exists():
        if name in shipped(kind):
            return shipped_bytes(kind, name)
        raise Refused(
            f"{name}: no such file, and none of the {kind} that come with the program "
            f"({', '.join(shipped(kind))})."
        )
    return read_bytes(name)


def write_out(
    data: bytes, out: str | None, otherwise: str = "none of ours", *, as_json: bool = False
) -> None:
    """Write what was drawn; never over a file of another kind.

    Parameters
    ----------
    data : bytes
        The file's content; its first bytes tell its kind.
    out : str or None
        Its name; None or - for standard output.
    otherwise : str
        What is said of a file there that is of another kind.
    as_json : bool
        Whether one object tells what was written.
    """
    if out is None or out == "-":
        if as_json:
            raise Refused("--json tells which file was written; name it with --out FILE.")
        echo_bytes(data)
        return

    path = Path(out)
    if path.exists() and read_regular(path, 4) != data[:4]:
        raise Refused(f"{out}: is there already and is {otherwise}; name another file.")
    path.write_bytes(data)
    if as_json:
        print_json(Written(files=[out]))
        return
    echo(f"Wrote {out}.")
