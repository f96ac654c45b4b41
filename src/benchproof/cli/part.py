"""`benchproof part`: physical components, their family and where they came from."""

from dataclasses import replace

import click

from benchproof.cli.diagnosis import print_dangers
from benchproof.cli.intake import note_command, print_conditions
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import completing, opened_store
from benchproof.cli.tables import print_fields, print_table, short
from benchproof.conduct.marks import Marks
from benchproof.face.kept import Parts, PartView, marked, part_shown

note = note_command("part", 'benchproof part note S-1 "bent pins=slight".')


@click.command("list")
@click.argument("beginning", default="", shell_complete=completing("parts"))
@click.option("--family", metavar="NAME", help="Only parts of this family.")
@STORE
@JSON
def list_parts(beginning: str, family: str | None, store: str | None, as_json: bool) -> None:
    """List the parts, or those whose tag begins with BEGINNING; DANGER marks what readings show."""
    with opened_store(store, reading=True) as archive:
        rows = (
            archive.parts.list(beginning)
            if family is None
            else archive.parts.list(beginning, family=family)
        )
        marks = Marks(archive)
        words = [marks.of_part(row.tag) for row in rows]
    if as_json:
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


@click.command("show")
@click.argument("tag", shell_complete=completing("parts"))
@STORE
@JSON
def show_part(tag: str, store: str | None, as_json: bool) -> None:
    """Show the part TAG, its dangers first, how it looked, its proofs, its way over the shelf."""
    with opened_store(store, reading=True) as archive:
        row = archive.parts.get(tag)
        notes = archive.conditions.list(part=tag)
        proofs = archive.proofs.list(part=tag)
        moves = archive.shelf.moves(tag)
        dangers = Marks(archive).dangers_of_part(tag)
    if as_json:
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
