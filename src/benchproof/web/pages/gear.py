"""Gear: meters, selectors and the rest, and when they must be calibrated again."""

from datetime import date
from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.gearchecks import recorded_checks
from benchproof.conduct.readapart import read_apart
from benchproof.instrument.tryout import UNPLUGGED, Tried
from benchproof.plan.bench import read_bench
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meterfile import read_meter
from benchproof.record.rows import GearRow
from benchproof.web.forms import PageRequest, screen
from benchproof.web.instruments import Gear, Simulated
from benchproof.web.pages.start import MOST_OPEN
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_CHECKS = 50
KINDS = ("meter", "selector", "other")


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {}, {})


def _listed(
    asked: PageRequest,
    typed: "Mapping[str, str]",
    wrong: dict[str, str],
    status: int = 200,
    tried: Tried | None = None,
) -> Response:
    store = asked.site.store
    gear = asked.site.plugged
    today = store.now().date()
    rows = [(row, row.overdue(today)) for row in store.gear.list()]
    return page(
        asked,
        "gear.html",
        status=status,
        rows=rows,
        kinds=KINDS,
        typed=typed,
        wrong=wrong,
        gear=gear.name if isinstance(gear, Gear) and gear.has_meter else "",
        simulated=isinstance(gear, Simulated),
        unplugged=UNPLUGGED,
        tried=tried,
        checks=recorded_checks(store)[: -MOST_CHECKS - 1 : -1],
        open_proofs=store.proofs.list(open_only=True, limit=MOST_OPEN),
    )


def _check(asked: PageRequest) -> Response:
    gear = asked.site.plugged
    try:
        if not isinstance(gear, Gear) or not gear.has_meter:
            raise ProofProblem(
                "No instrument that reads by itself is plugged in; start the page with "
                "benchproof bench --gear FILE."
            )
        tried = gear.tried(reads=asked.text("reads", 5) == "yes")
    except PROBLEMS as problem:
        return _listed(asked, {}, {"check": str(problem)}, status_of(problem))
    return _listed(asked, {}, {}, tried=tried)


def _add(asked: PageRequest) -> Response:
    store, kind = asked.site.store, asked.text("kind", 20)
    wrong: dict[str, str] = {}
    days = {name: _day(asked.text(name, 20), name, wrong) for name in ("calibrated_on", "due_on")}
    calibrated, due = days["calibrated_on"], days["due_on"]
    if kind not in KINDS:
        wrong["kind"] = f"Pick one of {', '.join(KINDS)}."
    if calibrated is not None and due is not None and due < calibrated:
        wrong["due_on"] = "It is due before it was calibrated; look at the label again."
    uploads = asked.uploads.get("file", ())
    if uploads and kind == "other":
        wrong["kind"] = "Only a meter or a selector has a file."
    if wrong:
        return _listed(asked, asked.typed, wrong, 422)
    field = "file"
    try:
        kept = None
        if uploads:
            # It is read now, so that a mistake in it shows today.
            read = read_meter if kind == "meter" else read_bench
            read_apart(read, uploads[0].content, uploads[0].name)
            kept = store.files.put(uploads[0].content)
        field = "tag"
        row = GearRow(asked.text("tag", 80), kind, kept, calibrated, due, asked.text("note"))
        store.gear.add(row)
    except PROBLEMS as error:
        return _listed(asked, asked.typed, {field: str(error)}, status_of(error))
    return RedirectResponse("/gear", 303)


def _day(text: str, field: str, wrong: dict[str, str]) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        wrong[field] = "Type a day as 2026-01-31, or leave it empty."
        return None


ROUTES = (
    screen("/gear", get=_list, post=_add),
    screen("/gear/check", post=_check),
)
