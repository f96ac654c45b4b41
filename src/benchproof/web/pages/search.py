"""Search: one field for everything that the archive holds."""

from typing import TYPE_CHECKING

from benchproof.conduct.searching import MOST, search
from benchproof.web.forms import PageRequest, screen
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from starlette.responses import Response


def _show(asked: PageRequest) -> "Response":
    q = asked.text("q", 80)
    found = search(asked.site.store, asked.site.marks, q)
    return page(asked, "find.html", q=q, found=found, most=MOST)


ROUTES = (screen("/search", get=_show),)
