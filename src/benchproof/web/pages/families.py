"""A family: what a part of it is and should read; its papers, selector, route and parts."""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from starlette.responses import Response

from benchproof.align.band import share
from benchproof.align.remarks import turning_cautions, window_remarks
from benchproof.align.toturn import GOOD_SHARE, good_range
from benchproof.align.window import Window, names
from benchproof.conduct.families import (
    KeptFamily,
    audit_read,
    choices,
    family_of,
    parts_of,
    route_read,
    window_read,
)
from benchproof.conduct.opening import bench_named
from benchproof.conduct.shopsettings import letterhead
from benchproof.family.files import is_family_file
from benchproof.family.model import pair_text
from benchproof.family.problems import BadFile, TooLarge
from benchproof.family.safety import Safety, safety_of
from benchproof.plan.route import runs_of
from benchproof.report.connectorview import draw_connector
from benchproof.report.familyfigures import strip_of
from benchproof.report.judgedchart import allowed_text
from benchproof.report.pages import pdf_of_pages
from benchproof.report.strip import draw_strip
from benchproof.report.wiringplan import (
    KINDS,
    MOST_POLES,
    MOST_POSITIONS,
    POLES,
    POSITIONS,
    wiring_plan,
)
from benchproof.report.wiringsheet import WiringSheet, draw_sheet
from benchproof.report.worksheet import worksheet_csv, worksheet_pdf
from benchproof.shipped.contents import USUAL_BENCH
from benchproof.web.downloads import pdf, saved
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.start import gear_choices
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from benchproof.family.model import Family, Pin

MOST_DRAWN = 40
"""A strip of more pairs than these nobody reads on a screen."""
MOST_PARTS = 50


@dataclass(frozen=True)
class WindowShown:
    """A window as a screen shows it.

    Attributes
    ----------
    window : Window
    unit : str
        In words.
    good : tuple of float or None
        The offsets at which every cell holds in `GOOD_SHARE` of parts; None if there are none.
    at_centre : float
        The share of parts of which every cell holds if set to the centre.
    low, high : str
        What ends it.
    remarks, cautions : list of str
    strip : str
        SVG; empty of a chart with too many pairs.
    """

    window: Window
    unit: str
    good: tuple[float, float] | None
    at_centre: float
    low: str
    high: str
    remarks: list[str]
    cautions: list[str]
    strip: str


def _window(kept: KeptFamily) -> tuple[WindowShown | None, str]:
    """Return the window of a family with a lever; else None, and why there is none."""
    if not kept.family.lever:
        return None, ""
    try:
        window = window_read(kept.content, kept.family.name)
    except (BadFile, TooLarge) as error:
        return None, str(error)
    drawn = len(kept.family.chart) <= MOST_DRAWN
    shown = WindowShown(
        window,
        "°" if window.unit == "deg" else " detent gaps",
        good_range(window),
        share(window, window.centre or 0.0),
        names(window.low_cells) or "nothing",
        names(window.high_cells) or "nothing",
        window_remarks(window),
        turning_cautions(window),
        draw_strip(strip_of(window)) if drawn else "",
    )
    return shown, ""


@lru_cache(maxsize=32)
def _connector(pins: "tuple[Pin, ...]") -> tuple[str, ...]:
    """Return the connector from its mating side and from its wire side, as SVG; empty if large."""
    sides = tuple(draw_connector(pins, mirrored=mirrored) for mirrored in (False, True))
    return sides if all(sides) else ()


def _kinds(family: "Family", safety: Safety) -> list[tuple[str, str]]:
    """Return what its positions are, and what its pairs are for, as name and list."""
    told = [
        ("Park", ", ".join(family.park)),
        ("Reverse", ", ".join(family.reverse)),
        ("Neutral", ", ".join(family.neutral)),
    ]
    roles: dict[str, list[str]] = {}
    for row in family.chart:
        roles.setdefault(row.role.shown or "no role", []).append(pair_text(row.pair))
    told += [(role[0].upper() + role[1:], ", ".join(pairs)) for role, pairs in roles.items()]
    guarded = sorted(
        (position for position in family.positions
         if any(at == position for at, _ in safety.must_be_open)),
        key=family.positions.index,
    )  # fmt: skip
    told.append(("The starter must not turn in", ", ".join(guarded)))
    return [(name, words) for name, words in told if words]


def _list(asked: PageRequest) -> Response:
    return page(asked, "families.html", families=choices(asked.site.store))


