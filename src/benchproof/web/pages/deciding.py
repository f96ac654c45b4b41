"""What to do with the part of a proof: what each choice is expected to cost, by figures typed."""

from typing import TYPE_CHECKING, Any

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.deciding import LABELS, Figures, decided, figures_kept, figures_typed, kept
from benchproof.family.problems import TooLarge
from benchproof.web.forms import PageRequest, screen
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.proof.state import State
    from benchproof.web.site import Site

DRAFT = "costs"
"""The shop's figures are kept beside the archive under this name."""


def figures_of(site: "Site") -> Figures:
    """Return the figures that this page takes."""
    return figures_kept(site.drafts.get(DRAFT))


def priced(site: "Site", tag: str, state: "State") -> dict[str, Any]:
    """Return what `decided.html` shows of a proof."""
    figures = figures_of(site)
    try:
        decision, remarks = decided(state, figures)
    except TooLarge as error:
        decision, remarks = None, (f"Nothing can be priced: {error}.",)
    return {
        "decision": decision,
        "remarks": remarks,
        "currency": figures.costs.currency,
        "decide_at": f"/proofs/{tag}/decide",
    }


def _show(asked: PageRequest) -> Response:
    return _page(asked, figures_of(asked.site).typed, {})


def _page(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    standing = asked.site.works.standing(asked.path("tag"))
    return page(
        asked,
        "decide.html",
        status=status,
        tag=standing.tag,
        state=standing.state,
        labels=list(LABELS.items()),
        typed=typed,
        wrong=wrong,
        **priced(asked.site, standing.tag, standing.state),
    )


def _take(asked: PageRequest) -> Response:
    tag = asked.path("tag")
    if asked.text("do") == "usual":
        asked.site.drafts.put(DRAFT, "")
        return RedirectResponse(f"/proofs/{tag}/decide", 303)
    costs, wrong = figures_typed(asked.typed, figures_of(asked.site).costs)
    if wrong:
        return _page(asked, asked.typed, wrong, 422)
    asked.site.drafts.put(DRAFT, kept(costs))
    return RedirectResponse(f"/proofs/{tag}/decide", 303)


ROUTES = (screen("/proofs/{tag}/decide", get=_show, post=_take),)
