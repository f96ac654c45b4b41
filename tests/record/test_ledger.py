"""Every change is in the ledger, signed, and its end is remembered apart from the archive."""

import json
import threading
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import delete, func, insert, select, text, update

from benchproof.record import schema
from benchproof.record.chain import Entry, entry_hash
from benchproof.record.database import Database, database_at
from benchproof.record.heads import Head, Heads
from benchproof.record.keeping import backup, restore
from benchproof.record.problems import Altered, Conflict, Unusable
from benchproof.record.rowjson import TABLES
from benchproof.record.rows import CustomerRow, PersonRow
from benchproof.record.seal import Seal, genuine, name_of, seal_in
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify

# RFC 8032, section 7.1, TEST 3: secret and public key, from memory.
RFC_8032 = (
    "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
    "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
)


def entries(store: Store) -> list[Entry]:
    columns = [schema.ledger.c[name] for name in Entry.__slots__]
    with store.database.reading() as connection:
        rows = connection.execute(select(*columns).order_by(schema.ledger.c.number)).all()
    return [Entry(*row) for row in rows]


def test_the_public_key_is_that_of_the_standard() -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(RFC_8032[0]))
    assert key.public_key().public_bytes_raw().hex() == RFC_8032[1]
    public = bytes.fromhex(RFC_8032[1])
    seal = Seal(key, public, name_of(public))
    signed = seal.sign("ab" * 32)
    assert genuine(public, "ab" * 32, signed)
    assert not genuine(public, "ac" * 32, signed)
    assert not genuine(bytes(31), "ab" * 32, signed)


def test_each_change_is_told_chained_and_signed(store: Store, part: str) -> None:
    store.people.add(PersonRow("AB", "Ada Invented"))
    tag = store.proofs.open(part, b"opened", mode="prove")
    store.proofs.append(tag, b"closed", 1, closed_as="accepted")
    store.shelf.move(part, "stock", by="AB")
    told = entries(store)
    assert [one.kind for one in told] == [
        *("bench", "began", "files", "parts", "people", "proofs", "events", "events"),
        "shelf_moves",
    ]
    last = None
    for one in told:
        assert one.hash == entry_hash(last, one.payload)
        last = one
    # One signature a change: the proof's row goes with its first event.
    assert [bool(one.signer) for one in told] == [False] + [True] * 4 + [False] + [True] * 3
    public = bytes.fromhex(json.loads(told[0].payload)["row"]["key"])
    assert all(genuine(public, one.hash, one.signature) for one in told if one.signer)
    assert json.loads(told[-2].payload)["proof"] == {"closed_as": "accepted"}
    found = verify(store.database, heads=store.ledger.heads)
    assert (found.found, found.entries, found.sound) == ((), len(told), 1)


def test_every_table_is_told(store: Store) -> None:
    """A table that is added is in the ledger, or this fails."""
    assert {*TABLES, schema.ledger} == set(schema.metadata.sorted_tables)


def test_what_was_not_committed_is_not_told(store: Store, part: str) -> None:
    before = len(entries(store))
    row = {"tag": "K-1", "name": "x", "contact": ""}
    with pytest.raises(Conflict), store.ledger.writing() as change:  # noqa: PT012
        change.add(schema.customers, row)
        change.add(schema.customers, row)
    assert len(entries(store)) == before
    assert store.customers.list() == []
    assert verify(store.database, heads=store.ledger.heads).found == ()


