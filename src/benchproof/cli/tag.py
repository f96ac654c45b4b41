"""`benchproof tag`: a label for a part or a unit."""

from typing import TYPE_CHECKING

import click

from benchproof.cli.certificate import write_out
from benchproof.cli.files import Refused
from benchproof.cli.proven import closing
from benchproof.cli.store import STORE, completing, opened_store

if TYPE_CHECKING:
    from benchproof.record.rows import PartRow, UnitRow
    from benchproof.record.store import Store
    from benchproof.report.tag import LastProof, Tag


@click.command()
@click.argument("tag", metavar="PART|UNIT", shell_complete=completing("parts"))
@click.option(
    "--kind", type=click.Choice(["part", "unit"]), help="Which, where a part and a unit share it."
)
@click.option(
    "--out", required=True, metavar="FILE", help="Where to write it; - for standard output."
)
@STORE
def tag(tag: str, kind: str | None, out: str, store: str | None) -> None:
    """Draw a label for PART or UNIT as PDF, with a code that leads back to its record."""
    from benchproof.report.tag import tag_pdf

    with opened_store(store) as archive:
        told = _told(archive, tag, kind)
    write_out(tag_pdf(told), out)


def _told(store: "Store", tag: str, kind: str | None) -> "Tag":
    from benchproof.record.problems import NoSuch

    found: list[PartRow | UnitRow] = []
    for register in (store.parts, store.units):
        if kind in (None, "part" if register is store.parts else "unit"):
            try:
                found.append(register.get(tag))
            except NoSuch:
                continue
    if not found:
        raise Refused(f"{tag}: the archive has no {kind or 'part or unit'} of this name.")
    if len(found) > 1:
        raise Refused(f"{tag}: is a part and a unit; add --kind part or --kind unit.")
    return _of_row(store, found[0])


def _of_row(store: "Store", row: "PartRow | UnitRow") -> "Tag":
    from benchproof.record.rows import PartRow
    from benchproof.report.certificate_of import origin
    from benchproof.report.tag import Tag

    if not isinstance(row, PartRow):
        parts = ", ".join(move.part for move, _ in store.shelf.list(unit=row.tag, state="fitted"))
        return Tag(row.tag, "unit", row.family, (f"Parts: {parts}",) if parts else ())
    moves = store.shelf.moves(row.tag)
    where = f"{moves[-1].state} {moves[-1].unit or ''}".strip() if moves else ""
    lines = (where, origin(row.bought, row.core or "", row.maker_class))
    return Tag(row.tag, "part", row.family, tuple(filter(None, lines)), _last_proof(store, row.tag))


def _last_proof(store: "Store", part: str) -> "LastProof | None":
    from benchproof.report.tag import LastProof, stands

    # Of proofs opened in the same second the higher number is the later one.
    latest = max(store.proofs.list(part=part), key=lambda row: row.number, default=None)
    if latest is None:
        return None
    stored, closed = closing(store, latest.tag)
    moves = store.shelf.moves(part)
    moved = (moves[-1].state, moves[-1].at) if moves else ("", None)
    if closed is None or not stands(latest.opened_at, *moved):
        return None
    last = stored[-1]
    return LastProof(
        proof=latest.tag,
        seq=last.seq,
        hash=last.hash,
        outcome=closed.outcome,
        overridden=bool(closed.override_by),
        on=closed.at[:10],
    )
