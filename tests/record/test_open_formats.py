"""Export to open formats and back without loss; backups while in use; between both engines."""

import json
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path

import polars as pl
import pytest
from sqlalchemy import select

from benchproof.family.safetext import for_cell
from benchproof.record.database import Database
from benchproof.record.keeping import backup, restore
from benchproof.record.openformats import export, tables, take_in
from benchproof.record.problems import Conflict, RecordProblem, Unusable
from benchproof.record.rowjson import TABLES
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify

Clock = Callable[[], datetime]


def everything(database: Database) -> dict[str, list[tuple[object, ...]]]:
    """Return every value of every table that is recorded, the ledger of it left aside."""
    with database.reading() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in TABLES
        }


@pytest.fixture
def full(store: Store, photograph_file: bytes) -> Store:
    """Fill an archive with something odd in every table."""
    family = store.files.put(bytes(range(256)))
    store.files.put("name = 'ü'\n".encode())
    store.people.add(PersonRow("AB", 'Ada "Invented", of the depot\nsecond line'))
    store.people.add(PersonRow("CD", ""))
    store.customers.add(CustomerRow("K-1", "Invented Farm, Ltd", "gate\t3"))
    store.gear.add(GearRow("M-1", "meter", family, date(2025, 2, 28), None, "null"))
    store.gear.add(GearRow("M-2", "other"))
    store.units.add(UnitRow("U-1", store.now(), "", "K-1", "007", "é", "P0,1", 0))
    store.units.add(UnitRow("U-2", store.now()))
    store.cores.add(CoreRow("C-1", store.now(), "autobus", "paid", "", "ear", "-"))
    for tag, core, bought in (("S-1", "C-1", False), ("S-2", None, True), ("S-3", None, False)):
        store.parts.add(
            PartRow(tag, "invented", family, store.now(), "other", core, bought, "0.10")
        )
    photograph = store.photographs.put(photograph_file, "IMG 1.jpg")
    store.conditions.note(core="C-1", item="bent pins", grade="bad", photograph=photograph, by="AB")
    store.conditions.note(part="S-1", item="housing cracks", grade="sound")
    for part in ("S-1", "S-1", "S-2"):
        tag = store.proofs.open(part, b'{"a":"\xc3\xa4","b":1.50}', mode="prove")
        store.proofs.append(tag, b"\xff\x00 no text", 1)
        store.proofs.append(tag, b"", 2)
        store.proofs.append(tag, '"line\u2028end"\r\n\0'.encode(), 3, closed_as="accepted")
    store.shop.put(
        name="Invented Depot",
        address="7 Nowhere Lane\nInvented Falls",
        signer="",
        logo=family,
        paper="letter",
        label="small",
        distance="miles",
        temperature="F",
        language="es",
        by="AB",
    )
    store.shelf.move("S-1", "stock", by="AB")
    store.shelf.move("S-1", "reserved", "U-1")
    store.shelf.move("S-1", "fitted", note="torque 9")
    return store


