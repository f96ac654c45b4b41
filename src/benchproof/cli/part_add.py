"""`benchproof part add`: a part with its family's file."""

import click

from benchproof.cli.files import HOW_TO_SAY, named_bytes
from benchproof.cli.loading import load_family
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, SAY, STORE
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.familyanswers import NotTold, settled
from benchproof.face.kept import PartView, row_shown
from benchproof.record.rows import PartRow


@click.command("add")
@click.argument("tag")
@FAMILY
@click.option(
    "--maker-class",
    type=click.Choice(("original", "other", "unknown")),
    default="unknown",
    show_default=True,
    help="Made by the maker of the unit, or by another.",
)
@click.option(
    "--core", metavar="TAG", shell_complete=completing("cores"), help="The core it comes from."
)
@click.option("--bought", is_flag=True, help="Bought, rather than taken from a core.")
@click.option("--note", default="", help="Anything worth knowing.")
@SAY
@STORE
@JSON
def add_part(
    tag: str,
    family: str,
    maker_class: str,
    core: str | None,
    bought: bool,
    note: str,
    say: tuple[str, ...],
    store: str | None,
    as_json: bool,
) -> None:
    """Record a part as TAG; FAMILY is a family file, a chart, or one that comes along.

    The archive keeps the family file as it is now, so that the part's proofs can be looked at
    again years later.
    """
    if core is not None and bought:
        raise click.UsageError("A part is bought or taken from a core, not both.")
    chart = load_family(family)
    name = chart.name
    try:
        content = settled(named_bytes("families", family), chart, say)
    except NotTold as error:
        raise Refused(f"{error}\n{HOW_TO_SAY}") from None
    except ValueError as error:
        raise Refused(f"--say: {error}.") from None
    with opened_store(store) as archive:
        kept = archive.files.put(content)
        row = PartRow(tag, name, kept, archive.now(), maker_class, core, bought, note)
        archive.parts.add(row)
    if as_json:
        print_json(row_shown(PartView, row, danger=None))
        return
    echo(f"Recorded: part {tag} of {name}.")
