"""Whatever is altered in a stored proof is found, and where."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection, delete, insert, text, update

from benchproof.record import chain, schema
from benchproof.record.chain import ChainLink, Stored
from benchproof.record.store import Store
from benchproof.record.verifying import Alteration, verified, verify

TAG = "S-1.1"
READINGS = (
    b'{"at":"2026-03-02T08:00:00+00:00","kind":"opened","part":"S-1"}',
    b'{"at":"2026-03-02T08:00:05+00:00","kind":"reading","pair":["A","B"],"value":"0.3 ohm"}',
    b'{"at":"2026-03-02T08:00:09+00:00","kind":"reading","pair":["A","C"],"value":"open"}',
    b"",
    b'{"at":"2026-03-02T08:00:20+00:00","kind":"closed","outcome":"accepted"}',
)


def chained(payloads: tuple[bytes, ...], tag: str = TAG) -> tuple[list[Stored], ChainLink]:
    link, events = chain.start(tag), []
    for payload in payloads:
        link = chain.following(link, payload)
        events.append(Stored(link.seq, payload, link.hash))
    return events, link


def test_a_whole_chain_has_no_breaks() -> None:
    events, head = chained(READINGS)
    assert list(chain.breaks(TAG, events, head)) == []


def test_every_single_byte_change_of_every_event_is_found_where_it_is() -> None:
    """Exhaustive on one proof: each of the 255 other values of each byte of each payload."""
    events, head = chained(READINGS)
    tried = 0
    for place, event in enumerate(events):
        for at, old in enumerate(event.payload):
            for new in range(256):
                if new == old:
                    continue
                spoilt = event.payload[:at] + bytes([new]) + event.payload[at + 1 :]
                altered = [*events]
                altered[place] = replace(event, payload=spoilt)
                found = list(chain.breaks(TAG, altered, head))
                assert found == [f"event {event.seq} was altered"]
                tried += 1
    assert tried == 255 * sum(map(len, READINGS))


def test_every_single_change_of_a_hash_is_found() -> None:
    events, head = chained(READINGS)
    for place, event in enumerate(events):
        for at, old in enumerate(event.hash):
            for new in set("0123456789abcdef") - {old}:
                altered = [*events]
                altered[place] = replace(event, hash=event.hash[:at] + new + event.hash[at + 1 :])
                assert list(chain.breaks(TAG, altered, head))


@given(
    payloads=st.lists(st.binary(max_size=30), min_size=1, max_size=12),
    data=st.data(),
)
def test_what_is_removed_added_or_moved_is_found(
    payloads: list[bytes], data: st.DataObject
) -> None:
    events, head = chained(tuple(payloads))
    place = data.draw(st.integers(0, len(events) - 1))
    removed = events[:place] + events[place + 1 :]
    assert list(chain.breaks(TAG, removed, head))
    closed_up = [replace(event, seq=n) for n, event in enumerate(removed, start=1)]
    assert list(chain.breaks(TAG, closed_up, head))
    longer, _ = chained((*payloads, b"added"))
    assert list(chain.breaks(TAG, longer, head))
    other = data.draw(st.integers(0, len(events) - 1))
    if payloads[place] != payloads[other]:
        swapped = [*events]
        swapped[place] = replace(events[place], payload=payloads[other])
        swapped[other] = replace(events[other], payload=payloads[place])
        assert list(chain.breaks(TAG, swapped, head))
    # A chain that was computed anew is whole in itself; the row tells.
    forged, _ = chained((*payloads[:place], payloads[place] + b"!", *payloads[place + 1 :]))
    assert list(chain.breaks(TAG, forged, head))


def test_the_events_of_one_proof_do_not_pass_for_another() -> None:
    events, head = chained(READINGS)
    assert list(chain.breaks("S-1.2", events, head)) == ["event 1 was altered"]


@pytest.fixture
def proofs(store: Store, part: str) -> list[str]:
    tags = []
    for number in range(4):
        tags.append(store.proofs.open(part, READINGS[0], mode="prove"))
        for seq in range(1, len(READINGS)):
            store.proofs.append(tags[-1], READINGS[seq] + bytes([65 + number]), seq)
    return tags


def altered(store: Store, change: Callable[[Connection], object]) -> tuple[Alteration, ...]:
    """Return what `verify` finds after a change, which is then undone."""
    with store.database.writing() as connection:
        if store.database.path is None:
            # Somebody who may do anything with the database.
            connection.execute(text("SET session_replication_role = replica"))
        else:
            connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        change(connection)
        found = verified(connection).found
        connection.rollback()
        return found


def test_sampled_changes_of_stored_events_are_found(store: Store, proofs: list[str]) -> None:
    drawn = random.Random(5)
    events = schema.events
    assert verify(store.database).found == ()
    for _ in range(40):
        tag, seq = drawn.choice(proofs), drawn.randint(1, len(READINGS))
        whole = store.proofs.events(tag)[seq - 1].payload
        at = drawn.randrange(len(whole))
        spoilt = whole[:at] + bytes([whole[at] ^ (1 << drawn.randrange(8))]) + whole[at + 1 :]
        change = (
            update(events).where(events.c.proof == tag, events.c.seq == seq).values(payload=spoilt)
        )
        found = altered(store, lambda c, q=change: c.execute(q))  # type: ignore[misc]
        assert found == (Alteration(tag, f"Event {seq} was altered."),)
    assert verify(store.database).found == ()


def test_removed_and_foreign_rows_are_found(store: Store, proofs: list[str]) -> None:
    events, rows = schema.events, schema.proofs
    cases = (
        (delete(events).where(events.c.proof == "S-1.2", events.c.seq == 2), "S-1.2",
         "Event 2 is missing."),
        (delete(events).where(events.c.proof == "S-1.2", events.c.seq == 5), "S-1.2",
         "The last event is number 4, but the proof's row says 5."),
        (delete(events).where(events.c.proof == "S-1.2"), "S-1.2",
         "The last event is number 0, but the proof's row says 5."),
        (insert(events).values(proof="S-1.2", seq=9, payload=b"", hash="0" * 64), "S-1.2",
         "Events 6 to 8 are missing."),
        (update(rows).where(rows.c.tag == "S-1.2").values(head="0" * 64), "S-1.2",
         f"It was altered since 2026-03-02; recorded was: head {store.proofs.row('S-1.2').head}."),
        (update(rows).where(rows.c.tag == "S-1.2").values(number=9), "S-1.2",
         "It was altered since 2026-03-02; recorded was: number 2."),
        (update(rows).where(rows.c.tag == "S-1.2").values(closed_as="accepted"), "S-1.2",
         "It was altered since 2026-03-02; recorded was: closed as nothing."),
    )  # fmt: skip
    for change, tag, sentence in cases:
        found = altered(store, lambda c, q=change: c.execute(q))  # type: ignore[misc]
        assert Alteration(tag, sentence) in found, sentence


def test_a_proof_that_is_missing_between_others_is_found(store: Store, proofs: list[str]) -> None:
    def remove(connection: Connection) -> None:
        connection.execute(delete(schema.events).where(schema.events.c.proof == "S-1.2"))
        connection.execute(delete(schema.proofs).where(schema.proofs.c.tag == "S-1.2"))

    assert altered(store, remove) == (Alteration("S-1.2", "The proof of 2026-03-02 is gone."),)

    def remove_row(connection: Connection) -> None:
        connection.execute(delete(schema.proofs).where(schema.proofs.c.tag == "S-1.2"))

    assert Alteration("S-1.2", "There are events, but the proof's row is missing.") in altered(
        store, remove_row
    )


def test_altered_files_are_found(store: Store, proofs: list[str]) -> None:
    found = altered(store, lambda c: c.execute(update(schema.files).values(content=b"!")))
    assert [alteration.sentence for alteration in found] == ["The file was altered."]
