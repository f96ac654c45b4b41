"""The proof at the bench: what to do next, the reading as it arrives, and all that can be done."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from benchproof.conduct.people import check_somebody
from benchproof.network.temperature import warming_of
from benchproof.proof.cautions import BEFORE_FINDING, BEFORE_TURNING
from benchproof.proof.events import Mistake
from benchproof.reading.value import UNTOLD, Conditions
from benchproof.web.finding import number_typed
from benchproof.web.forms import PageRequest, screen, with_cookie
from benchproof.web.live import stream
from benchproof.web.metering import panel
from benchproof.web.pages.proofcell import chosen
from benchproof.web.pages.proofstage import (
    STAGES,
    asked_of,
    belief_of,
    turn_to_take_back,
    undoable,
)
from benchproof.web.pages.start import BY, MOST_PEOPLE, gear_choices
from benchproof.web.problems import PROBLEMS
from benchproof.web.proofactions import (
    Taking,
    keep_photograph,
    note_turn,
    read_other,
    remark,
    take,
    take_back,
    withdraw_shown,
    work_done,
)
from benchproof.web.rendering import fragment, page

if TYPE_CHECKING:
    from benchproof.web.site import Site


MOST_SAID = 6
"""So many mistakes of a file are told at the screen at a time."""


def _show(asked: PageRequest) -> Response:
    return _page(asked, "")


def _page(asked: PageRequest, said: str) -> Response:
    standing = asked.site.works.standing(asked.path("tag"))
    state, plugged = standing.state, asked.site.plugged
    return page(
        asked,
        "proof.html",
        tag=standing.tag,
        state=state,
        stage=STAGES.html(standing),
        step=asked_of(state),
        undo=undoable(state),
        unturn=turn_to_take_back(state),
        plug=plugged.plug(state) if plugged else None,
        before_turning=BEFORE_TURNING,
        before_finding=BEFORE_FINDING,
        warms=warming_of(state.ground.family).matters,
        under=taken[-1].reading.conditions if (taken := state.as_left.taken) else UNTOLD,
        unit="detent gaps" if state.ground.family.detents_deg is None else "degrees",
        said=said,
        by=by_whom(asked),
        people=asked.site.store.people.list(limit=MOST_PEOPLE),
        meters=gear_choices(asked.site.store, "meter"),
        benches=gear_choices(asked.site.store, "selector"),
        **panel(asked.site, state),
        **chosen(asked, state),
    )


def _belief(asked: PageRequest) -> Response:
    standing = asked.site.works.standing(asked.path("tag"))
    state = standing.state
    return page(
        asked,
        "proofbelief.html",
        tag=standing.tag,
        state=state,
        is_read=state.as_left.learned is not None,
        **belief_of(state.as_left.diagnosis, whole=True),
    )


def doing(do: Callable[[PageRequest], str]) -> Callable[[PageRequest], Response]:
    """Return the handler of something that is done to a proof and says a sentence of it."""

    def handler(asked: PageRequest) -> Response:
        tag = asked.path("tag")
        # Of a proof that is none nothing is said but that.
        asked.site.store.proofs.row(tag)
        done, said = True, ""
        try:
            said = do(asked)
        except PROBLEMS as problem:
            if not asked.is_fragment:
                raise
            done, said = False, str(problem)
        finally:
            asked.site.hub.publish(f"proof/{tag}")
            asked.site.hub.publish("proofs")
        if not asked.is_fragment:
            return RedirectResponse(f"/proof/{tag}", 303)
        stage = STAGES.html(asked.site.works.standing(tag))
        return HTMLResponse(
            stage + fragment("proofsaid.html", said=said, done=done, MOST_SAID=MOST_SAID)
        )

    return handler


def by_whom(asked: PageRequest) -> str:
    """Return the initials of who is at the screen; empty if nobody said."""
    return asked.request.cookies.get(BY, "")[:20]


def _who(asked: PageRequest) -> Response:
    """Keep who reads at this screen from now on."""
    who = asked.text("who", 20)
    check_somebody(asked.site.store, who)
    answer = RedirectResponse(f"/proof/{asked.path('tag')}", 303)
    return with_cookie(asked.request, answer, BY, who)


def _read(asked: PageRequest) -> str:
    shown = Taking(
        asked.text("position", 80),
        asked.text("pins", 100),
        asked.text("lean", 80),
        asked.text("again", 5) == "yes",
        _number(asked.text("seq", 12)),
        asked.text("value", 120),
        under_typed(asked),
    )
    return take(asked.site, asked.path("tag"), by_whom(asked), shown)


def under_typed(asked: PageRequest) -> Conditions:
    """Return what the part was under, as it was typed."""
    under = {name: asked.text(name, 40) for name in Conditions.__dataclass_fields__}
    return Conditions(
        **{
            name: number_typed(text, "what the part was under")
            for name, text in under.items()
            if text
        }
    )


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() else 0


def _other(asked: PageRequest) -> str:
    typed = asked.text("position", 80), asked.text("pins", 100), asked.text("value", 120)
    return read_other(
        asked.site,
        asked.path("tag"),
        by_whom(asked),
        typed,
        asked.text("lean", 80),
        under=under_typed(asked),
    )


def _undo(asked: PageRequest) -> str:
    seq = _number(asked.text("seq", 12))
    named = asked.text("kind", 20)
    kind = next((one for one in Mistake if one.value == named), Mistake.OTHER)
    reason = asked.text("reason", 2000)
    return withdraw_shown(asked.site, asked.path("tag"), by_whom(asked), seq, reason, kind)


def _work(asked: PageRequest) -> str:
    return work_done(asked.site, asked.path("tag"), by_whom(asked), asked.text("what", 2000))


def _remark(asked: PageRequest) -> str:
    at = asked.text("at", 80), asked.text("pins", 100)
    return remark(asked.site, asked.path("tag"), by_whom(asked), asked.text("text", 2000), at)


def _turn(asked: PageRequest) -> str:
    return note_turn(asked.site, asked.path("tag"), by_whom(asked), asked.text("note", 2000))


def _unturn(asked: PageRequest) -> str:
    seq, reason = _number(asked.text("seq", 12)), asked.text("reason", 2000)
    return take_back(asked.site, asked.path("tag"), by_whom(asked), seq, reason)


def _photograph(asked: PageRequest) -> str:
    pictures = asked.uploads.get("photograph", ())
    content, name = (pictures[0].file, pictures[0].name) if pictures else (b"", "")
    what = asked.text("what", 200)
    return keep_photograph(asked.site, asked.path("tag"), by_whom(asked), content, name, what)


async def _live(request: Request) -> Response:
    site: Site = request.app.state.site
    tag = request.path_params["tag"]
    site.store.proofs.row(tag)

    def render() -> str:
        return STAGES.html(site.works.standing(tag))

    def stamp() -> int:
        return site.store.proofs.row(tag).last_seq

    return stream(request, f"proof/{tag}", render, stamp)


ROUTES = (
    screen("/proof/{tag}", get=_show),
    Route("/proof/{tag}/live", _live, methods=["GET"]),
    screen("/proof/{tag}/belief", get=_belief),
    screen("/proof/{tag}/who", post=_who),
    screen("/proof/{tag}/read", post=doing(_read)),
    screen("/proof/{tag}/other", post=doing(_other)),
    screen("/proof/{tag}/undo", post=doing(_undo)),
    screen("/proof/{tag}/remark", post=doing(_remark)),
    screen("/proof/{tag}/work", post=doing(_work)),
    screen("/proof/{tag}/turn", post=doing(_turn)),
    screen("/proof/{tag}/unturn", post=doing(_unturn)),
    screen("/proof/{tag}/photograph", post=doing(_photograph)),
)
