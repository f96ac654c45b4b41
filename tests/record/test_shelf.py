"""The shelf: what may follow what, held by the database itself, on both engines."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import insert

from benchproof.record import schema
from benchproof.record.moves import LAWFUL, STATES
from benchproof.record.problems import Conflict, NoSuch
from benchproof.record.rows import MoveRow, PartRow, PersonRow, UnitRow
from benchproof.record.shelf import move_values
from benchproof.record.store import Store


@pytest.fixture
def units(store: Store) -> None:
    for tag in ("U-1", "U-2"):
        store.units.add(UnitRow(tag, store.now()))


def prove(store: Store, part: str, outcome: str = "accepted") -> str:
    tag = store.proofs.open(part, b"opened", mode="prove")
    store.proofs.append(tag, b"closed", 1, closed_as=outcome)
    return tag


def test_only_a_proven_part_goes_on_the_shelf(store: Store, part: str, units: None) -> None:
    with pytest.raises(Conflict, match=r"^S-1: has no proof; only a proven part goes on the shelf"):
        store.shelf.move(part, "stock")
    tag = store.proofs.open(part, b"opened")
    with pytest.raises(Conflict, match=r"its last proof S-1\.1 is not accepted"):
        store.shelf.move(part, "stock")
    store.proofs.append(tag, b"closed", 1, closed_as="realign")
    with pytest.raises(Conflict, match="is not accepted"):
        store.shelf.move(part, "stock")
    accepted = prove(store, part)
    assert store.shelf.move(part, "stock").proof == accepted
    assert [(move.part, name) for move, name in store.shelf.list()] == [("S-1", "invented")]


def test_a_part_goes_its_way_and_comes_back(store: Store, part: str, units: None) -> None:
    store.people.add(PersonRow("AB", ""))
    prove(store, part)
    store.shelf.move(part, "stock", by="AB", note="bin 4")
    store.shelf.move(part, "reserved", "U-1")
    with pytest.raises(Conflict, match=r"^S-1: is reserved for U-1, not U-2; put it back in stock"):
        store.shelf.move(part, "fitted", "U-2")
    assert store.shelf.move(part, "fitted").unit == "U-1"
    for unit in ("U-1", "U-2"):
        with pytest.raises(Conflict, match="is fitted in U-1, so it cannot go to reserved"):
            store.shelf.move(part, "reserved", unit)
    assert [m.part for m, _ in store.shelf.list(unit="U-1")] == ["S-1"]
    assert store.shelf.list(unit="U-2") == []
    assert store.shelf.move(part, "returned").unit == "U-1"
    with pytest.raises(Conflict, match=r"came back since S-1\.1; prove it anew"):
        store.shelf.move(part, "stock")
    prove(store, part)
    store.shelf.move(part, "stock")
    assert store.shelf.list(unit="U-1") == []
    store.shelf.move(part, "scrapped")
    with pytest.raises(Conflict, match="is scrapped, so it cannot go to stock; it goes nowhere"):
        store.shelf.move(part, "stock")
    states = [move.state for move in store.shelf.moves(part)]
    assert states == ["stock", "reserved", "fitted", "returned", "stock", "scrapped"]
    assert store.shelf.list(state="stock") == []
    assert [move.state for move, _ in store.shelf.list(state="scrapped")] == ["scrapped"]


def test_what_a_move_names_must_be_there(store: Store, part: str, units: None) -> None:
    prove(store, part)
    store.shelf.move(part, "stock")
    for name, problem in (
        (("S-9", "stock", None, None), "no part"),
        ((part, "reserved", "U-9", None), "no unit"),
        ((part, "reserved", "U-1", "ZZ"), "no person"),
    ):
        with pytest.raises(NoSuch, match=problem):
            store.shelf.move(*name)
    with pytest.raises(Conflict, match="name the unit"):
        store.shelf.move(part, "reserved")
    with pytest.raises(Conflict, match="which is no unit"):
        store.shelf.move(part, "scrapped", "U-1")


def test_many_that_reserve_at_once_get_it_once(store: Store, part: str, units: None) -> None:
    prove(store, part)
    store.shelf.move(part, "stock")

    def reserve(number: int) -> bool:
        try:
            store.shelf.move(part, "reserved", f"U-{number % 2 + 1}")
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(reserve, range(12))) == 1
    assert len(store.shelf.moves(part)) == 2


def test_the_database_itself_refuses_every_unlawful_move(
    store: Store, part: str, units: None
) -> None:
    """A program that writes past the code: each state, unit and proof after each place."""
    lawful = {(move.before, move.after) for move in LAWFUL}
    prove(store, part)
    ways = {
        "stock": (),
        "reserved": (("reserved", "U-1"),),
        "fitted": (("fitted", "U-1"),),
        "returned": (("fitted", "U-1"), ("returned", None)),
        "scrapped": (("scrapped", None),),
    }
    accepted = 0
    for way in ways.values():
        fresh = f"S-{len(store.parts.list()) + 1}"
        store.parts.add(replace(store.parts.get(part), tag=fresh))
        prove(store, fresh)
        store.shelf.move(fresh, "stock")
        for state, unit in way:
            store.shelf.move(fresh, state, unit)
        unused = prove(store, fresh)
        last = store.shelf.moves(fresh)[-1]
        for state, unit, proof in product(STATES, (None, "U-1", "U-2"), (None, unused)):
            row = MoveRow(fresh, last.step + 1, state, unit, proof, store.now(), None, "")
            is_lawful = (last.state, state) in lawful
            try:
                with store.database.writing() as connection:
                    connection.execute(insert(schema.shelf_moves).values(move_values(row, last)))
                    connection.rollback()
            except Conflict:
                continue
            accepted += 1
            assert is_lawful
            assert (unit is None) == (state in ("stock", "scrapped"))
            if last.state in ("reserved", "fitted") and unit is not None:
                assert unit == last.unit
            assert (proof is not None) == (state == "stock" and last.state == "returned")
    # From stock three, of which two to either unit; reserved three; fitted one; returned two.
    assert accepted == 5 + 3 + 1 + 2


def test_the_database_itself_ties_each_move_to_the_one_before(
    store: Store, part: str, units: None
) -> None:
    prove(store, part)
    store.shelf.move(part, "stock")
    store.shelf.move(part, "fitted", "U-1")
    row = MoveRow(part, 3, "fitted", "U-2", None, store.now(), None, "")
    stock, fitted = store.shelf.moves(part)
    for told in (
        # It says that the part were still in stock, or reserved for the other unit, or starts anew.
        move_values(row, replace(fitted, state="stock", unit=None)),
        move_values(row, replace(fitted, state="reserved", unit="U-2")),
        move_values(row, stock),
        move_values(replace(row, step=2), stock),
        move_values(replace(row, step=1, state="stock", unit=None, proof="S-1.1"), None),
        {**move_values(row, fitted), "place": ""},
    ):
        with (
            pytest.raises(Conflict, match="does not allow"),
            store.database.writing() as connection,
        ):
            connection.execute(insert(schema.shelf_moves).values(told))
    assert store.shelf.moves(part) == [stock, fitted]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(STATES), st.sampled_from((None, "U-1", "U-2"))), max_size=12
    )
)
def test_no_order_of_moves_puts_a_part_on_two_units(
    store: Store, steps: list[tuple[str, str | None]]
) -> None:
    for tag in ("U-1", "U-2"):
        if not list(store.units.tags(tag, 1)):
            store.units.add(UnitRow(tag, store.now()))
    fresh = f"S-{len(store.parts.list()) + 1}"
    store.parts.add(PartRow(fresh, "invented", store.files.put(b"f"), store.now()))
    prove(store, fresh)
    held: str | None = None
    for state, unit in steps:
        try:
            move = store.shelf.move(fresh, state, unit)
        except Conflict:
            continue
        if held is not None and move.unit is not None:
            assert move.unit == held
        held = move.unit if state in ("reserved", "fitted") else None
        on = [u for u in ("U-1", "U-2") for m, _ in store.shelf.list(unit=u) if m.part == fresh]
        assert len(on) <= 1
