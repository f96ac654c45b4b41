"""The command `benchproof`.

Each command imports what it computes with only when it runs, so that `--help` stays quick.
"""

import os
import sys
from io import TextIOWrapper
from typing import Any

import click

from benchproof import __version__
from benchproof.cli.archive import backup, export_all, import_all, restore, salvage, verify
from benchproof.cli.audit import audit
from benchproof.cli.bench import bench
from benchproof.cli.centre import centre
from benchproof.cli.certificate import certificate
from benchproof.cli.core import core
from benchproof.cli.decide import decide
from benchproof.cli.demo import demo
from benchproof.cli.figure import figure
from benchproof.cli.files import refusing
from benchproof.cli.foretell import foretell
from benchproof.cli.gear import gear
from benchproof.cli.judge import judge
from benchproof.cli.output import mistakes_shown
from benchproof.cli.part import part
from benchproof.cli.people import customer, person
from benchproof.cli.plan import next_reading, route
from benchproof.cli.proof import proof
from benchproof.cli.shelf import shelf
from benchproof.cli.simulate import simulate
from benchproof.cli.tag import tag
from benchproof.cli.unit import unit
from benchproof.cli.window import window
from benchproof.cli.wiring import wiring

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
        with mistakes_shown(), refusing():
            return super().invoke(ctx)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Understand what stands before the command's name."""
        with mistakes_shown():
            return super().parse_args(ctx, args)


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
main.add_command(window)
main.add_command(centre)
main.add_command(foretell)
main.add_command(proof)
main.add_command(simulate)
main.add_command(figure)
main.add_command(certificate)
main.add_command(tag)
main.add_command(demo)
main.add_command(bench)
main.add_command(wiring)
main.add_command(core)
main.add_command(unit)
main.add_command(part)
main.add_command(shelf)
main.add_command(person)
main.add_command(customer)
main.add_command(gear)
main.add_command(decide)
main.add_command(verify)
main.add_command(backup)
main.add_command(restore)
main.add_command(salvage)
main.add_command(export_all)
main.add_command(import_all)
