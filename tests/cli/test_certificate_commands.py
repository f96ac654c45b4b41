"""`benchproof certificate` and `benchproof tag` against an archive on disk."""

import io
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from benchproof.cli import main
from benchproof.proof.closing import closing
from benchproof.proof.codec import encode
from benchproof.proof.events import Remarked
from benchproof.proof.state import State
from benchproof.record.rows import CoreRow, PartRow, UnitRow
from benchproof.record.store import open_store
from benchproof.report.paper import grouped
from example_certificate import BY, VERSION, shipped_state

AT = "2026-03-02T14:21:40+01:00"


def run(*args: str) -> Result:
    return CliRunner().invoke(main, args)


def words(pdf: Path) -> str:
    pages = PdfReader(io.BytesIO(pdf.read_bytes())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


class Clock:
    """A clock that goes on by a minute whenever it is read."""

    def __init__(self, day: int = 2) -> None:
        self.now = datetime(2026, 3, day, 13, 5, tzinfo=UTC)

    def __call__(self) -> datetime:
        """Return the next minute."""
        self.now += timedelta(minutes=1)
        return self.now


def write(where: Path, state: State, *, close: bool = True) -> str:
    """Record an invented proof of part S-104, and return the hash of its last event."""
    with open_store(str(where), Clock()) as store:
        for content in state.files.values():
            store.files.put(content)
        store.cores.add(CoreRow("C-77", store.now()))
        store.units.add(UnitRow("U-31", store.now(), family="depot box"))
        store.parts.add(
            PartRow(
                "S-104",
                state.opened.family,
                state.opened.family_file,
                store.now(),
                maker_class="original",
                core="C-77",
            )
        )
        events = [*state.events]
        if close:
            events.append(closing(state, AT, BY, VERSION))
        tag = store.proofs.open("S-104", encode(events[0]), mode="prove")
        assert tag == "S-104.1"
        head = ""
        for seq, event in enumerate(events[1:], 1):
            closed_as = "accepted" if close and seq == len(events) - 1 else None
            head = store.proofs.append(tag, encode(event), seq, closed_as=closed_as).hash
        return head


@pytest.fixture(scope="module")
def state() -> State:
    return shipped_state("valley-coded-7", left=None)


@pytest.fixture
def archive(tmp_path: Path, state: State) -> tuple[str, str]:
    """Where an archive with a closed proof is, and the hash of the event that closed it."""
    where = tmp_path / "archive.db"
    return str(where), write(where, state)


def test_a_certificate_in_each_form(archive: tuple[str, str], tmp_path: Path) -> None:
    where, head = archive
    text = run("certificate", "S-104.1", "--store", where)
    assert text.exit_code == 0, text.output
    assert "[✓] ACCEPTED" in text.output
    assert "reused, from core C-77; original maker" in text.output
    assert head in text.output
    assert grouped(head) in " ".join(text.output.split())
    for name, begins in (("x.pdf", b"%PDF"), ("x.html", b"<!DOCTYPE html>")):
        done = run("certificate", "S-104.1", "--store", where, "--out", str(tmp_path / name))
        assert done.exit_code == 0, done.output
        assert (tmp_path / name).read_bytes().startswith(begins)
    assert head in words(tmp_path / "x.pdf").replace(" ", "")
    first = (tmp_path / "x.pdf").read_bytes()
    again = run("certificate", "S-104.1", "--store", where, "--format", "pdf", "--out", "-")
    assert again.stdout_bytes == first


def test_a_remark_after_it_was_closed_changes_nothing_on_it(archive: tuple[str, str]) -> None:
    where, _ = archive
    before = run("certificate", "S-104.1", "--store", where).output
    with open_store(where, Clock()) as store:
        seq = store.proofs.row("S-104.1").last_seq
        store.proofs.append("S-104.1", encode(Remarked(AT, BY, "came back")), seq)
    assert run("certificate", "S-104.1", "--store", where).output == before


def altered(where: str, *, rehash: bool) -> None:
    """Change a reading of the record, as somebody with the database in hand could."""
    from benchproof.record.chain import ChainLink, following, start

    with sqlite3.connect(where) as database:
        rows = database.execute(
            "select seq, payload from events where proof = 'S-104.1' order by seq"
        ).fetchall()
        names = {row[0] for row in database.execute("select name from sqlite_master")}
        for name, _ in database.execute("select name, 1 from sqlite_master where type='trigger'"):
            database.execute(f'drop trigger "{name}"')
        assert "events" in names
        link: ChainLink = start("S-104.1")
        for seq, payload in rows:
            changed = payload.replace(b"OL", b"0L") if seq == 5 else payload
            link = following(link, changed)
            database.execute(
                "update events set payload = ?, hash = coalesce(?, hash)"
                " where proof = 'S-104.1' and seq = ?",
                (changed, link.hash if rehash else None, seq),
            )
        if rehash:
            database.execute("update proofs set head = ? where tag = 'S-104.1'", (link.hash,))


def test_a_changed_record_prints_nothing(archive: tuple[str, str]) -> None:
    where, _ = archive
    with sqlite3.connect(where) as database:
        (payload,) = database.execute(
            "select payload from events where proof = 'S-104.1' and seq = 5"
        ).fetchone()
    assert b"OL" in payload
    altered(where, rehash=False)
    for command in (("certificate", "S-104.1"), ("tag", "S-104", "--out", "-")):
        refused = run(*command, "--store", where)
        assert refused.exit_code == 2
        assert refused.stderr.startswith("S-104.1: event 5 was altered;")


def test_a_record_rewritten_with_its_chain_shows_against_the_printed_hash(
    archive: tuple[str, str],
) -> None:
    where, printed = archive
    altered(where, rehash=True)
    text = run("certificate", "S-104.1", "--store", where)
    assert text.exit_code == 0
    assert printed not in text.output


def test_the_unit_and_its_other_parts(archive: tuple[str, str], state: State) -> None:
    where, _ = archive
    with open_store(where, Clock()) as store:
        key = state.opened.family_file
        store.parts.add(PartRow("V-12", "solenoids", key, store.now(), bought=True))
        store.shelf.move("S-104", "stock")
        store.shelf.move("S-104", "reserved", "U-31")
        store.shelf.move("S-104", "fitted")
    text = run("certificate", "S-104.1", "--store", where).output
    assert "Unit                       U-31" in text
    unit = run("tag", "U-31", "--store", where, "--out", "-")
    assert b"%PDF" in unit.stdout_bytes


def test_a_tag_follows_what_becomes_of_the_part(archive: tuple[str, str], tmp_path: Path) -> None:
    where, head = archive
    out = tmp_path / "tag.pdf"
    assert run("tag", "S-104", "--store", where, "--out", str(out)).exit_code == 0
    assert "✓ ACCEPTED" in words(out)
    assert head[:8] in words(out)
    with open_store(where, Clock(3)) as store:
        store.shelf.move("S-104", "stock")
        store.shelf.move("S-104", "fitted", "U-31")
    assert run("tag", "S-104", "--store", where, "--out", str(out)).exit_code == 0
    assert "fitted U-31" in words(out)
    with open_store(where, Clock(4)) as store:
        store.shelf.move("S-104", "returned")
    assert run("tag", "S-104", "--store", where, "--out", str(out)).exit_code == 0
    assert "NOT PROVED: do not fit" in words(out)


def test_an_open_proof_gets_no_certificate_and_its_part_no_claim(
    tmp_path: Path, state: State
) -> None:
    where = tmp_path / "archive.db"
    write(where, state, close=False)
    refused = run("certificate", "S-104.1", "--store", str(where))
    assert refused.exit_code == 2
    assert refused.stderr == ("S-104.1: is still open; close it first.\n")
    out = tmp_path / "tag.pdf"
    assert run("tag", "S-104", "--store", str(where), "--out", str(out)).exit_code == 0
    assert "NOT PROVED: do not fit" in words(out)


def test_a_blank_worksheet(tmp_path: Path) -> None:
    sheet = tmp_path / "blank.csv"
    done = run("certificate", "--blank", "valley-coded-7", "--out", str(sheet))
    assert (done.exit_code, done.output) == (0, f"Wrote {sheet}.\n")
    # Filled in, it is judged.
    lines = sheet.read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("A-E"))
    lines[at] = lines[at].replace(",", ",0.3", 1)
    sheet.write_text("\n".join(lines))
    assert run("judge", "valley-coded-7", str(sheet)).exit_code == 1
    printed = tmp_path / "blank.PDF"
    done = run(
        "certificate", "--blank", "valley-coded-7", "--out", str(printed), "--paper", "letter"
    )
    assert done.exit_code == 0
    assert "Worksheet for valley-coded-7" in words(printed)


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        ((), "Name one of the two: PROOF, or --blank FAMILY for a worksheet."),
        (("S-104.1", "--blank", "x"), "Name one of the two"),
        (("S-104.9",), "S-104.9"),
        (("S-104.1", "--out", "x.doc"), "x.doc: does not tell its form; end it in .pdf"),
        (("S-104.1", "--format", "pdf"), "A PDF needs --out FILE"),
        (("--blank", "valley-coded-7"), "--blank needs --out FILE that ends in .pdf or .csv"),
        (("--blank", "valley-coded-7", "--out", "x.txt"), "--blank needs --out FILE"),
        (("--blank", "no-such", "--out", "x.pdf"), "no-such: no such file"),
    ],
)
def test_mistakes_get_a_sentence(
    args: tuple[str, ...], sentence: str, archive: tuple[str, str]
) -> None:
    refused = run("certificate", *args, "--store", archive[0])
    assert refused.exit_code == 2
    assert sentence in refused.stderr
    assert "Traceback" not in refused.output
    assert refused.stderr.count("\n") == 1


def test_tags_of_nothing_and_of_two_things(archive: tuple[str, str], tmp_path: Path) -> None:
    where, _ = archive
    refused = run("tag", "X-1", "--store", where, "--out", "-")
    assert (refused.exit_code, refused.stderr) == (
        2,
        "X-1: the archive has no part or unit of this name.\n",
    )
    with open_store(where, Clock()) as store:
        store.units.add(UnitRow("S-104", store.now()))
    refused = run("tag", "S-104", "--store", where, "--out", "-")
    assert refused.stderr == "S-104: is a part and a unit; add --kind part or --kind unit.\n"
    out = tmp_path / "tag.pdf"
    assert run("tag", "S-104", "--kind", "unit", "--store", where, "--out", str(out)).exit_code == 0
    assert words(out).startswith("S-104 unit")


def test_a_file_of_another_kind_is_left_alone(archive: tuple[str, str], tmp_path: Path) -> None:
    out = tmp_path / "notes.pdf"
    out.write_text("my notes")
    refused = run("certificate", "S-104.1", "--store", archive[0], "--out", str(out))
    assert refused.exit_code == 2
    assert out.read_text() == "my notes"
