"""How a person's mistake, or what cannot be done, becomes a sentence and exit code 2."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import click

from benchproof.cli.output import echo
from benchproof.family.problems import BadFile, TooLarge
from benchproof.family.safetext import for_terminal
from benchproof.instrument.problems import InstrumentProblem
from benchproof.proof.problems import ProofProblem
from benchproof.record.problems import RecordProblem


class Refused(click.ClickException):
    """A mistake of the person's: one sentence a problem on standard error, exit code 2."""

    exit_code = 2

    def show(self, file: object = None) -> None:  # noqa: ARG002  (click's signature)
        """Print the sentences."""
        echo(self.message, err=True)


@contextmanager
def refusing() -> Iterator[None]:
    """Turn bad files, failing disks, instruments and what the archive refuses into `Refused`."""
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


@contextmanager
def mistakes_shown() -> Iterator[None]:
    """Let what click says of a mistake, which quotes what was typed, go to the terminal safely."""
    try:
        yield
    except click.exceptions.NoArgsIsHelpError:
        raise
    except click.UsageError as error:
        raise click.UsageError(for_terminal(error.format_message()), error.ctx) from None
