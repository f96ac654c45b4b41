"""Where one begins: pick a family, choose the gear, start; or go on with an open proof."""

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.families import choices, family_of, usable
from benchproof.conduct.familyanswers import NotTold, settled
from benchproof.conduct.opening import open_proof
from benchproof.conduct.people import check_somebody
from benchproof.proof.cautions import BEFORE_HOOK_UP
from benchproof.proof.events import Mode
from benchproof.record.problems import NoSuch, RecordProblem, StillOpen
from benchproof.record.rows import PartRow
from benchproof.shipped.contents import USUAL_BENCH, USUAL_METER, shipped
from benchproof.shop.condition import SEIZED
from benchproof.web.familyanswers import QuestionPanel, panel_of, said_in
from benchproof.web.forms import PageRequest, screen, with_cookie
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.conduct.families import FamilyChoice
    from benchproof.record.rows import ProofRow
    from benchproof.record.store import Store

BY = "benchproof-by"
LAST = "benchproof-last"
"""The cookie of what was last started here."""
MOST_OPEN = 12
MOST_PEOPLE = 500


@dataclass(frozen=True)
class Lists:
    """What can be chosen: families, and meters and benches each as value and text."""

    families: "list[FamilyChoice]"
    meters: list[tuple[str, str]]
    benches: list[tuple[str, str]]


def _lists(store: "Store") -> Lists:
    return Lists(choices(store), gear_choices(store, "meter"), gear_choices(store, "selector"))


def _show(asked: PageRequest) -> Response:
    lists = _lists(asked.site.store)
    typed = {
        **_offered(asked, lists),
        "part": asked.text("part") or _free_tag(asked.site.store),
        "by": asked.request.cookies.get(BY, ""),
    }
    if asked.text("family"):
        typed["family"] = asked.text("family")
    return _page(asked, typed, {}, lists=lists)


def _offered(asked: PageRequest, lists: Lists) -> dict[str, str]:
    """Return what was last started on this screen, so that the next like it takes one key.

    What cannot be chosen any more, or was not yet, is as the archive's last proof or as usual.
    """
    store = asked.site.store
    can_be = {
        "family": [one.key for one in lists.families],
        "mode": [str(mode) for mode in Mode],
        "meter": [value for value, _ in lists.meters],
        "bench": [value for value, _ in lists.benches],
    }
    usual = {
        "family": _last_family(store, lists.families),
        "mode": Mode.PROVE,
        "meter": _usual(store, "meter", USUAL_METER),
        "bench": _usual(store, "selector", USUAL_BENCH),
    }
    last = dict(parse_qsl(asked.request.cookies.get(LAST, "")))
    return {name: last[name] if last.get(name) in can_be[name] else usual[name] for name in can_be}


def _page(
    asked: PageRequest,
    typed: "Mapping[str, str]",
    wrong: dict[str, str],
    status: int = 200,
    panel: QuestionPanel | None = None,
    lists: Lists | None = None,
) -> Response:
    store = asked.site.store
    lists = lists or _lists(store)
    part = _known(store, typed.get("part", ""))
    open_proofs = store.proofs.list(open_only=True, limit=MOST_OPEN)
    return page(
        asked,
        "start.html",
        status=status,
        panel=panel,
        glance=asked.site.marks.glance,
        families=[
            (one.key, one.name + (" (comes along, invented)" if one.comes_along else ""))
            for one in lists.families
        ],
        meters=lists.meters,
        benches=lists.benches,
        people=store.people.list(limit=MOST_PEOPLE),
        open_proofs=open_proofs,
        families_of={row.part: store.parts.get(row.part).family for row in open_proofs},
        any_proof=bool(store.proofs.list(limit=1)),
        part=part,
        still_open=_open_of(store, part),
        cautions_=[BEFORE_HOOK_UP, SEIZED],
        typed=typed,
        wrong=wrong,
    )


