"""PDF by the typesetter: the same input gives the same bytes, and no font but its own is used.

What people typed is handed over as data. The files are archival and accessible: PDF/A-2a, PDF/UA-1.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from importlib import resources
from typing import Any

import typst

from benchproof.report.certificate import Certificate
from benchproof.report.fullchart import full_chart
from benchproof.report.glyphs import (
    MISSING_SAID,
    MONO,
    PLACEHOLDER,
    SERIF,
    ascii_only,
    drawable,
)
from benchproof.report.language import language
from benchproof.report.letterhead import PAPERS, Letterhead, logo_kind
from benchproof.report.paper import Paper, Section, paper_of
from benchproof.report.recordcode import code_svg, record_text
from benchproof.report.travel import travel_figures, travel_said


def certificate_pdf(told: Certificate, size: str = "") -> bytes:
    """Return a certificate as PDF: what counts, how it was measured, and the whole chart.

    Parameters
    ----------
    told : Certificate
        What it says.
    size : str
        ``a4`` or ``letter``; the shop's own without it.
    """
    paper = PAPERS[size or told.letterhead.paper]
    data = {**_of_paper(paper_of(told)), **_of_certificate(told), "size": paper}
    return typeset("certificate", data, told.closed_on)


def _of_paper(paper: Paper) -> dict[str, Any]:
    return {
        "title": paper.title,
        "shop": paper.shop,
        "tested": _section(paper.tested),
        "dangers": paper.dangers,
        "sign": paper.sign,
        "word": paper.word,
        "verdict": paper.verdict,
        "override": paper.override,
        "before": [_section(it) for it in paper.before],
        "after": [_section(it) for it in paper.after],
        "signature": paper.signature,
        "details": [_section(it) for it in paper.details],
        "record": _section(paper.record),
        "foot": paper.foot,
        "page": paper.page,
        "end": paper.end,
    }


def _section(it: Section) -> dict[str, Any]:
    return {"heading": it.heading, "facts": it.facts, "lines": it.lines, "listed": it.listed}


def _of_certificate(told: Certificate) -> dict[str, Any]:
    return {
        **letterhead_data(told.letterhead),
        "figures": travel_figures(told),
        "figure_said": travel_said(told),
        "code": code_svg(record_text(told.proof, told.seq, told.hash)),
        "code_said": f"Code with the record id {told.proof} and its hash",
        "chart": full_chart(told),
    }


def letterhead_data(head: Letterhead) -> dict[str, Any]:
    """Return what a template needs of a letterhead beside its words: language and logo."""
    return {
        "lang": head.language,
        "logo": list(head.logo),
        "logo_kind": logo_kind(head.logo),
        "logo_said": head.name or "Logo",
    }


_LOGO = b"""
#set document(title: "logo")
#let told = json(bytes(sys.inputs.data))
#image(bytes(told.logo), format: told.kind, alt: "logo")
"""


def logo_stands(logo: bytes) -> bool:
    """Return whether the typesetter can draw a logo."""
    data = {"logo": list(logo), "kind": logo_kind(logo)}
    try:
        _compiled(_LOGO, data, datetime(2000, 1, 1, tzinfo=UTC))
    except typst.TypstError:
        return False
    return True


def typeset(template: str, data: dict[str, Any], day: str) -> bytes:
    """Return a PDF of a template.

    Parameters
    ----------
    template : str
        Name of one in ``templates``.
    data : dict
        What it shows; texts in it may be anything.
    day : str
        The day the document is of, as ``2026-03-02``: it is dated by it and not by the clock.
    """
    source = (resources.files("benchproof.report") / "templates" / f"{template}.typ").read_bytes()
    at = datetime.fromisoformat(day).replace(tzinfo=UTC)
    dated = {**data, "day": (at.year, at.month, at.day), "serif": SERIF, "mono": MONO}
    try:
        return _compiled(source, _shown(dated, drawable), at)
    except typst.TypstError as error:
        if "could not be displayed" not in error.message:
            raise
        return _compiled(source, _shown(dated, ascii_only), at)


def _compiled(source: bytes, data: object, at: datetime) -> bytes:
    return typst.compile(
        source,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, sort_keys=True)},
        pdf_standards=["a-2a", "ua-1"],
        timestamp=at,
    )


def _shown(data: dict[str, Any], show: Callable[[str], str]) -> dict[str, Any]:
    """Return data with every text as the fonts can show it; say so where one could not."""

    def walk(value: Any) -> Any:  # noqa: ANN401  (any JSON)
        match value:
            case str():
                return show(value)
            case dict():
                return {key: walk(inner) for key, inner in value.items()}
            case list() | tuple():
                return [walk(inner) for inner in value]
            case _:
                return value

    shown: dict[str, Any] = walk(data)
    if PLACEHOLDER in json.dumps(shown, ensure_ascii=False):
        missing = language(data.get("lang", "en")).say(MISSING_SAID)
        shown["foot"] = f"{shown.get('foot', '')} · {missing}"
    return shown
