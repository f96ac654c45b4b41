"""`benchproof certificate`: a closed proof on paper, or a blank worksheet."""

from contextlib import suppress
from pathlib import Path

import click

from benchproof.cli.files import write_out
from benchproof.cli.loading import load_family
from benchproof.cli.options import JSON, STORE, along
from benchproof.cli.refusals import Refused
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.papers import certificate as certificate_of
from benchproof.conduct.papers import noted
from benchproof.conduct.shopsettings import letterhead
from benchproof.record.problems import RecordProblem, Unusable
from benchproof.report.html import certificate_html
from benchproof.report.letterhead import Letterhead
from benchproof.report.pdf import certificate_pdf
from benchproof.report.text import certificate_text
from benchproof.report.worksheet import worksheet_csv, worksheet_pdf

FORMAT_OF = {".pdf": "pdf", ".html": "html", ".htm": "html", ".txt": "text"}
PAPER = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Size of the paper; otherwise the shop's own (benchproof shop).",
)


@click.command()
@click.argument("proof", required=False, shell_complete=completing("proofs"))
@click.option(
    "--blank",
    metavar="FAMILY",
    shell_complete=along("families"),
    help="Write a blank worksheet of FAMILY (.pdf or .csv) instead.",
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
@JSON
def certificate(
    proof: str | None,
    blank: str | None,
    out: str | None,
    form: str | None,
    paper: str | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Draw the certificate of PROOF, which must be closed, as PDF, HTML or text."""
    if (proof is None) == (blank is None):
        raise Refused("Name one of the two: PROOF, or --blank FAMILY for a worksheet.")
    if blank is not None:
        _worksheet(blank, out, form, paper, store, as_json=as_json)
        return
    assert proof is not None
    form = form or _form_of(out)
    if form == "pdf" and out is None:
        raise Refused("A PDF needs --out FILE (- for standard output).")

    with opened_store(store, reading=True) as archive:
        told = certificate_of(archive, proof)
    # It is printed even where it cannot be noted: the disk may be full, or only be read.
    with suppress(Unusable), opened_store(store) as archive:
        told = noted(archive, told)
    match form:
        case "html":
            data = certificate_html(told).encode()
        case "text":
            data = certificate_text(told).encode()
        case _:
            data = certificate_pdf(told, paper or "")
    write_out(data, out, as_json=as_json)


def _form_of(out: str | None) -> str:
    if out is None or out == "-":
        return "text"
    ending = Path(out).suffix.casefold()
    if ending not in FORMAT_OF:
        raise Refused(
            f"{out}: does not tell its form; end it in {', '.join(FORMAT_OF)}, or give --format."
        )
    return FORMAT_OF[ending]


def _worksheet(
    family: str,
    out: str | None,
    form: str | None,
    paper: str | None,
    store: str | None,
    *,
    as_json: bool,
) -> None:
    if form is not None or out is None or Path(out).suffix.casefold() not in (".pdf", ".csv"):
        raise Refused("--blank needs --out FILE that ends in .pdf or .csv, and no --format.")
    loaded = load_family(family)
    head = _letterhead(store)
    if Path(out).suffix.casefold() == ".csv":
        write_out(worksheet_csv(loaded, head).encode(), out, as_json=as_json)
    else:
        write_out(worksheet_pdf(loaded, head, paper or ""), out, as_json=as_json)


def _letterhead(store: str | None) -> Letterhead:
    """Return the shop's settings; the usual ones where there is no archive yet."""
    if store is None:
        with suppress(RecordProblem), opened_store(None, reading=True) as archive:
            return letterhead(archive)
        return Letterhead()
    with opened_store(store, reading=True) as archive:
        return letterhead(archive)
