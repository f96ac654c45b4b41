"""The archive's page: verify tells the command's own object, a backup is saved and restored."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from click.testing import CliRunner
from tests.web.conftest import now
from tests.web.test_screens import job_ended

from benchproof.cli import main
from benchproof.record.keeping import restore
from benchproof.record.store import open_store
from benchproof.record.verifying import verify

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store


def verified_by_command(store: "Store", *more: str) -> dict[str, object]:
    told = CliRunner().invoke(
        main, ["verify", "--json", "--store", f"{store.database.path}", *more]
    )
    found: dict[str, object] = json.loads(told.stdout)
    return found


def test_verify_tells_the_same_object_as_the_command(screen: "Screen", filled: "Store") -> None:
    path = screen.post("/archive", do="verify").to
    page = job_ended(screen, path)
    assert "Done: 1 of 1" in page
    assert ": all as recorded. Head " in page
    told = screen.client.get(f"{path}/file")
    assert told.headers["content-type"] == "application/json"
    assert told.json() == verified_by_command(filled)
    assert told.json()["proofs"] == 1
    # It stands on the page, with what came of it.
    assert f'href="{path}"' in screen.get("/archive").text
    assert "all as recorded" in screen.get("/archive").text


def test_a_head_that_was_written_down_is_looked_for(screen: "Screen", filled: "Store") -> None:
    head = str(verified_by_command(filled)["head"])
    for codes, altered in ((head, 0), ("12-none", 1), (f"{head} 1-0000-0000-0000-0000", 1)):
        path = screen.post("/archive", do="verify", codes=codes).to
        job_ended(screen, path)
        told = screen.client.get(f"{path}/file").json()
        assert len(told["altered"]) == altered
        more = [word for code in codes.split() for word in ("--head", code)]
        assert told == verified_by_command(filled, *more)


def test_what_was_altered_is_named(screen: "Screen", filled: "Store") -> None:
    with closing(sqlite3.connect(filled.database.path)) as other:  # type: ignore[arg-type]
        other.execute("UPDATE cores SET missing = 'nothing'")
        other.commit()
    path = screen.post("/archive", do="verify").to
    page = job_ended(screen, path)
    assert "altered places: 1" in page
    assert "<strong>altered</strong>" in page
    told = screen.client.get(f"{path}/file").json()
    assert told == verified_by_command(filled)
    assert "core C-1" in told["altered"][0]["where"]


def test_a_backup_is_saved_and_restores_to_the_same(
    screen: "Screen", filled: "Store", tmp_path: Path
) -> None:
    path = screen.post("/archive", do="backup").to
    assert "Save it to another disk" in job_ended(screen, path)
    sent = screen.client.get(f"{path}/file")
    assert sent.headers["content-type"] == "application/vnd.sqlite3"
    name = sent.headers["content-disposition"]
    assert 'filename="benchproof-backup-' in name
    saved = tmp_path / "saved.sqlite"
    saved.write_bytes(sent.content)
    with open_store(f"{tmp_path / 'again.sqlite'}", now) as again:
        counts = restore(again, saved)
        assert counts["proofs"] == 1
        assert verify(again.database).found == ()
        assert again.proofs.events("S-1.1") == filled.proofs.events("S-1.1")


def test_a_backup_lies_with_its_owner_only_until_the_next(
    screen: "Screen", filled: "Store"
) -> None:
    assert filled.database.path is not None
    first = screen.post("/archive", do="backup").to
    job_ended(screen, first)
    (kept,) = filled.database.path.parent.rglob("backups/*.sqlite")
    assert kept.stat().st_mode & 0o077 == 0
    assert kept.parent.stat().st_mode & 0o077 == 0
    second = screen.post("/archive", do="backup").to
    job_ended(screen, second)
    assert not kept.exists()
    gone = screen.client.get(f"{first}/file")
    assert gone.status_code == 409
    assert "a later one took its place" in gone.text
    assert screen.client.get(f"{second}/file").status_code == 200


def test_what_cannot_be_written_is_told(screen: "Screen", filled: "Store") -> None:
    assert filled.database.path is not None
    desk = next(filled.database.path.parent.glob("*.desk"))
    (desk / "backups").write_text("in the way")
    page = job_ended(screen, screen.post("/archive", do="backup").to)
    assert "Failed" in page
    assert 'class="mistake"' in page
