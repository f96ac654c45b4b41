"""The files a person names, and those that come with the program."""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.output import echo, echo_bytes
from benchproof.family import limits
from benchproof.shipped.contents import DIALECTS, shipped, shipped_bytes

if TYPE_CHECKING:
    from benchproof.diagnose.priors import Priors
    from benchproof.family.model import Family
    from benchproof.instrument.dialect import Dialect
    from benchproof.instrument.gearfile import BenchGear
    from benchproof.plan.bench import Bench
    from benchproof.reading.meter import Meter

SAY = click.option(
    "--say",
    multiple=True,
    metavar="WHAT",
    help="What nobody has said of the family: proposed, NAME=park, A-B='start permit', "
    "'start permit=none'; may be given again.",
)
HOW_TO_SAY = (
    "Answer with --say proposed, or one by one: --say NAME=park, --say A-B='start permit', "
    "--say 'start permit=none', --say 'chart=WHY IT IS RIGHT, WHO SAYS SO'."
)
MOST_BYTES = limits.FILE_BYTES.most


class Refused(click.ClickException):
    """A mistake of the person's: one sentence a problem on standard error, exit code 2."""

    exit_code = 2

    def show(self, file: object = None) -> None:  # noqa: ARG002  (click's signature)
        """Print the sentences."""
        echo(self.message, err=True)


@contextmanager
def refusing() -> Iterator[None]:
    """Turn bad files, failing disks, instruments and what the archive refuses into `Refused`."""
    from benchproof.family.problems import BadFile, TooLarge
    from benchproof.instrument.problems import InstrumentProblem
    from benchproof.proof.problems import ProofProblem
    from benchproof.record.problems import RecordProblem

    try:
        yield
    except (BadFile, TooLarge, ProofProblem, RecordProblem, InstrumentProblem) as error:
        raise Refused(str(error)) from None
    except BrokenPipeError:
        # Whoever read the output has enough of it; click ends quietly.
        raise
    except OSError as error:
        if error.filename is None:
            # What could not be written stays in the buffer, and would fail again at the exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        where = error.filename or "standard output"
        raise Refused(f"{where}: {error.strerror or error}.") from None


def read_bytes(name: str) -> bytes:
    """Return the content of a file, or of standard input for ``-``.

    Raises
    ------
    Refused
        If it is larger than any chart or sheet of readings.
    OSError
        If it cannot be read.
    """
    from benchproof.record.regular import read_regular

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


def load_family(name: str, say: Sequence[str] = ()) -> "Family":
    """Return a family from a file, standard input or the shipped ones, its chart completed.

    Parameters
    ----------
    name : str
        The file.
    say : sequence of str
        What somebody said of it (`conduct.saying`).

    Raises
    ------
    Refused
        If there is no such file, or what was said is not understood.
    BadFile
        With every mistake in it.
    """
    from benchproof.family.files import read_family
    from benchproof.network.chart import completed

    family = completed(read_family(named_bytes("families", name), shown_name(name)))
    return said_of(family, say)


def said_of(family: "Family", say: Sequence[str]) -> "Family":
    """Return a family with what somebody said of it.

    Raises
    ------
    Refused
        If it is not understood.
    """
    if not say:
        return family
    from benchproof.conduct.saying import understood
    from benchproof.family.roles import answered

    try:
        return answered(family, understood(family, say))
    except ValueError as error:
        raise Refused(f"--say: {error}.") from None


def load_meter(name: str) -> "Meter":
    """Return a meter from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    from benchproof.reading.meterfile import read_meter

    return read_meter(named_bytes("meters", name), shown_name(name))


def load_bench(name: str) -> "Bench":
    """Return a bench profile from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    from benchproof.plan.bench import read_bench

    return read_bench(named_bytes("benches", name), shown_name(name))


def load_gear(name: str) -> "BenchGear":
    """Return the gear of a bench from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    from benchproof.instrument.gearfile import read_gear

    return read_gear(named_bytes("gears", name), shown_name(name))


def load_dialect(name: str, beside: Path) -> "Dialect":
    """Return a meter's dialect: one that comes along, or a file in a gear file's folder.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    from benchproof.instrument.dialect import read_dialect

    known = shipped(DIALECTS)
    if name in known:
        return read_dialect(shipped_bytes(DIALECTS, name), f"{name}.toml")
    path = beside / name
    if not path.is_file():
        raise Refused(
            f"{path}: no such file, and none of the dialects that come with the program "
            f"({', '.join(known)})."
        )
    return read_dialect(read_bytes(f"{path}"), f"{path}")


def load_priors(name: str | None, family: str) -> "Priors":
    """Return priors from a file, which may leave out keys, or those that come along.

    Raises
    ------
    BadFile
        With every mistake in it.
    """
    from benchproof.diagnose.priors import read_priors
    from benchproof.shipped.read import shipped_priors

    usual = shipped_priors(family)
    return usual if name is None else read_priors(read_bytes(name), shown_name(name), family, usual)


def write_out(data: bytes, out: str | None, otherwise: str = "none of ours") -> None:
    """Write what was drawn; never over a file of another kind.

    Parameters
    ----------
    data : bytes
        The file's content; its first bytes tell its kind.
    out : str or None
        Its name; None or - for standard output.
    otherwise : str
        What is said of a file there that is of another kind.
    """
    if out is None or out == "-":
        echo_bytes(data)
        return
    from benchproof.record.regular import read_regular

    path = Path(out)
    if path.exists() and read_regular(path, 4) != data[:4]:
        raise Refused(f"{out}: is there already and is {otherwise}; name another file.")
    path.write_bytes(data)
    echo(f"Wrote {out}.")
