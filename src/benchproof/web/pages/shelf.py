"""The shelf: where the proven parts are."""

from starlette.responses import Response

from benchproof.conduct.shelflist import shelved
from benchproof.record.moves import STATES
from benchproof.web.forms import PageRequest, screen
from benchproof.web.rendering import page

MOST = 500


def _show(asked: PageRequest) -> Response:
    state = asked.text("state", 20)
    state = state if state in STATES else ""
    places = shelved(asked.site.store, asked.site.marks, state=state or None)
    counts = {name: sum(one.move.state == name for one in places) for name in STATES}
    return page(
        asked,
        "shelf.html",
        places=places[:MOST],
        left=max(len(places) - MOST, 0),
        counts=counts,
        states=STATES,
        state=state,
    )


ROUTES = (screen("/shelf", get=_show),)
