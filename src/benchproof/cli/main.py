"""The command `benchproof`.

Each command imports what it computes with only when it runs, so that `--help` stays quick.
"""

import os
import sys
from io import TextIOWrapper
from typing import Any

import click

from benchproof import __version__
from benchproof.cli.audit import audit
from benchproof.cli.demo import demo
from benchproof.cli.files import refusing
from benchproof.cli.judge import judge
from benchproof.cli.plan import next_reading, route
from benchproof.cli.simulate import simulate

# The arrays are small: threads would wait for each other longer than they work (measured: seven
# times slower on two busy cores). numpy reads this when a command first imports it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class _Commands(click.Group):
    """Commands in which a person's mistake becomes a sentence and exit code 2."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  (click's signature)
        """Run the command."""
        if isinstance(sys.stdout, TextIOWrapper):
            # A terminal that cannot show "±" shows a question mark rather than a traceback.
            sys.stdout.reconfigure(errors="replace")
        with refusing():
            return super().invoke(ctx)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="benchproof")
def main() -> None:
    """Judge the electrical parts of a rebuilt automatic transmission against the maker's chart.

    Exit codes: 0 pass, 1 not pass, 2 usage or a bad file.
    """


main.add_command(audit)
main.add_command(judge)
main.add_command(next_reading)
main.add_command(route)
main.add_command(simulate)
main.add_command(demo)
