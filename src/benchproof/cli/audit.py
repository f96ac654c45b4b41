"""`benchproof audit`: what a careful person checks before trusting a chart."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.files import named_bytes, shown_name
from benchproof.cli.loading import load_family
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, SAY, along
from benchproof.cli.output import echo, print_grid
from benchproof.cli.refusals import Refused
from benchproof.conduct.familyanswers import kept, understood
from benchproof.face.checked import audited_shown
from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.audit.words import changed, range_words
from benchproof.network.audit import audit_family
from benchproof.network.chart import completed
from benchproof.network.files import json_schema, read_family

if TYPE_CHECKING:
    from benchproof.family.model import Family


@click.command()
@click.argument("family", required=False, shell_complete=along("families"))
@SAY
@click.option("--keep", metavar="FILE", help="Write the family with what was said.")
@JSON
@click.option("--schema", is_flag=True, help="Print the JSON Schema of a family file and stop.")
@click.pass_context
def audit(
    ctx: click.Context,
    family: str | None,
    say: tuple[str, ...],
    keep: str | None,
    as_json: bool,
    schema: bool,
) -> None:
    """Check the chart of FAMILY for mistakes and weaknesses.

    FAMILY is a family file (TOML), a chart (CSV or XLSX), the name of a family that comes with
    the program, or - for standard input. Exit code 1 if any finding is an error.
    """
    if schema:
        echo(json.dumps(json_schema(), ensure_ascii=False, indent=2))
        return
    if family is None:
        raise Refused("audit: name a family file, or '-' for standard input.")

    if keep is not None:
        _keep(family, say, keep)
        return
    loaded = load_family(family, say)
    findings = audit_family(loaded)
    if as_json:
        print_json(audited_shown(loaded, findings))
    else:
        _print(loaded, findings)
    ctx.exit(int(any(found.severity is Severity.ERROR for found in findings)))


def _keep(name: str, say: Sequence[str], out: str) -> None:
    """Write a family's file with what was said of it."""
    content = named_bytes("families", name)
    family = completed(read_family(content, shown_name(name)))
    try:
        answers = understood(family, say)
    except ValueError as error:
        raise Refused(f"--say: {error}.") from None
    if Path(out).exists():
        raise Refused(f"{out}: is there already; name a new file.")
    Path(out).write_bytes(kept(content, family, answers))
    echo(f"Wrote {out}.")


def _print(family: "Family", findings: Sequence[Finding]) -> None:
    across = f" in {len(family.positions)} positions" if family.lever else ""
    echo(f"{family.name}: {len(family.chart)} pairs{across}")
    if family.note:
        echo(family.note)
    echo()
    rows = [
        [(f"{row.pair[0]}-{row.pair[1]}", ""), *((str(e), "") for e in row.expect), (row.role, "")]
        for row in family.chart
    ]
    print_grid(["pins", *family.headings(), "role"], rows)
    _print_distances(family)
    for found in findings:
        place = f" ({found.place})" if found.place else ""
        echo(f"{found.severity.upper()} {found.rule}{place}: {found.sentence}")
    if not findings:
        echo("Nothing found.")


def _print_distances(family: "Family") -> None:
    """Print the range word of each position and in how many bits every two of them differ."""
    words = range_words(family)
    if not words:
        return
    echo("Range words, and in how many bits every two differ:")
    rows = [
        [(position, ""), (word, ""), *((str(len(changed(word, other))), "") for other in words)]
        for position, word in zip(family.positions, words, strict=True)
    ]
    print_grid(["", "word", *family.positions], rows)
