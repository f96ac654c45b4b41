"""Files kept by their content, found by a piece of it."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.record.store import Store


def test_files_are_found_by_a_piece_and_their_size(store: "Store") -> None:
    small = store.files.put(b"\x00\xffx [[chart]] y")
    large = store.files.put(b"[[chart]]" + bytes(100))
    store.files.put(b"[chart]")
    assert store.files.holding(b"[[chart]]", 50) == [small]
    assert store.files.holding(b"[[chart]]", 109) == sorted([small, large])
    assert store.files.holding(b"nothing of it", 109) == []