def _start(asked: PageRequest) -> Response:
    """Record the part if it is new, open its proof and go to it."""
    store = asked.site.store
    tag, by = asked.text("part", 80), asked.text("by", 20)
    wrong: dict[str, str] = {}
    mode = Mode.FIND if asked.text("mode") == Mode.FIND else Mode.PROVE
    if not tag:
        wrong["part"] = "Give the part a tag, such as S-1; it is what you write on it."
    known = _known(store, tag)
    if known is None and not asked.text("family"):
        wrong["family"] = "Pick the family of the part, or type its chart first."
    try:
        check_somebody(store, by)
    except RecordProblem as nobody:
        wrong["by"] = str(nobody)
    if wrong:
        return _page(asked, asked.typed, wrong, 422)
    try:
        kept = (
            family_of(store, asked.text("family"))
            if known is None
            else family_of(store, known.family_file, known.family)
        )
        usable(kept.content, kept.family.name)
        said = said_in(asked, kept.family)
        content = settled(kept.content, kept.family, said)
        if known is None:
            file = store.files.put(content)
            store.parts.add(PartRow(tag, kept.family.name, file, store.now()))
        work = open_proof(
            store,
            tag,
            mode,
            meter=asked.text("meter"),
            bench=asked.text("bench"),
            by=by,
            say=said if known else (),
            another=asked.text("another", 5) == "yes",
        )
    except NotTold:
        panel = panel_of(kept.family, "start-form")
        wrong["family"] = "Say first what is asked of this family below."
        return _page(asked, asked.typed, wrong, 422, panel)
    except ValueError as error:
        wrong["say"] = f"{str(error).capitalize()}."
        return _page(asked, asked.typed, wrong, 422, panel_of(kept.family, "start-form"))
    except StillOpen as error:
        wrong["part"] = (
            f"Proof {error.proof} of this part is open: go on with it, or tick that you want "
            "another."
        )
        return _page(asked, asked.typed, wrong, status_of(error))
    except PROBLEMS as error:
        field = "part" if isinstance(error, RecordProblem) else "family"
        return _page(asked, asked.typed, {field: str(error)}, status_of(error))
    asked.site.hub.publish("proofs")
    answer = RedirectResponse(f"/proof/{work.tag}", 303)
    started = {name: asked.text(name) for name in ("family", "mode", "meter", "bench")}
    for cookie, value in ((BY, by), (LAST, urlencode(started))):
        with_cookie(asked.request, answer, cookie, value)
    return answer


def gear_choices(store: "Store", kind: str) -> list[tuple[str, str]]:
    """Return the meters or selectors that can be chosen, as value and text."""
    own = [
        (row.tag, f"{row.tag}{', OVERDUE' if row.overdue(store.now().date()) else ''}")
        for row in store.gear.list(kind=kind)
        if row.file is not None
    ]
    along = shipped("meters" if kind == "meter" else "benches")
    return [*own, *((name, f"{name} (comes along, invented)") for name in along)]


def _usual(store: "Store", kind: str, usual: str) -> str:
    """Return the shop's own gear where it has any."""
    own = [row.tag for row in store.gear.list(kind=kind) if row.file is not None]
    return own[0] if own else usual


def _last_family(store: "Store", offered: "list[FamilyChoice]") -> str:
    """Return the key of the family that the archive's last proof was of, else of the first one."""
    for row in store.proofs.list(limit=1):
        part = store.parts.get(row.part)
        for one in offered:
            if one.key == part.family_file or one.name == part.family:
                return one.key
    return offered[0].key


def _known(store: "Store", tag: str) -> PartRow | None:
    try:
        return store.parts.get(tag)
    except NoSuch:
        return None


def _open_of(store: "Store", part: PartRow | None) -> "list[ProofRow]":
    if part is None:
        return []
    return store.proofs.list(part=part.tag, open_only=True, limit=MOST_OPEN)


def _free_tag(store: "Store") -> str:
    """Return a tag that no part has, such as S-12; found in few steps among many parts."""
    low, high = 0, 1
    while _known(store, f"S-{high}") is not None:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if _known(store, f"S-{middle}") is None:
            high = middle
        else:
            low = middle
    return f"S-{high}"


def _all(asked: PageRequest) -> Response:
    return page(asked, "all.html")


ROUTES = (
    screen("/", get=_show, post=_start),
    screen("/all", get=_all),
)
