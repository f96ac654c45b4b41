"""Units: the transmissions being rebuilt, and what is fitted in them."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.papers import unit_tag
from benchproof.record.rows import UnitRow
from benchproof.report.tag import tag_pdf
from benchproof.web.downloads import pdf
from benchproof.web.forms import PageRequest, screen
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST = 100
MOST_KM = 10_000_000


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {}, {})


def _listed(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    store = asked.site.store
    return page(
        asked,
        "units.html",
        status=status,
        rows=store.units.list(asked.text("q", 80), limit=MOST),
        most=MOST,
        q=asked.text("q", 80),
        customers=[(row.tag, f"{row.tag} {row.name}") for row in store.customers.list(limit=500)],
        typed=typed,
        wrong=wrong,
    )


def _add(asked: PageRequest) -> Response:
    store, tag, km = asked.site.store, asked.text("tag", 80), asked.text("mileage_km", 20)
    if km and not (km.isascii() and km.isdecimal() and int(km) <= MOST_KM):
        wrong = {"mileage_km": f"Type whole kilometres, 0 to {MOST_KM}, or leave it empty."}
        return _listed(asked, asked.typed, wrong, 422)
    try:
        store.units.add(
            UnitRow(
                tag,
                store.now(),
                asked.text("family"),
                asked.text("customer") or None,
                asked.text("serial"),
                asked.text("complaint"),
                asked.text("codes"),
                int(km) if km else None,
            )
        )
    except PROBLEMS as error:
        return _listed(asked, asked.typed, {"tag": str(error)}, status_of(error))
    return RedirectResponse(f"/units/{tag}", 303)


def _show(asked: PageRequest) -> Response:
    store = asked.site.store
    row = store.units.get(asked.path("tag"))
    fitted = store.shelf.list(unit=row.tag)
    marks = {move.part: asked.site.marks.of_part(move.part) for move, _ in fitted}
    return page(asked, "unit.html", row=row, fitted=fitted, marks=marks)


def _tag(asked: PageRequest) -> Response:
    row = asked.site.store.units.get(asked.path("tag"))
    return pdf(tag_pdf(unit_tag(asked.site.store, row)), f"tag-{row.tag}.pdf")


ROUTES = (
    screen("/units", get=_list, post=_add),
    screen("/units/{tag}", get=_show),
    screen("/units/{tag}/tag.pdf", get=_tag),
)
