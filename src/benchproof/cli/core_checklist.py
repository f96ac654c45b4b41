"""`benchproof core checklist`: what to look for at intake."""

from collections.abc import Sequence

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON
from benchproof.cli.output import echo, styled
from benchproof.face.kept import checklist_shown
from benchproof.shop.condition import SEIZED, Item, PartKind, items_of

KINDS = ("range switch", "connector", "other")


@click.command("checklist")
@click.option("--kind", type=click.Choice(KINDS), default=KINDS[0], show_default=True)
@JSON
def checklist(kind: str, as_json: bool) -> None:
    """Print what to look for at intake, and what follows from what is seen."""
    items = items_of(PartKind(kind))
    if as_json:
        print_json(checklist_shown(items))
    else:
        _print(items)


def _print(items: Sequence[Item]) -> None:
    """Print what to look for, with every grade and what follows from it."""
    echo(SEIZED)
    for item in items:
        echo(styled(item.name, bold=True))
        for graded in item.grades:
            echo(f"  {graded.grade}: {graded.seen} -> {graded.consequence}. {graded.why}")
