"""Parts: recorded, graded, proved, moved over the shelf, and their tags printed."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.families import choices, family_of, may_have_lever, usable
from benchproof.conduct.familyanswers import NotTold, settled
from benchproof.conduct.papers import part_tag
from benchproof.conduct.people import check_somebody
from benchproof.conduct.shelving import move_part
from benchproof.record.moves import LAWFUL
from benchproof.record.rows import PartRow
from benchproof.report.tag import tag_pdf
from benchproof.web.downloads import pdf, saved
from benchproof.web.familyanswers import QuestionPanel, panel_of, said_in
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.grading import grading, note
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST = 100
MAKERS = ("unknown", "original", "other")


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {"core": asked.text("core", 80), "family": asked.text("family", 80)}, {})


def _listed(
    asked: PageRequest,
    typed: "Mapping[str, str]",
    wrong: dict[str, str],
    status: int = 200,
    panel: QuestionPanel | None = None,
) -> Response:
    store, q = asked.site.store, asked.text("q", 80)
    named = {(one.key, one.name) for one in choices(store)}
    key = typed.get("family", "")
    if key and key not in {known for known, _ in named}:
        # A chart that was just saved, and that no part has yet.
        named.add((key, family_of(store, key).family.name))
    return page(
        asked,
        "parts.html",
        status=status,
        rows=store.parts.list(q, limit=MOST),
        mark=asked.site.marks.of_part,
        most=MOST,
        q=q,
        panel=panel,
        families=sorted(named, key=lambda one: one[1]),
        makers=MAKERS,
        cores=store.cores.tags("", 500),
        typed=typed,
        wrong=wrong,
    )


def _add(asked: PageRequest) -> Response:
    store, tag = asked.site.store, asked.text("tag", 80)
    core, bought = asked.text("core", 80) or None, asked.text("bought") == "yes"
    maker = asked.text("maker_class")
    if core is not None and bought:
        wrong = {"core": "A part is bought or taken from a core, not both; empty one of the two."}
        return _listed(asked, asked.typed, wrong, 422)
    field = "family"
    try:
        kept = family_of(store, asked.text("family", 80))
        usable(kept.content, kept.family.name)
        content = settled(kept.content, kept.family, said_in(asked, kept.family))
        field = "tag"
        store.parts.add(
            PartRow(
                tag,
                kept.family.name,
                store.files.put(content),
                store.now(),
                maker if maker in MAKERS else "unknown",
                core,
                bought,
                asked.text("note"),
            )
        )
    except NotTold:
        wrong = {"family": "Say first what is asked of this family below."}
        return _listed(asked, asked.typed, wrong, 422, panel_of(kept.family, "part-form"))
    except ValueError as error:
        wrong = {"say": f"{str(error).capitalize()}."}
        return _listed(asked, asked.typed, wrong, 422, panel_of(kept.family, "part-form"))
    except PROBLEMS as error:
        typed = dict(asked.typed) | ({"family": ""} if field == "family" else {})
        return _listed(asked, typed, {field: str(error)}, status_of(error))
    return RedirectResponse(f"/parts/{tag}", 303)


def _show(asked: PageRequest) -> Response:
    return _shown(asked, {}, {})


def _shown(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    store = asked.site.store
    row = store.parts.get(asked.path("tag"))
    moves = store.shelf.moves(row.tag)
    state = moves[-1].state if moves else ""
    proofs = store.proofs.list(part=row.tag, limit=MOST)
    return page(
        asked,
        "part.html",
        status=status,
        row=row,
        lever=may_have_lever(store, row.family_file, row.family),
        proofs=proofs,
        # What its last proof says, whatever became of that proof.
        found=asked.site.marks.dangers_of_part(row.tag),
        mark=asked.site.marks.of_proof,
        moves=moves,
        can_go=[(move.after, move.unit) for move in LAWFUL if move.before == state],
        units=store.units.tags("", 500),
        grading=grading(store, part=row.tag),
        post=f"/parts/{row.tag}",
        typed=typed,
        wrong=wrong,
    )


def _change(asked: PageRequest) -> Response:
    """Note a grade, or move the part over the shelf."""
    store = asked.site.store
    row = store.parts.get(asked.path("tag"))
    moving = asked.text("do") == "move"
    try:
        if moving:
            unit, by = asked.text("unit", 80) or None, asked.text("moved_by", 20) or None
            check_somebody(store, by)
            another = asked.text("another", 3) == "yes"
            to, why = asked.text("to", 20), asked.text("why")
            move_part(store, row.tag, to, unit, by, why, another=another)
            wrong: dict[str, str] = {}
        else:
            wrong = note(asked, part=row.tag)
    except PROBLEMS as error:
        field = "to" if moving else "item"
        return _shown(asked, asked.typed, {field: str(error)}, status_of(error))
    if wrong:
        return _shown(asked, asked.typed, wrong, 422)
    return RedirectResponse(f"/parts/{row.tag}", 303)


def _tag(asked: PageRequest) -> Response:
    row = asked.site.store.parts.get(asked.path("tag"))
    return pdf(tag_pdf(part_tag(asked.site.store, row)), f"tag-{row.tag}.pdf")


def _file(asked: PageRequest) -> Response:
    """Send the family file as the part has it."""
    row = asked.site.store.parts.get(asked.path("tag"))
    content = asked.site.store.files.get(row.family_file)
    ending = "xlsx" if content.startswith(b"PK") else "toml" if b"[[" in content else "csv"
    return saved(content, f"{row.family}.{ending}", "application/octet-stream")


ROUTES = (
    screen("/parts", get=_list, post=_add),
    screen("/parts/{tag}", get=_show, post=_change),
    screen("/parts/{tag}/tag.pdf", get=_tag),
    screen("/parts/{tag}/family", get=_file),
)
