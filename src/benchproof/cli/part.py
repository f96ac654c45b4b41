"""`benchproof part`: physical components, their family and where they came from."""

from dataclasses import replace

import click

from benchproof.cli.diagnosis import print_dangers
from benchproof.cli.files import HOW_TO_SAY, SAY, Refused, load_family, named_bytes
from benchproof.cli.intake import note_command, print_conditions
from benchproof.cli.output import echo, print_json
from benchproof.cli.store import (
    JSON,
    STORE,
    completing,
    opened_store,
    print_fields,
    print_table,
    short,
)


@click.group()
def part() -> None:
    """Parts: range switches and the rest, each with a tag."""


@part.command("add")
@click.argument("tag")
@click.argument("family")
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
def add_part(
    tag: str,
    family: str,
    maker_class: str,
    core: str | None,
    bought: bool,
    note: str,
    say: tuple[str, ...],
    store: str | None,
) -> None:
    """Record a part as TAG; FAMILY is a family file, a chart, or one that comes along.

    The archive keeps the family file as it is now, so that the part's proofs can be looked at
    again years later.
    """
    from benchproof.conduct.saying import NotTold, settled
    from benchproof.record.rows import PartRow

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
        archive.parts.add(PartRow(tag, name, kept, archive.now(), maker_class, core, bought, note))
    echo(f"Recorded: part {tag} of {name}.")


part.add_command(note_command("part", 'benchproof part note S-1 "bent pins=slight".'))


@part.command("list")
@click.argument("beginning", default="", shell_complete=completing("parts"))
@click.option("--family", metavar="NAME", help="Only parts of this family.")
@STORE
@JSON
def list_parts(beginning: str, family: str | None, store: str | None, as_json: bool) -> None:
    """List the parts, or those whose tag begins with BEGINNING; DANGER marks what readings show."""
    from benchproof.conduct.marks import Marks

    with opened_store(store, reading=True) as archive:
        rows = (
            archive.parts.list(beginning)
            if family is None
            else archive.parts.list(beginning, family=family)
        )
        marks = Marks(archive)
        words = [marks.of_part(row.tag) for row in rows]
    if as_json:
        from benchproof.face.kept import Parts, PartView, marked

        print_json(Parts(parts=marked(PartView, rows, words)))
        return
    if not rows:
        echo("No such part is recorded.")
        return
    columns = ("tag", "family", "maker_class", "core", "bought", "note", "added")
    table = [
        [word, *(short(getattr(row, column)) for column in columns)]
        for word, row in zip(words, rows, strict=True)
    ]
    print_table(["", *(column.replace("_", " ") for column in columns)], table)


@part.command("show")
@click.argument("tag", shell_complete=completing("parts"))
@STORE
@JSON
def show_part(tag: str, store: str | None, as_json: bool) -> None:
    """Show the part TAG, its dangers first, how it looked, its proofs, its way over the shelf."""
    from benchproof.conduct.marks import Marks

    with opened_store(store, reading=True) as archive:
        row = archive.parts.get(tag)
        notes = archive.conditions.list(part=tag)
        proofs = archive.proofs.list(part=tag)
        moves = archive.shelf.moves(tag)
        dangers = Marks(archive).dangers_of_part(tag)
    if as_json:
        from benchproof.face.kept import part_shown

        print_json(part_shown(row, dangers, notes, proofs, moves))
        return
    print_dangers(dangers)
    echo(f"Part {tag}")
    print_fields(replace(row, tag=""))
    print_conditions(notes)
    for proof in proofs:
        closed = proof.closed_as or "open"
        echo(f"  proof {proof.tag}: {closed}, opened {short(proof.opened_at)}")
    for move in moves:
        for_unit = f" {move.unit}" if move.unit else ""
        echo(f"  {short(move.at)}: {move.state}{for_unit}")
