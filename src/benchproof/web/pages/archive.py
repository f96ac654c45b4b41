"""The archive: whether all is as recorded, and a backup of it that the browser saves."""

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
from starlette.responses import RedirectResponse, Response

from benchproof.conduct.archivecheck import looked_at
from benchproof.face.kept import verified_shown
from benchproof.face.view import told
from benchproof.record.keeping import backup
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.jobs import emptied
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from benchproof.web.jobs import Job

TITLES = {"verify": "Verify the archive", "backup": "Back up the archive"}
MOST_CODES = 20


def _show(asked: PageRequest) -> Response:
    jobs = [one for one in asked.site.jobs.list() if one.title in TITLES.values()]
    return page(asked, "archive.html", jobs=jobs, typed=asked.typed)


def _start(asked: PageRequest) -> Response:
    if asked.text("do") == "backup":
        return RedirectResponse(f"/jobs/{_backup(asked).key}", 303)
    return RedirectResponse(f"/jobs/{_verify(asked).key}", 303)


def _verify(asked: PageRequest) -> "Job":
    site = asked.site
    codes = asked.text("codes").split()[:MOST_CODES]

    def work(job: "Job") -> None:
        found = looked_at(site.store, codes)
        job.lines = [(one.where, "altered", one.sentence) for one in found.found]
        job.lines += [("note", "", note) for note in found.notes]
        job.content = msgspec.json.encode(told(verified_shown(found)))
        job.said = f"{found.counted} {found.signed}"
        job.step()

    job = site.jobs.start(TITLES["verify"], 1, work)
    job.file = "verified.json"
    return job


def _backup(asked: PageRequest) -> "Job":
    """Write a backup into the page's own folder, from where the browser takes it piece by piece."""
    site = asked.site
    in_one_file = site.store.database.path is not None

    def work(job: "Job") -> None:
        folder = emptied(site.desk / "backups")
        if in_one_file:
            made = folder / f"{job.key}.sqlite"
            backup(site.store, made)
        else:
            with tempfile.TemporaryDirectory(dir=folder) as place:
                backup(site.store, Path(place) / "benchproof-backup")
                packed = shutil.make_archive(f"{folder / job.key}", "zip", place)
            made = Path(packed)
            made.chmod(0o600)
        job.content = made
        job.said = "The backup is written. Save it to another disk."
        job.step()

    job = site.jobs.start(TITLES["backup"], 1, work)
    job.file = f"benchproof-backup-{site.store.now():%Y-%m-%d}.{'sqlite' if in_one_file else 'zip'}"
    return job


ROUTES = (screen("/archive", get=_show, post=_start),)
