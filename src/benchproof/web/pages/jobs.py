"""Long work: judge many sheets, write everything out; how far it is, and stopping it."""

import shutil
import tempfile
from collections import Counter
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from benchproof.conduct.bulk import SheetJudged, dangers_first, judge_all, table_of
from benchproof.conduct.families import choices, family_of
from benchproof.conduct.opening import meter_chosen
from benchproof.reading.meterfile import read_meter
from benchproof.record.openformats import export, tables
from benchproof.record.privatefiles import make_folder
from benchproof.shipped.contents import USUAL_METER
from benchproof.web.downloads import saved
from benchproof.web.forms import PageRequest, screen
from benchproof.web.jobs import Job
from benchproof.web.live import stream
from benchproof.web.pages.start import gear_choices
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import fragment, page
from benchproof.web.security import check_at_bench

MOST_LINES = 500
_KINDS = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "sqlite": "application/vnd.sqlite3",
    "zip": "application/zip",
}


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {})


def _listed(asked: PageRequest, wrong: dict[str, str], status: int = 200) -> Response:
    store = asked.site.store
    return page(
        asked,
        "jobs.html",
        status=status,
        jobs=asked.site.jobs.list(),
        families=[(one.key, one.name) for one in choices(store)],
        meters=gear_choices(store, "meter"),
        typed={"meter": USUAL_METER, **asked.typed},
        wrong=wrong,
    )


def _start(asked: PageRequest) -> Response:
    if asked.text("do") == "export":
        job = _export(asked)
    else:
        sheets = asked.uploads.get("sheets", ())
        if not sheets:
            return _listed(asked, {"sheets": "Choose the sheets to judge, one or many."}, 422)
        try:
            job = _judge(asked)
        except PROBLEMS as error:
            return _listed(asked, {"family": str(error)}, status_of(error))
    return RedirectResponse(f"/jobs/{job.key}", 303)


def _judge(asked: PageRequest) -> Job:
    site = asked.site
    kept = family_of(site.store, asked.text("family", 80))
    name = asked.text("meter", 80) or USUAL_METER
    meter = read_meter(site.store.files.get(meter_chosen(site.store, name, "").file), name)
    sheets = [(one.name, one.content) for one in asked.uploads["sheets"]]

    def work(job: Job) -> None:
        judged: list[SheetJudged] = []
        for one in judge_all(kept, meter, sheets):
            judged.append(one)
            job.content = table_of(judged).encode()
            job.step(_line(one))
            job.lines = [_line(sheet) for sheet in dangers_first(judged)]
            site.jobs.tell(job)
        counts = Counter(one.signal or one.verdict for one in dangers_first(judged))
        job.said = ", ".join(f"{count} {verdict}" for verdict, count in counts.items())

    title = f"Judge {len(sheets)} sheets of {kept.family.name}"
    job = site.jobs.start(title, len(sheets), work)
    job.file = f"judged-{kept.family.name}.csv"
    return job


def _line(one: SheetJudged) -> tuple[str, str, str]:
    said = " ".join([*map(str, one.dangers), *one.reasons])
    return one.name, one.signal or one.verdict, said


def _export(asked: PageRequest) -> Job:
    site = asked.site

    def work(job: Job) -> None:
        def on(table: str, rows: int) -> None:
            job.step((table.replace("_", " "), f"{rows}", "rows"))
            site.jobs.tell(job)

        exports = emptied(site.desk / "exports")
        with tempfile.TemporaryDirectory(dir=exports) as place:
            folder = Path(place) / "benchproof-export"
            counts = export(site.store.database, folder, on, job.check)
            job.check()
            packed = shutil.make_archive(f"{exports / job.key}", "zip", place, folder.name)
        Path(packed).chmod(0o600)
        job.content = Path(packed)
        job.said = f"{sum(counts.values())} rows, with files and photographs."

    job = site.jobs.start("Write everything out", len(tables()), work)
    job.file = "benchproof-export.zip"
    return job


def emptied(folder: Path) -> Path:
    """Return the folder of what can be saved of long work, without what was made before.

    The last one is kept until the next one is asked for; it may be as large as the archive. What
    is under way in a folder within stays.
    """
    make_folder(folder)
    for one in folder.iterdir():
        if one.is_file():
            one.unlink(missing_ok=True)
    return folder


def _job(asked: PageRequest) -> Job:
    found = asked.site.jobs.get(asked.path("key"))
    if found is None:
        raise HTTPException(404)
    return found


def _show(asked: PageRequest) -> Response:
    return page(asked, "job.html", job=_job(asked), most=MOST_LINES)


def _stop(asked: PageRequest) -> Response:
    job = _job(asked)
    if asked.text("do") == "answer":
        # Whoever says that the lever is there stands beside it.
        check_at_bench(asked.request.scope, "Answer at the bench's own computer, beside the lever.")
        number = asked.text("asked", 12)
        job.answer(int(number) if number.isascii() and number.isdecimal() else 0)
    else:
        job.stop()
    return RedirectResponse(f"/jobs/{job.key}", 303)


def _file(asked: PageRequest) -> Response:
    job = _job(asked)
    if not job.content:
        raise HTTPException(409, "There is nothing to save of it yet.")
    kind = _KINDS.get(job.file.rpartition(".")[2], "application/octet-stream")
    if isinstance(job.content, bytes):
        return saved(job.content, job.file, kind)
    if not job.content.is_file():
        raise HTTPException(409, "It is not kept any more: a later one took its place.")
    return FileResponse(job.content, media_type=kind, filename=job.file)


async def _live(request: Request) -> Response:
    site, key = request.app.state.site, request.path_params["key"]
    job = site.jobs.get(key)
    if job is None:
        raise HTTPException(404)

    def render() -> str:
        return fragment("joblive.html", job=job, most=MOST_LINES)

    return stream(request, f"job/{key}", render)


ROUTES = (
    screen("/jobs", get=_list, post=_start),
    screen("/jobs/{key}", get=_show, post=_stop),
    screen("/jobs/{key}/file", get=_file),
    Route("/jobs/{key}/live", _live, methods=["GET"]),
)
