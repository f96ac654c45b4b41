"""The command `benchproof`: each of its commands is imported when it is called for."""

import os
import sys
from io import TextIOWrapper
from typing import Any

import click

from benchproof import __version__
from benchproof.cli import groups
from benchproof.cli.atwork import spoken, working
from benchproof.cli.lazygroup import Later, LazyGroup
from benchproof.cli.refusals import mistakes_shown, refusing

# The arrays are small: threads would wait for each other longer than they work (measured: seven
# times slower on two busy cores). numpy reads this when a command first imports it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

_COMMANDS: dict[str, click.Command] = {
    "audit": Later("audit:audit", "Check the chart of FAMILY for mistakes and weaknesses."),
    "judge": Later(
        "judge:judge",
        "Judge READINGS against the chart of FAMILY, cell by cell, and say what is wrong.",
    ),
    "next": Later(
        "plan:next_reading",
        "Tell the reading that says most for its time, given READINGS so far (none: the "
        "first one).",
    ),
    "route": Later(
        "plan:route",
        "Tell the shortest order in which to read every cell of FAMILY's chart.",
    ),
    "window": Later(
        "window:window",
        "Tell between which offsets every cell of FAMILY's chart holds, and what limits them.",
    ),
    "centre": Later(
        "centre:centre",
        "Tell how to centre FAMILY electrically; with --edges, where to set it and how "
        "good that is.",
    ),
    "foretell": Later("foretell:foretell", "Foretell what a vehicle does with a part of FAMILY."),
    "proof": groups.proof,
    "simulate": Later(
        "simulate:simulate",
        "Write sheets of readings of invented parts of FAMILY into FOLDER, and the truth "
        "about them.",
    ),
    "figure": groups.figure,
    "certificate": Later(
        "certificate:certificate",
        "Draw the certificate of PROOF, which must be closed, as PDF, HTML or text.",
    ),
    "tag": Later(
        "tag:tag",
        "Draw a label for PART or UNIT as PDF, with a code that leads back to its record.",
    ),
    "demo": Later(
        "demo:demo",
        "Write an invented family, a good and a misaligned sheet into FOLDER, and judge both.",
    ),
    "bench": Later(
        "bench:bench",
        "Serve the bench page on this computer and open it in the browser.",
    ),
    "wiring": Later(
        "wiring:wiring",
        "Tell how to wire a selector for FAMILY's chart, and how to test the box with a "
        "dummy plug.",
    ),
    "core": groups.core,
    "unit": groups.unit,
    "part": groups.part,
    "shelf": groups.shelf,
    "person": groups.person,
    "customer": groups.customer,
    "gear": groups.gear,
    "decide": Later(
        "decide:decide",
        "Price what can be done with a part of FAMILY after these READINGS.",
    ),
    "verify": Later(
        "archive:verify",
        "Look whether anything that was recorded is altered, added by another hand, or gone.",
    ),
    "backup": Later(
        "archive:backup",
        "Write a backup to PATH, which must be new; others may go on working.",
    ),
    "restore": Later(
        "archive:restore",
        "Read the backup at PATH into an archive that is empty (name it with --store).",
    ),
    "salvage": Later(
        "archive:salvage",
        "Take what is sound of the DAMAGED archive into an empty one (name it with --store).",
    ),
    "export": Later(
        "archive:export_all",
        "Write everything into the new FOLDER: JSON Lines, CSV, Parquet, files and photographs.",
    ),
    "import": Later(
        "archive:import_all",
        "Read an exported FOLDER into an archive that is empty (name it with --store).",
    ),
}


class _Commands(LazyGroup):
    """Commands in which a person's mistake becomes a sentence and exit code 2."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  (click's signature)
        """Run the command."""
        if isinstance(sys.stdout, TextIOWrapper):
            # A terminal that cannot show "±" shows a question mark rather than a traceback.
            sys.stdout.reconfigure(errors="replace")
        working()
        try:
            with mistakes_shown(), refusing():
                return super().invoke(ctx)
        finally:
            spoken()

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Understand what stands before the command's name."""
        with mistakes_shown():
            return super().parse_args(ctx, args)


@click.group(
    cls=_Commands, later=_COMMANDS, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="benchproof")
def main() -> None:
    """Judge the electrical parts of a rebuilt automatic transmission against the maker's chart.

    Exit codes: 0 pass, 1 not pass, 2 usage or a bad file.
    """
