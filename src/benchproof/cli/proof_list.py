"""`benchproof proof list`: proofs, the latest first."""

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.marks import Marks
from benchproof.face.proved import ProofsView, proofs_shown


@click.command("list")
@click.option(
    "--part", metavar="TAG", shell_complete=completing("parts"), help="Only of this part."
)
@click.option("--open", "open_only", is_flag=True, help="Only those not closed.")
@click.option("--limit", type=click.IntRange(1, 10_000), default=50, help="How many at most (50).")
@STORE
@JSON
def list_proofs(
    part: str | None, open_only: bool, limit: int, store: str | None, as_json: bool
) -> None:
    """List proofs, the latest first; DANGER marks what readings show."""
    with opened_store(store, reading=True) as archive:
        rows = archive.proofs.list(part=part, open_only=open_only, limit=limit)
        marks = Marks(archive)
        words = [marks.of_proof(row) for row in rows]
    if as_json:
        print_json(ProofsView(proofs=proofs_shown(rows, words)))
        return
    for word, row in zip(words, rows, strict=True):
        opened = row.opened_at.astimezone().strftime("%Y-%m-%d %H:%M")
        mark = f"{word}  " if word else ""
        echo(f"{mark}{row.tag}  {row.mode}  {opened}  {row.closed_as or 'open'}")
    if not rows:
        echo("No proof.")
