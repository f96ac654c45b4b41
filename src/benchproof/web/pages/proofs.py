"""The archive's proofs: found by tag, shown as they are recorded, and their papers."""

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from benchproof.conduct.papers import printed
from benchproof.conduct.shopsettings import letterhead
from benchproof.proof.events import ReadingTaken
from benchproof.proof.taking import value_of
from benchproof.proof.withdrawal import why_withdrawn
from benchproof.report.html import certificate_html
from benchproof.report.judgedchart import With, as_read, chart_shown
from benchproof.report.pdf import certificate_pdf
from benchproof.report.text import certificate_text
from benchproof.report.worksheet import worksheet_csv, worksheet_pdf
from benchproof.web.downloads import pdf, saved
from benchproof.web.forms import PageRequest, screen
from benchproof.web.live import stream
from benchproof.web.pages.deciding import priced
from benchproof.web.rendering import fragment, page
from benchproof.web.site import Site

if TYPE_CHECKING:
    from benchproof.proof.state import State

MOST = 50


def _list(asked: PageRequest) -> Response:
    store = asked.site.store
    q, open_only = asked.text("q", 80), asked.text("open", 5) == "yes"
    after = asked.text("after", 90)
    before = store.proofs.row(after) if after else None
    rows = store.proofs.list(beginning=q, open_only=open_only, before=before, limit=MOST + 1)
    return page(
        asked,
        "proofs.html",
        rows=rows[:MOST],
        mark=asked.site.marks.of_proof,
        more=len(rows) > MOST,
        q=q,
        open_only=open_only,
        after=after,
    )


def _values(site: Site, tag: str) -> dict[str, Any]:
    standing = site.works.standing(tag)
    state = standing.state
    found, left = state.as_found, state.as_left
    turned = len(state.settings) > 1
    chart = chart_shown(
        state.ground.family,
        found.judgement.cells,
        left.judgement.cells,
        turned,
        With(found.meter, found.ambient_c),
        With(left.meter, left.ambient_c),
    )
    counts = {one.gone.taken.seq: one.why for setting in state.settings for one in setting.kept}
    gone = {
        one.taken.seq: one.why
        + (f"; it still counts: {counts[one.taken.seq]}" if one.taken.seq in counts else "")
        for one in state.withdrawn
    }
    read = With(left.meter, left.ambient_c)
    readings = [
        (seq, event, as_read(value_of(event.value, read.meter), read), gone.get(seq))
        for seq, event in enumerate(state.events, 1)
        if isinstance(event, ReadingTaken)
    ]
    return {
        "tag": tag,
        "state": state,
        "hash": standing.hash,
        "chart": chart,
        "readings": readings,
        "found": _found(state),
        **priced(site, tag, state),
    }


def _found(state: "State") -> list[tuple[int, Any, str, str]]:
    """Return what was found beside readings, the last first: event, in words, why withdrawn."""
    found = [(one.seq, told, "") for one, told in zip(state.noted, state.noted_told, strict=True)]
    found += [
        (gone.what.seq, gone.what.told, why_withdrawn(gone.event)) for gone in state.set_aside
    ]
    return [(seq, state.events[seq - 1], told, why) for seq, told, why in sorted(found)[::-1]]


def _show(asked: PageRequest) -> Response:
    return page(asked, "record.html", **_values(asked.site, asked.path("tag")))


async def _live(request: Request) -> Response:
    site: Site = request.app.state.site
    tag, store = request.path_params["tag"], site.store
    store.proofs.row(tag)

    def render() -> str:
        return fragment("recordlive.html", **_values(site, tag))

    def stamp() -> int:
        return store.proofs.row(tag).last_seq

    return stream(request, f"proof/{tag}", render, stamp)


def _pdf(asked: PageRequest) -> Response:
    tag = asked.path("tag")
    return pdf(certificate_pdf(printed(asked.site.store, tag)), f"certificate-{tag}.pdf")


def _html(asked: PageRequest) -> Response:
    tag = asked.path("tag")
    told = certificate_html(printed(asked.site.store, tag))
    return saved(told.encode(), f"certificate-{tag}.html", "text/html; charset=utf-8")


def _text(asked: PageRequest) -> Response:
    tag = asked.path("tag")
    told = certificate_text(printed(asked.site.store, tag))
    return saved(told.encode(), f"certificate-{tag}.txt", "text/plain; charset=utf-8")


def _worksheet(asked: PageRequest) -> Response:
    family = asked.site.works.standing(asked.path("tag")).state.ground.family
    head = letterhead(asked.site.store)
    if asked.path("ending") == "csv":
        content = worksheet_csv(family, head).encode()
        return saved(content, f"worksheet-{family.name}.csv", "text/csv; charset=utf-8")
    return pdf(worksheet_pdf(family, head), f"worksheet-{family.name}.pdf")


ROUTES = (
    screen("/proofs", get=_list),
    screen("/proofs/{tag}", get=_show),
    Route("/proofs/{tag}/live", _live, methods=["GET"]),
    screen("/proofs/{tag}/certificate.pdf", get=_pdf),
    screen("/proofs/{tag}/certificate.html", get=_html),
    screen("/proofs/{tag}/certificate.txt", get=_text),
    screen("/proofs/{tag}/worksheet.{ending}", get=_worksheet),
)
