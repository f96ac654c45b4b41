"""Cores: what is taken in, how it looks, and what was missing."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.record.rows import CoreRow
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.grading import grading, note
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

DEPOSITS = ("none", "owed", "paid", "returned")
MOST = 100


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {}, {})


def _listed(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    rows = asked.site.store.cores.list(asked.text("q", 80), limit=MOST)
    return page(
        asked,
        "cores.html",
        status=status,
        rows=rows,
        most=MOST,
        q=asked.text("q", 80),
        deposits=DEPOSITS,
        typed=typed,
        wrong=wrong,
    )


def _add(asked: PageRequest) -> Response:
    store, tag = asked.site.store, asked.text("tag", 80)
    deposit = asked.text("deposit")
    try:
        store.cores.add(
            CoreRow(
                tag,
                store.now(),
                asked.text("family"),
                deposit if deposit in DEPOSITS else "none",
                asked.text("missing"),
                asked.text("damaged"),
                asked.text("note"),
            )
        )
    except PROBLEMS as error:
        return _listed(asked, asked.typed, {"tag": str(error)}, status_of(error))
    return RedirectResponse(f"/cores/{tag}", 303)


def _show(asked: PageRequest) -> Response:
    return _shown(asked, {}, {})


def _shown(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    store = asked.site.store
    row = store.cores.get(asked.path("tag"))
    return page(
        asked,
        "core.html",
        status=status,
        row=row,
        parts=store.parts.list(core=row.tag),
        grading=grading(store, core=row.tag),
        post=f"/cores/{row.tag}",
        typed=typed,
        wrong=wrong,
    )


def _note(asked: PageRequest) -> Response:
    row = asked.site.store.cores.get(asked.path("tag"))
    try:
        wrong = note(asked, core=row.tag)
    except PROBLEMS as error:
        return _shown(asked, asked.typed, {"item": str(error)}, status_of(error))
    if wrong:
        return _shown(asked, asked.typed, wrong, 422)
    return RedirectResponse(f"/cores/{row.tag}", 303)


ROUTES = (
    screen("/cores", get=_list, post=_add),
    screen("/cores/{tag}", get=_show, post=_note),
)
