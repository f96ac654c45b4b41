"""What the shop puts on its papers: who it is, its logo, sizes, units and language."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.shopsettings import (
    CHOICES,
    MOST_LOGO_BYTES,
    WORDS,
    WrongSetting,
    letterhead,
    set_shop,
)
from benchproof.report.language import LANGUAGES
from benchproof.report.letterhead import LABELS, logo_kind
from benchproof.web.downloads import saved
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.start import BY
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

_TOLD = {
    "paper": {"a4": "A4, 210 × 297 mm", "letter": "Letter, 8.5 × 11 in"},
    "label": {name: f"{name}, {wide} × {high} mm" for name, (wide, high) in LABELS.items()},
    "distance": {"km": "kilometers", "miles": "miles"},
    "temperature": {"C": "°C", "F": "°F"},
    "language": dict(LANGUAGES),
}


def _show(asked: PageRequest) -> Response:
    head = letterhead(asked.site.store)
    return _shown(asked, {name: getattr(head, name) for name in (*WORDS, *CHOICES)}, {})


def _shown(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    return page(
        asked,
        "shop.html",
        status=status,
        typed=typed,
        wrong=wrong,
        options={name: list(told.items()) for name, told in _TOLD.items()},
        logo=bool(letterhead(asked.site.store).logo),
    )


def _change(asked: PageRequest) -> Response:
    changed = {name: asked.text(name) for name in (*WORDS, *CHOICES) if name in asked.typed}
    sent = asked.uploads.get("logo", ())
    # More is refused; it need not be read.
    logo = sent[0].file.read(MOST_LOGO_BYTES + 1) if sent else None
    without = asked.text("no_logo") == "yes"
    try:
        set_shop(
            asked.site.store,
            changed,
            logo,
            without_logo=without,
            by=asked.request.cookies.get(BY) or None,
        )
    except WrongSetting as error:
        return _shown(asked, asked.typed, {error.setting: str(error)}, 422)
    except PROBLEMS as error:
        return _shown(asked, asked.typed, {"name": str(error)}, status_of(error))
    return RedirectResponse("/shop", 303)


def _logo(asked: PageRequest) -> Response:
    """Send the logo as a file: it is shown on papers only."""
    content = letterhead(asked.site.store).logo
    return saved(content, f"logo.{logo_kind(content) or 'bin'}", "application/octet-stream")


ROUTES = (
    screen("/shop", get=_show, post=_change),
    screen("/shop/logo", get=_logo),
)
