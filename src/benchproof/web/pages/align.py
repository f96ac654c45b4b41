"""Alignment: set a body by its electrical edges, live; then look how far tightening moved it."""

from dataclasses import dataclass, replace
from urllib.parse import urlencode

import msgspec
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from benchproof.align.centring import SURE
from benchproof.align.practice import SCALES
from benchproof.align.toturn import ToTurn, good_range
from benchproof.conduct.aligning import (
    ROUND,
    Aligning,
    EdgeAsked,
    Typed,
    aligning,
    check_row,
    decode,
    edge_typed,
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
from benchproof.report.turndial import TurnDial, draw_turn_dial
from benchproof.web.forms import PageRequest, screen
from benchproof.web.live import stream
from benchproof.web.pages.proof import by_whom
from benchproof.web.pages.proofstage import turn_drawn, turn_of
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


@dataclass(frozen=True)
class Knows:
    """What a proof of the part knows, and the one that is open; empty and None if nothing does."""

    proof: str = ""
    open_proof: str = ""
    turn: ToTurn | None = None


def _known(site: Site, part: str, proof: str) -> Knows:
    """Return what the proof that was named knows, or else the part's open one."""
    open_ = site.store.proofs.list(part=part, open_only=True, limit=1) if part else []
    if not part:
        return Knows()
    tag = open_[0].tag if open_ else ""
    named = proof if proof and site.store.proofs.row(proof).part == part else tag
    turn = turn_of(site.works.standing(named).state) if named else None
    return Knows(named, tag, turn)


def _shown(asked: PageRequest, typed: dict[str, str], wrong: dict[str, str]) -> Response:
    key, part = asked.path("key"), asked.text("part", 80)
    knows = _known(asked.site, part, asked.text("proof", 90))
    found = _aligning(asked.site, key, part)
    family = found.window.family
    strip = draw_strip(strip_of(found.window)) if len(family.chart) <= MOST_DRAWN else ""
    return page(
        asked,
        "align.html",
        status=422 if wrong else 200,
        key=key,
        part=part,
        dangers_=asked.site.marks.dangers_of_part(part) if part else (),
        proof=knows.proof,
        open_proof=knows.open_proof,
        turn_note=_note(knows.turn),
        strip=strip,
        scales=[(name, scale.told) for name, scale in SCALES.items()],
        pairs=list(dict.fromkeys(pair_text(row.pair) for row in family.chart)),
        typed={
            "now": found.typed.now,
            "found_at": found.typed.found_at,
            **typed,
        },
        wrong=wrong,
        **_live_values(found, knows),
    )


def _note(turn: ToTurn | None) -> str:
    """Return what is noted of a turn by the proof's own word."""
    if turn is None:
        return ""
    unit = "°" if turn.unit == "deg" else " detent gaps"
    return f"{turn.by:.1f}{unit} {turn.way or f'toward {turn.toward}'}, as the proof says"


def _live_values(found: Aligning, knows: Knows) -> dict[str, object]:
    by_proof = knows.turn is not None and (knows.turn.is_enough or found.steps is None)
    return {
        "dial": _dial(found, knows),
        "found": found,
        "turn": knows.turn,
        "by_proof": by_proof and not found.typed.rows,
    }


def _dial_of_family(found: Aligning) -> str:
    """Return the dial while nothing is known of the body."""
    window = found.window
    if window.centre is None:
        return ""
    unit = "°" if window.unit == "deg" else "gaps"
    clockwise = window.family.offset_grows != "counter-clockwise"
    return draw_turn_dial(TurnDial(unit, window.centre, good_range(window), clockwise=clockwise))


def _dial(found: Aligning, knows: Knows) -> str:
    """Return the dial of the scale once it is known where to set it, else that of the proof."""
    centring, good = found.centring, found.good
    if centring is None:
        return _dial_of_family(found) if knows.turn is None else turn_drawn(knows.turn)
    at = found.typed.after if found.typed.set_at is not None else ""
    now = number_of(at or found.typed.now)
    clockwise = found.window.family.offset_grows != "counter-clockwise"
    if centring.rises <= 1.0 - SURE:
        clockwise = not clockwise
    within = () if now is not None else (centring.interval95,)
    return draw_turn_dial(
        TurnDial(centring.scale.name, centring.set_at, good, now, within, clockwise)
    )


async def _live(request: Request) -> Response:
    site: Site = request.app.state.site
    key, part = request.path_params["key"], request.query_params.get("part", "")[:80]
    proof = request.query_params.get("proof", "")[:90]

    def render() -> str:
        values = _live_values(_aligning(site, key, part), _known(site, part, proof))
        return fragment("alignlive.html", **values)

    return stream(request, _draft_name(key, part), render)


def _change(asked: PageRequest) -> Response:
    key, part = asked.path("key"), asked.text("part", 80)
    found = _aligning(asked.site, key, part)
    typed, wrong = found.typed, {}
    match asked.text("do"):
        case "edge":
            try:
                row = edge_typed(
                    asked.text("edge", 80), _edge_asked(asked, found), found.window.family
                )
                sentence = check_row(found.window, row)
            except ValueError as error:
                row, sentence = (), f"{error}"
            if sentence:
                wrong["edge"] = sentence
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
    # Without a fragment, so that the cursor stays where the next one is typed.
    where = urlencode({"part": part, "proof": asked.text("proof", 90)})
    return RedirectResponse(f"/align/{key}?{where}", 303)


def _edge_asked(asked: PageRequest, found: Aligning) -> EdgeAsked | None:
    """Return the edge that the screen asked for, whatever others typed meanwhile."""
    told = asked.text("expect", 400).split("|")
    shown = EdgeAsked(*told) if len(told) == 4 and tuple(told[2:]) in ROUND else found.next_edge
    if shown is None:
        return None
    position, pins = asked.text("e-position", 80), asked.text("e-pins", 100)
    return replace(shown, position=position or shown.position, pins=pins or shown.pins)


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
