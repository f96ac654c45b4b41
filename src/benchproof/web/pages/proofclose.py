"""Closing a proof at the bench, and what follows: papers, cautions for the first start."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.papers import certificate
from benchproof.proof.closing import outcome_of
from benchproof.proof.events import Mode, ProofOutcome
from benchproof.report.installer import installer_cautions
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.deciding import priced
from benchproof.web.pages.start import BY, MOST_PEOPLE
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.proofactions import close
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

TOLD = {
    ProofOutcome.ACCEPTED: "every cell passes and no doubt is open",
    ProofOutcome.REALIGN: "to be set anew, and proved again",
    ProofOutcome.REPAIR: "to be repaired or replaced",
    ProofOutcome.RECHECK: "look at the hook-up, the chart or the readings first",
    ProofOutcome.LIKELY_GOOD: "nothing was found; still to be proved",
    ProofOutcome.ABANDONED: "nothing is said of the part",
}
"""What each outcome means, in a few words."""
assert set(TOLD) == set(ProofOutcome), "every outcome is told"


def _show(asked: PageRequest) -> Response:
    return _page(asked, {}, {})


def _page(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    standing = asked.site.works.standing(asked.path("tag"))
    state = standing.state
    decided = None if state.closed else outcome_of(state)
    against = () if state.closed else state.objections
    # The other way of proving and an override are no plain outcomes.
    hidden = {decided, ProofOutcome.ACCEPTED}
    if state.mode is Mode.PROVE:
        hidden.add(ProofOutcome.LIKELY_GOOD)
    if not state.ground.family.lever:
        hidden.add(ProofOutcome.REALIGN)
    cautions = []
    if state.closed:
        cautions = installer_cautions(certificate(asked.site.store, standing.tag))
    return page(
        asked,
        "proofclose.html",
        status=status,
        tag=standing.tag,
        state=state,
        decided=decided,
        others=[(one.value, TOLD[one]) for one in ProofOutcome if one not in hidden],
        told=TOLD,
        against=against,
        may_override=bool(against) and all(one.overridable for one in against),
        cautions_=cautions,
        people=asked.site.store.people.list(limit=MOST_PEOPLE),
        typed=typed,
        wrong=wrong,
        **priced(asked.site, standing.tag, state),
    )


def _close(asked: PageRequest) -> Response:
    tag, named = asked.path("tag"), asked.text("outcome", 20)
    outcome = next((one for one in ProofOutcome if one.value == named), None)
    override = asked.text("do") == "override"
    who, why = asked.text("override_by", 120), asked.text("reason", 2000)
    wrong = {}
    if override:
        outcome = ProofOutcome.ACCEPTED
        if not who:
            wrong["override_by"] = "Say who answers for it."
        if not why:
            wrong["reason"] = "Say why."
    if wrong:
        wrong[""] = "Say who answers for it, and why."
        return _page(asked, asked.typed, wrong, 422)
    by = asked.request.cookies.get(BY, "")[:20]
    try:
        close(
            asked.site,
            tag,
            by,
            outcome,
            who if override else "",
            why if override else "",
        )
    except PROBLEMS as error:
        return _page(asked, asked.typed, {"": str(error)}, status_of(error))
    asked.site.hub.publish(f"proof/{tag}")
    asked.site.hub.publish("proofs")
    return RedirectResponse(f"/proof/{tag}/close", 303)


ROUTES = (screen("/proof/{tag}/close", get=_show, post=_close),)