def _show(asked: PageRequest) -> Response:
    store = asked.site.store
    kept = family_of(store, asked.path("key"))
    family = kept.family
    window, no_window = _window(kept)
    safety = safety_of(family)
    return page(
        asked,
        "family.html",
        key=kept.key,
        family=family,
        connector=_connector(family.pins),
        rows=[
            (pair_text(row.pair), row.role.shown,
             [(str(one), allowed_text(one, family.limits)) for one in row.expect])
            for row in family.chart
        ],
        kinds=_kinds(family, safety),
        asks=safety.questions,
        findings=audit_read(kept.content, family.name),
        shown=window,
        no_window=no_window,
        good_share=GOOD_SHARE,
        parts=parts_of(store, kept, MOST_PARTS),
        most=MOST_PARTS,
        mark=asked.site.marks.of_part,
    )  # fmt: skip


def _worksheet(asked: PageRequest) -> Response:
    family = family_of(asked.site.store, asked.path("key")).family
    head = letterhead(asked.site.store)
    if asked.path("ending") == "csv":
        content = worksheet_csv(family, head).encode()
        return saved(content, f"worksheet-{family.name}.csv", "text/csv; charset=utf-8")
    return pdf(worksheet_pdf(family, head), f"worksheet-{family.name}.pdf")


def _file(asked: PageRequest) -> Response:
    """Send the family file as it is kept."""
    kept = family_of(asked.site.store, asked.path("key"))
    sheet = "xlsx" if kept.content.startswith(b"PK") else "csv"
    ending = "toml" if is_family_file(kept.content) else sheet
    return saved(kept.content, f"{kept.family.name}.{ending}", "application/octet-stream")


def _plan(asked: PageRequest, family: "Family", wrong: dict[str, str]) -> WiringSheet | None:
    """Return the plan that was asked for; None if it cannot be made, which `wrong` then tells."""
    kind = asked.text("kind", 20) or next(iter(KINDS))
    if kind not in KINDS:
        wrong["kind"] = f"Choose one of {', '.join(KINDS)}."
    poles = _count(asked, "poles", POLES, MOST_POLES, wrong)
    positions = _count(asked, "positions", POSITIONS, MOST_POSITIONS, wrong)
    if wrong:
        return None
    try:
        return wiring_plan(family, kind, poles, positions)
    except ValueError as error:
        wrong["kind"] = f"It cannot be wired so: {error}."
        return None


def _count(asked: PageRequest, name: str, usual: int, most: int, wrong: dict[str, str]) -> int:
    text = asked.text(name, 20)
    if not text:
        return usual
    if not (text.isascii() and text.isdecimal() and 1 <= int(text) <= most):
        wrong[name] = f"Type a whole number from 1 to {most}."
        return usual
    return int(text)


def _wiring(asked: PageRequest) -> Response:
    kept = family_of(asked.site.store, asked.path("key"))
    wrong: dict[str, str] = {}
    plan = _plan(asked, kept.family, wrong)
    usual = {"kind": next(iter(KINDS)), "poles": str(POLES), "positions": str(POSITIONS)}
    typed = usual | {name: asked.text(name, 20) for name in usual if asked.text(name, 20)}
    return page(
        asked,
        "wiring.html",
        status=422 if wrong else 200,
        key=kept.key,
        family=kept.family,
        connector=_connector(kept.family.pins),
        kinds=list(KINDS.items()),
        plan=plan,
        typed=typed,
        wrong=wrong,
    )


def _wiring_pdf(asked: PageRequest) -> Response:
    family = family_of(asked.site.store, asked.path("key")).family
    wrong: dict[str, str] = {}
    plan = _plan(asked, family, wrong)
    if plan is None:
        return _wiring(asked)
    return pdf(pdf_of_pages(draw_sheet(plan), plan.title), f"wiring-{family.name}.pdf")


def _route(asked: PageRequest) -> Response:
    store = asked.site.store
    kept = family_of(store, asked.path("key"))
    name = asked.text("bench", 80) or USUAL_BENCH
    wrong: dict[str, str] = {}
    found = None
    status = 200
    try:
        found = route_read(kept.content, kept.family.name, bench_named(store, name))
    except PROBLEMS as error:
        wrong["bench"] = str(error)
        status = status_of(error)
    return page(
        asked,
        "route.html",
        status=status,
        key=kept.key,
        family=kept.family,
        found=found,
        runs=runs_of(found.readings) if found else [],
        benches=gear_choices(store, "selector"),
        typed={"bench": name},
        wrong=wrong,
    )


ROUTES = (
    screen("/families", get=_list),
    screen("/families/{key}", get=_show),
    screen("/families/{key}/worksheet.{ending}", get=_worksheet),
    screen("/families/{key}/file", get=_file),
    screen("/families/{key}/wiring", get=_wiring),
    screen("/families/{key}/wiring.pdf", get=_wiring_pdf),
    screen("/families/{key}/route", get=_route),
)
