"""Small seeded samples of the fault benchmarks; the whole of them is `make bench-faults`."""

import time
from pathlib import Path

import pytest
from sqlalchemy import delete, update

import archive
import faults
from benchproof.record import schema
from benchproof.record.store import open_store
from benchproof.record.verifying import verify
from postgres import Server, server
from recording import Acknowledged, Tally, clock, looked_at, work


def assert_whole(tally: Tally) -> None:
    assert tally.acknowledged > 0
    assert (tally.lost, tally.broken, tally.unopened) == (0, 0, 0)


def test_a_program_killed_at_random_moments_loses_nothing() -> None:
    assert_whole(faults.killed(15, seed=7, a_file=5))


@pytest.mark.parametrize("by_quota", [False, True])
def test_a_full_disk_loses_nothing_and_says_so(by_quota: bool) -> None:
    tally = faults.full(1_000_000, by_quota=by_quota)
    assert_whole(tally)
    assert tally.refused == 1


def test_a_read_only_disk_loses_nothing_and_says_so() -> None:
    tally = faults.read_only()
    assert_whole(tally)
    assert tally.refused == 1


def test_two_programs_lose_nothing(tmp_path: Path) -> None:
    assert_whole(faults.together(str(tmp_path / "a.sqlite"), "", "", 2, 1.0))
    assert_whole(faults.same_proof(str(tmp_path / "b.sqlite"), 40))


def test_a_clock_set_back_and_forth_loses_nothing() -> None:
    assert_whole(faults.set_back(3, seed=2))


def test_ten_benches_at_once_lose_nothing(postgresql: Server) -> None:
    tally = faults.together(postgresql.new_database(), "", "", 10, 2.0)
    assert_whole(tally)
    assert tally.refused == 0


def test_a_server_that_crashes_loses_nothing() -> None:
    # A server of its own: the other tests' must stay up.
    with server() as running:
        assert_whole(faults.crashed(running, crashes=1, programs=2, seconds=0.7))


def test_what_is_lost_or_broken_would_be_counted(tmp_path: Path) -> None:
    where = str(tmp_path / "a.sqlite")
    acknowledged: list[Acknowledged] = []
    work(where, "S-1", time.monotonic() + 3.0, acknowledged.append)
    events = schema.events
    with open_store(where, clock) as store, store.database.writing() as connection:
        last = connection.execute(events.select().order_by(events.c.seq.desc()).limit(1)).one()
        mine = (events.c.proof == last.proof) & (events.c.seq == last.seq)
        connection.execute(delete(events).where(mine))
        first = (events.c.proof == "S-1.1") & (events.c.seq == 1)
        connection.execute(update(events).where(first).values(payload=b"other", hash="0" * 64))
    tally = looked_at("", "", where, acknowledged)
    # Nothing of a proof that was altered is read.
    spoilt = {"S-1.1", last.proof}
    assert tally.lost == sum(one.tag in spoilt for one in acknowledged)
    assert tally.broken >= 2
    Path(where).write_bytes(b"gone" * 100)
    tally = looked_at("", "", where, acknowledged)
    assert (tally.lost, tally.unopened) == (len(acknowledged), 1)


def test_a_large_archive_is_filled_with_whole_proofs(tmp_path: Path) -> None:
    """Speed itself is shown by `make bench-archive`; here, that what is timed is there."""
    small, large = str(tmp_path / "small"), str(tmp_path / "large")
    doings = archive.run(small, large, (200, 3000), 2)
    assert all(doing.ratio > 0 for doing in doings)
    with open_store(large, clock) as store:
        found = verify(store.database)
        assert (found.found, found.proofs, found.sound) == ((), 3000, 3000)
        assert found.events == 3000 * archive.EVENTS_A_PROOF
        assert "| `verify` |" in archive.whole(store)
        assert verify(store.database).found == ()
        assert len(store.proofs.list()) == len(store.proofs.list(open_only=True)) == 50
        assert store.proofs.row("S-000123.2").last_seq == archive.EVENTS_A_PROOF


def test_the_cost_of_a_durable_append_is_measured() -> None:
    cost = faults.cost(120)
    assert 0 < cost.append_median_ms <= cost.append_p99_ms
    assert 0 < cost.file_median_ms <= cost.file_p99_ms
