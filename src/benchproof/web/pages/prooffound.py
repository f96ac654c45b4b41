"""What is found beside readings, at the screen of a proof: edges, offsets, sweeps."""

from benchproof.conduct.finding import TypedEdge
from benchproof.proof.events import Turned
from benchproof.web.finding import found_edge, kept_sweep, measured_offset, number_typed
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.proof import by_whom, doing

_TURNED = {one.value: one for one in Turned}


def _edge(asked: PageRequest) -> str:
    typed = TypedEdge(
        asked.text("position", 80),
        asked.text("pins", 100),
        number_typed(asked.text("angle", 40), "where the edge is"),
        number_typed(asked.text("u", 40), "how well that is known (standard uncertainty)"),
        asked.text("below", 120),
        asked.text("above", 120),
        turned=_TURNED.get(asked.text("turned", 5), Turned.NOT_TOLD),
    )
    return found_edge(asked.site, asked.path("tag"), by_whom(asked), typed)


def _offset(asked: PageRequest) -> str:
    offset = number_typed(asked.text("offset", 40), "the offset")
    u = number_typed(asked.text("u", 40), "how well it is known (standard uncertainty)")
    how = asked.text("how", 200)
    return measured_offset(asked.site, asked.path("tag"), by_whom(asked), offset, u, how)


def _sweep(asked: PageRequest) -> str:
    files = asked.uploads.get("sweep", ())
    content, name = (files[0].content, files[0].name) if files else (b"", "")
    meter = asked.text("meter", 120)
    return kept_sweep(
        asked.site, asked.path("tag"), by_whom(asked), content, name, meter, asked.text("note", 200)
    )


ROUTES = (
    screen("/proof/{tag}/edge", post=doing(_edge)),
    screen("/proof/{tag}/offset", post=doing(_offset)),
    screen("/proof/{tag}/sweep", post=doing(_sweep)),
)