@pytest.fixture(params=["sqlite", "postgresql"])
def elsewhere(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Tell where a second archive shall be, of either engine."""
    if request.param == "sqlite":
        return str(tmp_path / "elsewhere.sqlite")
    return str(request.getfixturevalue("postgresql").emptied("other"))


def test_export_and_import_lose_nothing(
    full: Store, elsewhere: str, tmp_path: Path, clock: Clock
) -> None:
    counts = export(full.database, tmp_path / "out")
    before = everything(full.database)
    entries = {"ledger": verify(full.database).entries}
    assert counts == {name: len(rows) for name, rows in before.items()} | entries
    assert all(counts.values())
    with open_store(elsewhere, clock) as other:
        assert take_in(other, tmp_path / "out") == counts
        assert everything(other.database) == before
        assert verify(other.database).found == ()
        # It goes on as if nothing had happened.
        other.shelf.move("S-1", "returned")
        assert other.proofs.open("S-1", b"again") == "S-1.3"


def test_csv_and_parquet_hold_the_same_rows_as_the_lines(full: Store, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(full.database, out)
    for table in tables():
        lines = [
            json.loads(line) for line in (out / f"{table.name}.jsonl").read_bytes().splitlines()
        ]
        parquet = pl.read_parquet(out / f"{table.name}.parquet")
        told = [
            {
                name: value.isoformat(timespec="microseconds")
                if isinstance(value, datetime)
                else value.isoformat()
                if isinstance(value, date)
                else value
                for name, value in row.items()
            }
            for row in parquet.to_dicts()
        ]
        assert told == lines
        csv = pl.read_csv(out / f"{table.name}.csv", infer_schema=False)
        words = [
            {
                name: None
                if value is None
                else str(value).lower()
                if isinstance(value, bool)
                else for_cell(str(value))
                for name, value in row.items()
            }
            for row in lines
        ]
        assert csv.to_dicts() == words


def test_contents_stand_as_they_are(full: Store, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(full.database, out)
    for folder, ending in (("files", ""), ("photographs", ".jpg")):
        kept = list((out / folder).iterdir())
        assert kept
        for file in kept:
            assert file.name == sha256(file.read_bytes()).hexdigest() + ending


def test_an_empty_archive_goes_out_and_in(store: Store, tmp_path: Path, clock: Clock) -> None:
    counts = export(store.database, tmp_path / "out")
    assert [name for name, many in counts.items() if many] == ["ledger"]
    assert take_in(store, tmp_path / "out") == counts
    assert verify(store.database).found == ()


def test_nothing_is_overwritten_or_mixed(full: Store, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(full.database, out)
    with pytest.raises(RecordProblem, match="is there already"):
        export(full.database, out)
    with pytest.raises(Conflict, match="holds records already") as caught:
        take_in(full, out)
    # A password never shows.
    assert "postgresql" not in str(caught.value) or ":***@" in str(caught.value)


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("name", "old", "new", "hashed", "sentence"),
    [
        ("people.jsonl", b"depot", b"degot", False, "is not as it was exported"),
        ("events.jsonl", b"1.50", b"1.51", False, "is not as it was exported"),
        ("events.jsonl", b"1.50", b"1.51", True, "was altered .*Event 1 was altered"),
        ("proofs.jsonl", b'"last_seq": 4', b'"last_seq": 5', True, "was altered"),
        ("parts.jsonl", b'"bought": true', b'"bought": 1', True, "line 2: is no row of parts"),
        ("parts.jsonl", b'"core": "C-1"', b'"core": "C-9"', True, "does not allow"),
        ("units.jsonl", b'"mileage_km": 0', b'"mileage_km": -1', True, "does not allow"),
        ("units.jsonl", b'"mileage_km": 0', b'"mileage_km": 1e3', True, "is no row of units"),
        ("gear.jsonl", b"2025-02-28", b"2025-02-30", True, "is no row of gear"),
        ("cores.jsonl", b"{", b"[", True, "line 1: is no row of cores"),
        ("cores.jsonl", b"+00:00", b"", True, "is no row of cores"),
        ("files.jsonl", b'{"hash": "', b'{"hash": "../', True, "is no hash"),
        ("manifest.json", b'"revision": "4"', b'"revision": "5"', False, "use the benchproof that"),
        ("manifest.json", b"benchproof archive", b"something", False, "is no export"),
        ("manifest.json", b"{", b"", False, "is damaged"),
        ("manifest.json", b'"rows"', b'"rose"', False, "is damaged"),
        ("manifest.json", b'"people": ', b'"people": 0.', False, "is damaged"),
        ("manifest.json", b'"rows": {', b'"rows": [1], "old": {', False, "is damaged"),
        ("manifest.json", b"{", b" " * 1_000_001, False, "manifest.json: is larger than 1 MB"),
        ("people.jsonl", b"{", b"{" + b" " * 4_000_001, True, "line 1: is longer than 4 MB"),
        ("people.jsonl", b"}", b', "more": [1]}', True, "line 1: is no row of people"),
        ("people.jsonl", b"}", b', "more": ' + b"[" * 100_000 + b"}", True, "is no row of people"),
    ],
)
def test_an_export_that_was_altered_is_refused_whole(
    full: Store, tmp_path: Path, clock: Clock, name: str, old: bytes, new: bytes, hashed: bool,
    sentence: str,
) -> None:  # fmt: skip
    out = tmp_path / "out"
    export(full.database, out)
    content = (out / name).read_bytes()
    assert old in content
    (out / name).write_bytes(content.replace(old, new, 1))
    if hashed:
        manifest = json.loads((out / "manifest.json").read_bytes())
        manifest["sha256"][name.removesuffix(".jsonl")] = sha256(
            (out / name).read_bytes()
        ).hexdigest()
        (out / "manifest.json").write_text(json.dumps(manifest))
    with open_store(str(tmp_path / "other.sqlite"), clock) as other:
        with pytest.raises((RecordProblem, Unusable), match=sentence) as caught:
            take_in(other, out)
        assert "\n" not in str(caught.value)
        assert not any(everything(other.database).values())


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_what_an_export_holds_besides_is_bounded(full: Store, tmp_path: Path, clock: Clock) -> None:
    out = tmp_path / "out"
    export(full.database, out)
    people = (out / "people.jsonl").read_bytes()
    photograph = next((out / "photographs").iterdir())
    for path, content, sentence in (
        (out / "people.jsonl", people + b"no row\n" * 9, "is not as it was exported"),
        (photograph, bytes(12_000_001), "is larger than 12 MB. Nothing was taken in"),
    ):
        held = path.read_bytes()
        path.write_bytes(content)
        with open_store(str(tmp_path / f"{path.name}.sqlite"), clock) as other:
            with pytest.raises(RecordProblem, match=sentence):
                take_in(other, out)
            assert not any(everything(other.database).values())
        path.write_bytes(held)


def test_a_backup_holds_everything_and_restores_on_either_engine(
    full: Store, elsewhere: str, tmp_path: Path, clock: Clock
) -> None:
    path = tmp_path / "backup"
    backup(full, path)
    with pytest.raises(RecordProblem, match="never overwrites"):
        backup(full, path)
    with open_store(elsewhere, clock) as other:
        restore(other, path)
        assert everything(other.database) == everything(full.database)
        assert verify(other.database).found == ()
        with pytest.raises(Conflict, match="holds records already"):
            restore(other, path)


def test_a_backup_while_others_write_is_whole(
    store: Store, part: str, where: str, tmp_path: Path, clock: Clock
) -> None:
    stop = threading.Event()
    acknowledged: list[int] = [0]
    tag = store.proofs.open(part, b"opened")

    def write() -> None:
        with open_store(where, clock) as mine:
            last = 1
            while not stop.is_set():
                last = mine.proofs.append(tag, b"x" * 2000, last).seq
                acknowledged[0] = last

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while acknowledged[0] < 20:
            pass
        before = acknowledged[0]
        backup(store, tmp_path / "backup")
        after = acknowledged[0]
    finally:
        stop.set()
        writer.join()
    with open_store(str(tmp_path / "restored.sqlite"), clock) as other:
        restore(other, tmp_path / "backup")
        many = len(other.proofs.events(tag))
        assert verify(other.database).found == ()
    assert before <= many <= after + 1
    assert len(store.proofs.events(tag)) == acknowledged[0]


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_a_backup_that_was_altered_is_not_restored(
    full: Store, tmp_path: Path, clock: Clock
) -> None:
    path = tmp_path / "backup"
    backup(full, path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE events SET payload = x'00' WHERE proof = 'S-1.2' AND seq = 3")
        connection.commit()
    with open_store(str(tmp_path / "other.sqlite"), clock) as other:
        with pytest.raises(RecordProblem, match=r"was altered \(S-1\.2: Event 3 was altered"):
            restore(other, path)
        assert not any(everything(other.database).values())
    for content, sentence in (
        (b"nonsense" * 1000, "is no backup"),
        (b"", "is no backup"),
        (path.read_bytes()[:3000], "is damaged|is not a database|cannot be used"),
    ):
        (tmp_path / "nonsense").write_bytes(content)
        with (
            open_store(str(tmp_path / "third.sqlite"), clock) as other,
            pytest.raises((RecordProblem, Unusable), match=sentence),
        ):
            restore(other, tmp_path / "nonsense")


def test_a_failed_export_or_backup_leaves_nothing_behind(
    full: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device", "x")

    monkeypatch.setattr("benchproof.record.openformats._write_columns", fail)
    monkeypatch.setattr("benchproof.record.keeping.os.fsync", fail)
    place = tmp_path / "here"
    for write in (lambda: export(full.database, place / "out"), lambda: backup(full, place / "b")):
        with pytest.raises(OSError, match="No space left"):
            write()
        assert list(place.iterdir()) == []
