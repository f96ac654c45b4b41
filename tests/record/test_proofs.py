"""Proofs: opening, appending, listing, and several programs at once, on both engines."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from hashlib import sha256

import pytest

from benchproof.record import chain
from benchproof.record.problems import Conflict, NoSuch, RecordProblem, StillOpen
from benchproof.record.rows import PartRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify


def test_a_proof_is_its_events_in_order(store: Store, part: str) -> None:
    tag = store.proofs.open(part, b"opened", mode="prove")
    assert tag == "S-1.1"
    payloads = [b"opened", b"", b"\0\xff", '{"ä":1}'.encode()]
    links = [store.proofs.append(tag, p, n) for n, p in enumerate(payloads[1:], start=1)]
    stored = store.proofs.events(tag)
    assert [event.payload for event in stored] == payloads
    assert [(event.seq, event.hash) for event in stored][1:] == [(x.seq, x.hash) for x in links]
    row = store.proofs.row(tag)
    assert (row.last_seq, row.head, row.mode, row.closed_as) == (4, links[-1].hash, "prove", None)
    assert verify(store.database).found == ()


def test_proofs_of_a_part_are_counted(store: Store, part: str) -> None:
    assert [store.proofs.open(part, b"x") for _ in range(3)] == ["S-1.1", "S-1.2", "S-1.3"]
    with pytest.raises(NoSuch, match="no part"):
        store.proofs.open("S-9", b"x")
    with pytest.raises(NoSuch, match="no proof"):
        store.proofs.events("S-1.4")
    with pytest.raises(NoSuch, match="no proof"):
        store.proofs.append("S-1.4", b"x", 1)
    with pytest.raises(NoSuch, match="no proof"):
        store.proofs.row("S-1.4")


def test_who_comes_second_is_told_and_records_nothing(store: Store, part: str) -> None:
    tag = store.proofs.open(part, b"opened")
    store.proofs.append(tag, b"mine", 1)
    for after in (0, 1, 3, -1):
        with pytest.raises(Conflict, match=r"^S-1\.1: somebody else works on this proof"):
            store.proofs.append(tag, b"yours", after)
    assert [event.payload for event in store.proofs.events(tag)] == [b"opened", b"mine"]


def test_an_event_that_is_too_large_is_refused(store: Store, part: str) -> None:
    tag = store.proofs.open(part, b"opened")
    with pytest.raises(RecordProblem, match="larger than 1 MB"):
        store.proofs.append(tag, bytes(1_000_001), 1)
    assert len(store.proofs.events(tag)) == 1


def test_events_that_go_together_are_all_recorded_or_none(store: Store, part: str) -> None:
    one, other = (store.proofs.open(part, b"opened") for _ in range(2))
    with pytest.raises(RecordProblem, match="larger than 1 MB"):
        store.proofs.append_all(one, [b"first", b"x" * 1_000_001], 1)
    assert store.proofs.row(one).last_seq == 1
    last = store.proofs.append_all(one, [b"first", b"second"], 1, closed_as="accepted")
    for number, payload in enumerate((b"first", b"second"), 1):
        single = store.proofs.append(other, payload, number)
    stored = [store.proofs.events(tag) for tag in (one, other)]
    assert [event.payload for event in stored[0]] == [event.payload for event in stored[1]]
    assert (last.seq, single.seq) == (3, 3)
    row = store.proofs.row(one)
    assert (row.last_seq, row.head, row.closed_as) == (3, last.hash, "accepted")
    assert verify(store.database, heads=store.ledger.heads).found == ()


def test_lists_show_what_the_caller_told(store: Store, part: str) -> None:
    tags = [store.proofs.open(part, b"x", mode="find") for _ in range(5)]
    store.proofs.append(tags[1], b"now prove", 1, mode="prove")
    store.proofs.append(tags[1], b"closed", 2, closed_as="accepted")
    rows = store.proofs.list()
    assert [row.tag for row in rows] == tags[::-1]
    assert (rows[3].mode, rows[3].closed_as) == ("prove", "accepted")
    assert [row.tag for row in store.proofs.list(open_only=True)] == [tags[n] for n in (4, 3, 2, 0)]
    assert [row.tag for row in store.proofs.list(limit=2)] == tags[:2:-1]
    assert [row.tag for row in store.proofs.list(limit=2, before=rows[1])] == [tags[2], tags[1]]
    assert [row.tag for row in store.proofs.list(beginning="S-1.3")] == ["S-1.3"]
    assert store.proofs.list(part="S-2") == []


def test_a_clock_that_is_set_back_changes_no_order_of_events(where: str) -> None:
    years = [2026]
    with open_store(where, lambda: datetime(years[-1], 3, 2, tzinfo=UTC)) as store:
        family = store.files.put(b"f")
        store.parts.add(PartRow("S-1", "invented", family, store.now()))
        first = store.proofs.open("S-1", b"1")
        store.proofs.append(first, b"2", 1)
        years.append(2024)
        second = store.proofs.open("S-1", b"1")
        assert second == "S-1.2"
        assert [event.payload for event in store.proofs.events(first)] == [b"1", b"2"]
        assert [row.tag for row in store.proofs.list()] == [first, second]
        assert verify(store.database).found == ()


def test_threads_that_share_a_store_lose_nothing(store: Store, part: str) -> None:
    tag = store.proofs.open(part, b"opened")

    def work(worker: int) -> int:
        done = 0
        while done < 15:
            try:
                store.proofs.append(
                    tag, f"{worker} {done}".encode(), store.proofs.row(tag).last_seq
                )
            except Conflict:
                continue
            done += 1
        return done

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(work, range(4))) == 60
    payloads = [event.payload for event in store.proofs.events(tag)][1:]
    assert sorted(payloads) == sorted(f"{w} {n}".encode() for w in range(4) for n in range(15))
    assert verify(store.database).found == ()


def test_two_that_open_proofs_of_one_part_get_two_numbers(store: Store, part: str) -> None:
    with ThreadPoolExecutor(4) as pool:
        tags = list(pool.map(lambda _: store.proofs.open(part, b"x"), range(12)))
    assert sorted(tags) == sorted(f"S-1.{n}" for n in range(1, 13))


def test_of_many_that_open_the_only_one_a_single_one_does(store: Store, part: str) -> None:
    """The archive's write transaction decides, on both engines; the others are told which."""

    def work(_: int) -> str:
        try:
            return store.proofs.open(part, b"x", alone=True)
        except StillOpen as other:
            return f"not, for {other.proof}"

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(work, range(12)))
    assert sorted(told) == ["S-1.1", *["not, for S-1.1"] * 11]
    assert store.proofs.open(part, b"x") == "S-1.2"
    with pytest.raises(StillOpen, match=r"^S-1: proof S-1\.2 of this part is open; go on with it"):
        store.proofs.open(part, b"x", alone=True)
    for tag in ("S-1.1", "S-1.2"):
        store.proofs.append(tag, b"closed", 1, closed_as="abandoned")
    assert store.proofs.open(part, b"x", alone=True) == "S-1.3"


def test_two_that_bring_the_same_file_at_once_both_succeed(store: Store) -> None:
    with ThreadPoolExecutor(4) as pool:
        keys = set(pool.map(lambda _: store.files.put(b"the same"), range(12)))
    assert len(keys) == 1


def test_the_chain_is_the_documented_one() -> None:
    """docs/records.md, done by hand."""
    start = sha256(b"benchproof proof 1\nS-1.1").digest()
    first = sha256(start + (1).to_bytes(8, "big") + b"opened")
    assert chain.following(chain.start("S-1.1"), b"opened").hash == first.hexdigest()
