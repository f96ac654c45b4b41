"""The command `benchproof`.

Each command imports what it computes with only when it runs, so that `--help` stays quick.
"""

import click

from benchproof import __version__
from benchproof.cli.audit import audit
from benchproof.cli.demo import demo
from benchproof.cli.judge import judge


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="benchproof")
def main() -> None:
    """Judge the electrical parts of a rebuilt automatic transmission against the maker's chart.

    Exit codes: 0 pass, 1 not pass, 2 usage or a bad file.
    """


main.add_command(audit)
main.add_command(judge)
main.add_command(demo)
