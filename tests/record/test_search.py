"""Words anywhere in a row, whatever the case, on both engines."""

from datetime import UTC, datetime
from hashlib import sha256

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchproof.record.rows import CoreRow, CustomerRow, PartRow, UnitRow
from benchproof.record.search import MOST_LETTERS, MOST_WORDS, words_of
from benchproof.record.store import Store

AT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def tags(store: Store, kind: str, text: str, limit: int = 20) -> list[str]:
    return [one.tag for one in store.register(kind).holding(words_of(text), limit)]


def test_words_are_found_anywhere_and_in_any_case(store: Store) -> None:
    store.customers.add(CustomerRow("K-1", "Müller Invented", "Gate 3"))
    store.units.add(UnitRow("U-7", AT, "valley bus", "K-1", "SN-0042-x", "no Reverse when hot"))
    store.units.add(UnitRow("U-8", AT, "harvester", None, "100% new", "a_b"))
    store.cores.add(CoreRow("C-1", AT, "valley bus", missing="the Plug"))
    assert tags(store, "units", "0042") == ["U-7"]
    assert tags(store, "units", "sn-0042-X REVERSE") == ["U-7"]
    assert tags(store, "units", "reverse harvester") == []
    assert tags(store, "units", "k-1") == ["U-7"]
    assert tags(store, "units", "u-") == ["U-7", "U-8"]
    assert tags(store, "units", "u-", 1) == ["U-7"]
    assert tags(store, "cores", "plug") == ["C-1"]
    # Letters that the engines do not fold.
    assert tags(store, "customers", "MÜLLER") == ["K-1"]
    assert tags(store, "customers", "möller") == []
    # What stands for any letters in a query stands for itself here.
    assert tags(store, "units", "100%") == ["U-8"]
    assert tags(store, "units", "a_b") == ["U-8"]
    assert tags(store, "units", "%") == ["U-8"]
    assert tags(store, "units", "/") == []
    assert tags(store, "units", "") == []


def test_a_hash_is_no_word_of_a_part(store: Store) -> None:
    file = store.files.put(b"an invented family")
    store.parts.add(PartRow("S-1", "invented", file, AT, note="bent Tab"))
    assert tags(store, "parts", "tab bent") == ["S-1"]
    assert tags(store, "parts", sha256(b"an invented family").hexdigest()[:12]) == []


def test_proofs_are_found_by_part_and_end(store: Store) -> None:
    file = store.files.put(b"an invented family")
    store.parts.add(PartRow("Bus-17-a", "invented", file, AT))
    tag = store.proofs.open("Bus-17-a", b"{}", mode="prove")
    assert [one.tag for one in store.proofs.holding(words_of("S-17"), 5)] == [tag]
    assert [one.tag for one in store.proofs.holding(words_of("bus PROVE"), 5)] == [tag]
    assert store.proofs.holding(words_of("accepted"), 5) == []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None,
          max_examples=40)  # fmt: skip
@given(note=st.text(max_size=12), typed=st.text(max_size=120))
def test_nothing_odd_that_is_typed_breaks_it(store: Store, note: str, typed: str) -> None:
    words = words_of(typed)
    assert len(words) <= MOST_WORDS
    assert sum(map(len, words)) <= MOST_LETTERS
    found = {one.tag for one in store.cores.holding(words, 50)}
    told = {one.tag for one in store.cores.list()}
    assert found <= told
    if words:
        fits = {
            one.tag
            for one in store.cores.list()
            if all(any(word.casefold() in f"{text}".casefold() for text in
                       (one.tag, one.family, one.deposit, one.missing, one.damaged, one.note))
                   for word in words)
        }  # fmt: skip
        assert found == fits
    kept = "".join(words_of(note))[:10]
    store.cores.add(CoreRow(f"C-{len(told) + 1}", AT, note=kept))


@pytest.mark.parametrize("typed", ["", "  ", "\0\x07", "\ud800"])
def test_nothing_to_look_for_finds_nothing(store: Store, typed: str) -> None:
    store.cores.add(CoreRow("C-1", AT))
    assert words_of(typed) == ()
    assert store.cores.holding(words_of(typed), 5) == []