def test_many_writers_make_one_chain(where: str, store: Store) -> None:
    def write(letter: str) -> None:
        with open_store(where, store.now) as mine:
            for number in range(15):
                mine.customers.add(CustomerRow(f"{letter}-{number}", "Invented Farm"))

    threads = [threading.Thread(target=write, args=(letter,)) for letter in "ABC"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [one.number for one in entries(store)] == list(range(1, 48))
    assert verify(store.database, heads=store.ledger.heads).found == ()


def test_an_archive_of_an_earlier_program_is_taken_over(where: str, clock: object) -> None:
    database = Database(database_at(where), "2")
    with database.writing() as connection:
        connection.execute(insert(schema.people).values(initials="AB", name="Ada Invented"))
    database.close()
    with open_store(where, clock) as store:  # type: ignore[arg-type]
        assert [one.kind for one in entries(store)] == ["bench", "began", "people", "adopted"]
        found = verify(store.database)
        assert found.found == ()
        (note,) = found.notes
        assert note.startswith(
            "What entries up to 4 tell was taken over on 2026-03-02 of an archive"
        )
        store.people.add(PersonRow("CD", ""))
    with open_store(where, clock) as store:  # type: ignore[arg-type]
        assert len(entries(store)) == 5


def _cut(store: Store, many: int) -> None:
    """Take the last entries away with what they tell, as if it had never been."""
    with store.database.writing() as connection:
        last = connection.execute(select(func.max(schema.ledger.c.number))).scalar_one()
        connection.execute(delete(schema.ledger).where(schema.ledger.c.number > last - many))
        connection.execute(delete(schema.people).where(schema.people.c.initials == "CD"))


def test_an_end_that_was_cut_off_is_found_by_what_the_bench_remembers(
    store: Store, where: str
) -> None:
    store.people.add(PersonRow("AB", ""))
    store.people.add(PersonRow("CD", ""))
    head = store.ledger.head()
    assert head is not None
    _cut(store, 1)
    assert verify(store.database).found == ()
    (found,) = verify(store.database, heads=store.ledger.heads).found
    assert found.sentence.startswith("It ends at entry 3, but this bench saw entry 4")
    (found,) = verify(store.database, codes=[head.code]).found
    assert found.where == f"head {head.code}"
    for odd in ("9" * 30 + "-aaaa-bbbb-cccc-dddd", "3", head.code[:-1], "", "\u0663-aaaa"):
        (found,) = verify(store.database, codes=[odd]).found
        assert found.sentence.startswith("It is no code of a head")
    # What is recorded over it is another entry 4.
    # However much is recorded over it, by whatever program, it is not forgotten.
    for initials in ("EF", "GH", "IJ"):
        store.people.add(PersonRow(initials, ""))
        with open_store(where, store.now) as other:
            (found,) = verify(other.database, heads=other.ledger.heads).found
            assert found.where == "ledger, entry 4"


@pytest.mark.parametrize("where", ["sqlite", "postgresql"], indirect=True)
def test_a_ledger_that_was_emptied_is_not_begun_anew(store: Store, where: str) -> None:
    store.people.add(PersonRow("AB", ""))
    with store.database.writing() as connection:
        connection.execute(update(schema.people).values(name="x"))
        connection.execute(delete(schema.ledger))
    with pytest.raises(Altered, match="The ledger of the archive was emptied"):
        open_store(where, store.now)
    assert "the ledger" in [one.where for one in verify(store.database).found]


def test_a_second_copy_of_the_head_is_kept_elsewhere(
    store: Store, where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "stick"
    monkeypatch.setenv("BENCHPROOF_HEADS", str(elsewhere))
    with open_store(where, store.now) as mine:
        mine.people.add(PersonRow("AB", ""))
        head = mine.ledger.head()
        assert head is not None
        seen = mine.ledger.heads.seen(head.archive)
        assert [one.head for one in seen] == [head, head]
        (elsewhere / f"{head.archive}.head").write_text("spoilt")
        (found,) = verify(mine.database, heads=mine.ledger.heads).found
        assert found.where == str(elsewhere)
        # A stick that is not there keeps nobody from recording.
        (elsewhere / f"{head.archive}.head").unlink()
        elsewhere.rmdir()
        mine.people.add(PersonRow("CD", ""))


def test_a_head_is_never_set_back(tmp_path: Path) -> None:
    heads = Heads((tmp_path,), "here")
    name = "0" * 32
    heads.saw(Head(name, 7, "a" * 64), lambda _: None)
    Heads((tmp_path,), "here").saw(Head(name, 5, "b" * 64), lambda _: None)
    assert [one.head for one in heads.seen(name)] == [Head(name, 7, "a" * 64)]
    assert Head(name, 7, "0123456789abcdef" * 4).code == "7-0123-4567-89ab-cdef"


def test_a_copy_goes_on_under_a_name_of_its_own(
    store: Store, tmp_path: Path, clock: object
) -> None:
    """Else a backup that was restored would look like one whose end was cut off."""
    store.people.add(PersonRow("AB", ""))
    backup(store, tmp_path / "backup")
    store.people.add(PersonRow("CD", ""))
    with open_store(str(tmp_path / "restored.sqlite"), clock) as other:  # type: ignore[arg-type]
        restore(other, tmp_path / "backup")
        one, two = store.ledger.head(), other.ledger.head()
        assert one is not None
        assert two is not None
        assert one.archive != two.archive
        began = json.loads(entries(other)[-1].payload)
        assert began["row"] == {"copied_from": one.archive, "entry": 3}
        found = verify(other.database, heads=other.ledger.heads)
        assert (found.found, found.notes) == ((), ())


def test_who_has_not_the_key_cannot_write_the_chain_anew(store: Store) -> None:
    store.people.add(PersonRow("AB", ""))
    old = entries(store)
    spoilt = old[2].payload.replace(b'"name":""', b'"name":"x"')
    assert spoilt != old[2].payload
    with store.database.writing() as connection:
        connection.execute(
            update(schema.ledger)
            .where(schema.ledger.c.number == 3)
            .values(payload=spoilt, hash=entry_hash(old[1], spoilt))
        )
        connection.execute(update(schema.people).values(name="x"))
    (found,) = verify(store.database).found
    assert found.where == "ledger, entry 3"
    assert "did not sign it" in found.sentence


def test_a_row_that_was_altered_goes_on_no_paper(store: Store, part: str) -> None:
    row = store.parts.get(part)
    told = {"tag": row.tag, "bought": row.bought, "core": row.core}
    store.ledger.attest(schema.parts, told)
    with pytest.raises(Altered, match=r"parts, S-1: was altered"):
        store.ledger.attest(schema.parts, {**told, "bought": not row.bought})
    with pytest.raises(Altered):
        store.ledger.attest(schema.parts, {**told, "tag": "S-2"})
    for spoilt in (b"", b"[]", b'{"row": 1}', b"\xff"):
        with store.database.writing() as connection:
            wanted = schema.ledger.c.kind == "parts"
            connection.execute(update(schema.ledger).where(wanted).values(payload=spoilt))
        with pytest.raises(Altered):
            store.ledger.attest(schema.parts, told)


def test_a_signer_that_is_no_text_is_found_in_words(store: Store) -> None:
    if store.database.path is None:
        pytest.skip("PostgreSQL lets no such text in")
    store.people.add(PersonRow("AB", ""))
    store.people.add(PersonRow("CD", ""))
    with store.database.writing() as connection:
        odd = "UPDATE ledger SET signer = CAST(x'6162c3' AS TEXT) WHERE number = 3"
        connection.execute(text(odd))
        connection.execute(text("UPDATE people SET name = CAST(x'ff' AS TEXT)"))
    found = verify(store.database).found
    assert any(one.where.startswith("ledger, entry") for one in found)
    assert all(one.where.isprintable() and one.sentence.isprintable() for one in found)
    assert {"person AB", "person CD"} <= {one.where for one in found}


def test_a_certificate_is_noted_once(store: Store, part: str) -> None:
    tag = store.proofs.open(part, b"opened")
    hash_ = store.proofs.events(tag)[0].hash
    first, again = (store.ledger.printed(tag, 1, hash_) for _ in range(2))
    assert first == again
    assert first is not None
    assert entries(store)[-1].kind == "certificate"
    assert first[0].number == entries(store)[-1].number
    with store.database.writing() as connection:
        connection.execute(update(schema.ledger).values(kind="certificate"))
        connection.rollback()
    assert verify(store.database).found == ()


def test_the_key_is_made_once_and_for_its_owner_only(tmp_path: Path) -> None:
    made: list[str] = []
    threads = [
        threading.Thread(target=lambda: made.append(seal_in(tmp_path / "own").name))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 8
    assert len(set(made)) == 1
    path = tmp_path / "own" / "bench.key"
    assert path.stat().st_mode & 0o777 == 0o600
    assert [file.name for file in path.parent.iterdir()] == ["bench.key"]
    path.write_text("nonsense")
    with pytest.raises(Unusable, match=r"is no key, or is damaged, so nothing is recorded"):
        seal_in(tmp_path / "own")


@pytest.mark.parametrize("where", ["sqlite"], indirect=True)
def test_an_emptied_file_is_not_taken_for_a_new_archive(
    store: Store, where: str, clock: object
) -> None:
    store.database.close()
    for file in Path(where).parent.glob(f"{Path(where).name}*"):
        file.unlink()
    Path(where).touch()
    with pytest.raises(Unusable, match="is an empty file, which an archive never is"):
        open_store(where, clock)  # type: ignore[arg-type]


def test_types_that_sqlite_lets_in_are_told_in_words(store: Store, part: str) -> None:
    if store.database.path is None:
        pytest.skip("PostgreSQL lets no other type in")
    with store.database.writing() as connection:
        connection.execute(text("UPDATE parts SET note = x'00ff'"))
    with pytest.raises(Altered, match=r"'S-1': its note"):
        store.parts.get(part)
    (found,) = verify(store.database).found
    assert found.where == "part S-1"
    assert found.sentence.startswith("It was altered since 2026-03-02; recorded was: note nothing")
