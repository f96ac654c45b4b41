"""`benchproof certificate`: a closed proof on paper, or a blank worksheet."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.files import Refused, load_family
from benchproof.cli.proven import closed_state
from benchproof.cli.store import STORE, completing, opened_store

if TYPE_CHECKING:
    from benchproof.record.rows import PartRow
    from benchproof.record.store import Store
    from benchproof.report.certificate import Certificate
    from benchproof.report.certificate_of import Recorded

FORMAT_OF = {".pdf": "pdf", ".html": "html", ".htm": "html", ".txt": "text"}
PAPER = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Size of the paper.",
)


@click.command()
@click.argument("proof", required=False, shell_complete=completing("proofs"))
@click.option(
    "--blank", metavar="FAMILY", help="Write a blank worksheet of FAMILY (.pdf or .csv) instead."
)
@click.option("--out", metavar="FILE", help="Where to write it; - for standard output.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["pdf", "html", "text"]),
    help="Form; otherwise by the ending of FILE, and text without one.",
)
@PAPER
@STORE
def certificate(
    proof: str | None,
    blank: str | None,
    out: str | None,
    form: str | None,
    paper: str,
    store: str | None,
) -> None:
    """Draw the certificate of PROOF, which must be closed, as PDF, HTML or text."""
    if (proof is None) == (blank is None):
        raise Refused("Name one of the two: PROOF, or --blank FAMILY for a worksheet.")
    if blank is not None:
        _worksheet(blank, out, form, paper)
        return
    assert proof is not None
    form = form or _form_of(out)
    if form == "pdf" and out is None:
        raise Refused("A PDF needs --out FILE (- for standard output).")
    from benchproof.report.html import certificate_html
    from benchproof.report.text import certificate_text

    told = _told(proof, store)
    match form:
        case "html":
            data = certificate_html(told).encode()
        case "text":
            data = certificate_text(told).encode()
        case _:
            from benchproof.report.pdf import certificate_pdf

            data = certificate_pdf(told, paper)
    write_out(data, out)


def _form_of(out: str | None) -> str:
    if out is None or out == "-":
        return "text"
    ending = Path(out).suffix.casefold()
    if ending not in FORMAT_OF:
        raise Refused(
            f"{out}: does not tell its form; end it in {', '.join(FORMAT_OF)}, or give --format."
        )
    return FORMAT_OF[ending]


def _told(proof: str, where: str | None) -> "Certificate":
    from benchproof import __version__
    from benchproof.report.certificate_of import certificate_of

    with opened_store(where) as store:
        state, last = closed_state(store, proof)
        part = store.parts.get(state.opened.part)
        recorded = _recorded(store, part, proof, last.seq, last.hash)
        return certificate_of(state, recorded, __version__)


def _recorded(store: "Store", part: "PartRow", proof: str, seq: int, hash_: str) -> "Recorded":
    from benchproof.report.certificate_of import Recorded, origin

    moves = store.shelf.moves(part.tag)
    unit = (moves[-1].unit or "") if moves and moves[-1].state in ("reserved", "fitted") else ""
    fitted = [("This part", origin(part.bought, part.core or "", part.maker_class))]
    if unit:
        for move, family in store.shelf.list(unit=unit, state="fitted"):
            if move.part != part.tag:
                row = store.parts.get(move.part)
                words = origin(row.bought, row.core or "", row.maker_class)
                fitted.append((f"{family} {row.tag}", words))
    return Recorded(proof, seq, hash_, unit, tuple(fitted))


def _worksheet(family: str, out: str | None, form: str | None, paper: str) -> None:
    from benchproof.report.worksheet import worksheet_csv, worksheet_pdf

    if form is not None or out is None or Path(out).suffix.casefold() not in (".pdf", ".csv"):
        raise Refused("--blank needs --out FILE that ends in .pdf or .csv, and no --format.")
    loaded = load_family(family)
    if Path(out).suffix.casefold() == ".csv":
        write_out(worksheet_csv(loaded).encode(), out)
    else:
        write_out(worksheet_pdf(loaded, paper), out)


def write_out(data: bytes, out: str | None) -> None:
    """Write what was drawn; never over a file of another kind."""
    if out is None or out == "-":
        click.echo(data, nl=False)
        return
    path = Path(out)
    if path.exists():
        with path.open("rb") as file:
            if file.read(4) != data[:4]:
                raise Refused(f"{out}: is there already and is none of ours; name another file.")
    path.write_bytes(data)
    click.echo(f"Wrote {out}.")
