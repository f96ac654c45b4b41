"""Alignment: set a body by its electrical edges, live; then look how far tightening moved it."""

import msgspec
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from benchproof.align.edges import HEADINGS
from benchproof.align.practice import SCALES
from benchproof.conduct.aligning import (
    Aligning,
    Typed,
    aligning,
    check_row,
    decode,
    encode,
    number_of,
    typed_anew,
)
from benchproof.conduct.carrying import carried
from benchproof.conduct.families import family_of, lever_choices
from benchproof.conduct.finding import note_edges
from benchproof.family.model import pair_text
from benchproof.proof.problems import ProofProblem
from benchproof.report.familyfigures import strip_of
from benchproof.report.strip import draw_strip
from benchproof.web.figures import ScaleBar, draw_scale
from benchproof.web.forms import PageRequest, screen
from benchproof.web.live import stream
from benchproof.web.pages.proof import by_whom
from benchproof.web.rendering import fragment, page
from benchproof.web.site import Site

MOST_DRAWN = 40
"""A strip of more pairs than these nobody reads on a screen."""


def _pick(asked: PageRequest) -> Response:
    return page(
        asked,
        "pickfamily.html",
        families=lever_choices(asked.site.store),
        to="/align",
        heading="Align which family?",
        told="Where to set a body so that every cell holds, found with a meter instead of by eye.",
    )


def _draft_name(key: str, part: str) -> str:
    return f"align/{key}/{part}"


def _aligning(site: Site, key: str, part: str) -> Aligning:
    kept = family_of(site.store, key)
    typed = decode(site.drafts.get(_draft_name(key, part)))
    return aligning(kept.key, kept.content, kept.family.name, typed)


def _show(asked: PageRequest) -> Response:
    return _shown(asked, {}, {})


def _shown(asked: PageRequest, typed: dict[str, str], wrong: dict[str, str]) -> Response:
    key, part = asked.path("key"), asked.text("part", 80)
    found = _aligning(asked.site, key, part)
    family = found.window.family
    strip = draw_strip(strip_of(found.window)) if len(family.chart) <= MOST_DRAWN else ""
    watched = [choice.cell for choice in found.steps.choices] if found.steps else []
    return page(
        asked,
        "align.html",
        status=422 if wrong else 200,
        key=key,
        part=part,
        dangers_=asked.site.marks.dangers_of_part(part) if part else (),
        open_proofs=asked.site.store.proofs.list(part=part, open_only=True, limit=1)
        if part
        else [],
        strip=strip,
        scales=[(name, scale.told) for name, scale in SCALES.items()],
        pairs=list(dict.fromkeys(pair_text(row.pair) for row in family.chart)),
        first=watched[0] if watched else None,
        typed={
            "scale": found.typed.scale,
            "now": found.typed.now,
            "found_at": found.typed.found_at,
            **typed,
        },
        wrong=wrong,
        **_live_values(found),
    )


def _live_values(found: Aligning) -> dict[str, object]:
    centring, ends = found.centring, found.ends
    bar = ""
    if centring is not None and ends is not None:
        at = found.typed.after if found.typed.set_at is not None else ""
        now = number_of(at or found.typed.now)
        name = centring.scale.name
        bar = draw_scale(ScaleBar(name, ends, centring.set_at, centring.interval95, now))
    return {"bar": bar, "found": found, "part_": pair_text}


async def _live(request: Request) -> Response:
    site: Site = request.app.state.site
    key, part = request.path_params["key"], request.query_params.get("part", "")[:80]

    def render() -> str:
        return fragment("alignlive.html", **_live_values(_aligning(site, key, part)))

    return stream(request, _draft_name(key, part), render)


def _change(asked: PageRequest) -> Response:
    key, part = asked.path("key"), asked.text("part", 80)
    found = _aligning(asked.site, key, part)
    typed, wrong = found.typed, {}
    match asked.text("do"):
        case "edge":
            row = tuple(asked.text(f"e-{name}", 80) for name in HEADINGS)
            sentence = check_row(found.window, row)
            if sentence:
                wrong["e-scale"] = sentence
            else:
                typed = typed.with_edge(row)
        case "undo":
            typed = typed.without_last()
        case "scale":
            scale = asked.text("scale", 20)
            typed = msgspec.structs.replace(typed, scale=scale if scale in SCALES else "deg")
        case "found":
            typed = _with_number(asked, typed, "found_at", wrong)
        case "carry":
            return _carry(asked, found)
        case "now":
            typed = _with_number(asked, typed, "now", wrong)
        case "freeze" if found.centring is not None:
            typed = msgspec.structs.replace(typed, set_at=found.centring.set_at, after="")
        case "thaw":
            typed = msgspec.structs.replace(typed, set_at=None, after="")
        case "after":
            typed = _with_number(asked, typed, "after", wrong)
        case "anew":
            typed = typed_anew(typed)
    if wrong:
        return _shown(asked, dict(asked.typed), wrong)
    asked.site.drafts.put(_draft_name(key, part), encode(typed))
    asked.site.hub.publish(_draft_name(key, part))
    return RedirectResponse(f"/align/{key}?part={part}#live", 303)


def _carry(asked: PageRequest, found: Aligning) -> Response:
    """Record the edges in the part's open proof."""
    part = asked.text("part", 80)
    rows = asked.site.store.proofs.list(part=part, open_only=True, limit=1) if part else []
    if not rows:
        raise ProofProblem("No proof of this part is open; open one first.")
    tag = rows[0].tag
    with asked.site.works.opened(tag) as work:
        note_edges(work, by_whom(asked), carried(found, work.state.seq + 1))
    asked.site.hub.publish(f"proof/{tag}")
    return RedirectResponse(f"/proof/{tag}", 303)


def _with_number(asked: PageRequest, typed: Typed, name: str, wrong: dict[str, str]) -> Typed:
    text = asked.text(name, 40)
    if text and number_of(text) is None:
        wrong[name] = "Type what the scale reads, a number; or leave it empty."
    return msgspec.structs.replace(typed, **{name: text})


ROUTES = (
    screen("/align", get=_pick),
    screen("/align/{key}", get=_show, post=_change),
    Route("/align/{key}/live", _live, methods=["GET"]),
)
