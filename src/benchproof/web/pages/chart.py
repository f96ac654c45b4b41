"""The chart workshop: type or paste a chart, see it audited as it is typed, keep it as a family."""

from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse, RedirectResponse, Response

from benchproof.conduct.chartfile import (
    Checked,
    checked,
    correct,
    renamed,
    text_of,
    told,
    with_answers,
)
from benchproof.conduct.charttext import chart_text, family_file
from benchproof.conduct.families import choices, family_of
from benchproof.conduct.familyanswers import PROPOSED, understood
from benchproof.family.files import is_family_file
from benchproof.family.names import check_name
from benchproof.web.downloads import saved
from benchproof.web.familyanswers import panel_of, said_in
from benchproof.web.forms import PageRequest, screen
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import fragment, page

if TYPE_CHECKING:
    from collections.abc import Mapping

_START = "pins\tP\tR\tN\tD\trole\n"


def _draft(asked: PageRequest, name: str) -> str:
    return f"chart/{asked.session}/{name}"


def _show(asked: PageRequest) -> Response:
    key = asked.text("like", 80)
    if key:
        kept = family_of(asked.site.store, key)
        typed = {"name": f"{kept.family.name}-copy", "chart": chart_text(kept.family)}
    else:
        drafts = asked.site.drafts
        typed = {
            "name": drafts.get(_draft(asked, "name")),
            "chart": drafts.get(_draft(asked, "chart")),
        }
    return _page(asked, typed, {})


def _page(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    name, text = typed.get("name", ""), typed.get("chart", "")
    return page(
        asked,
        "chart.html",
        status=status,
        typed={"name": name, "chart": text},
        start=_START,
        wrong=wrong,
        families=[(one.key, one.name) for one in choices(asked.site.store)],
        **_values(checked(text, name)),
    )


def _values(now: Checked) -> dict[str, object]:
    made = [told(now.family, one) for one in now.corrections] if now.family else []
    return {
        "now": now,
        "panel": panel_of(now.family, "chart-form") if now.family else None,
        "corrections": made,
        "flagged": {(pair, position) for pair, position, _ in made},
    }


def _change(asked: PageRequest) -> Response:
    """Check, correct, take in a file, save or send the chart that was typed."""
    name, text = asked.text("name", 40), asked.typed.get("chart", "")
    do = asked.text("do")
    if do.startswith("correct:"):
        number = do.removeprefix("correct:")
        made = _values(checked(text, name))["corrections"]
        assert isinstance(made, list)
        if number.isascii() and number.isdecimal() and int(number) < len(made):
            text = correct(text, name, *made[int(number)])
    if do in (PROPOSED, "say"):
        try:
            text = _said(asked, name, text)
        except ValueError as error:
            return _page(asked, asked.typed, {"say": f"{str(error).capitalize()}."}, 422)
    uploads = asked.uploads.get("file", ())
    if do == "file" and uploads:
        try:
            text = text_of(uploads[0].content, uploads[0].name)
        except PROBLEMS as error:
            return _page(asked, asked.typed, {"file": str(error)}, status_of(error))
        name = name or uploads[0].name.rpartition(".")[0][:40]
    asked.site.drafts.put(_draft(asked, "name"), name)
    asked.site.drafts.put(_draft(asked, "chart"), text)
    if asked.is_fragment:
        return HTMLResponse(fragment("chartfindings.html", **_values(checked(text, name))))
    if do in ("save", "send"):
        return _kept(asked, name, text, do)
    return RedirectResponse("/chart", 303)


def _said(asked: PageRequest, name: str, text: str) -> str:
    """Return the chart with what was said of it, or all of it as we propose.

    Raises
    ------
    ValueError
        If it is not understood.
    """
    family = checked(text, name).family
    if family is None:
        return text
    return with_answers(text, name, understood(family, said_in(asked, family)))


def _kept(asked: PageRequest, name: str, text: str, do: str) -> Response:
    """Keep a family file in the archive and go on to a part of it, or send it."""
    typed = {"name": name, "chart": text}
    try:
        check_name(name)
    except ValueError as error:
        return _page(asked, typed, {"name": f"The name {error}."}, 422)
    now = checked(text, name)
    if now.family is None or not now.usable:
        wrong = {"chart": "It cannot be used as it is; what is wrong stands beside it."}
        return _page(asked, typed, wrong, 422)
    if now.questions and do == "save":
        wrong = {"chart": "Say first what is asked beside it: until then nothing is accepted."}
        return _page(asked, typed, wrong, 422)
    if now.unfit and do == "save":
        wrong = {"chart": f"Mend it, or say beside it why it is right: {now.unfit[0].sentence}"}
        return _page(asked, typed, wrong, 422)
    # A family file is kept as it was typed, with whatever else it holds.
    content = text.encode()
    if not is_family_file(content):
        content = family_file(renamed(now.family, name)).encode()
    if do == "send":
        return saved(content, f"{name}.toml", "application/toml")
    try:
        key = asked.site.store.files.put(content)
    except PROBLEMS as error:
        return _page(asked, typed, {"chart": str(error)}, status_of(error))
    return RedirectResponse(f"/parts?family={key}", 303)


ROUTES = (screen("/chart", get=_show, post=_change),)
