"""People, customers, gear, units, cores, parts, conditions and files, on both engines."""

from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from hashlib import sha256

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import insert, update
from sqlalchemy.exc import StatementError

from benchproof.record import schema
from benchproof.record.problems import Conflict, NoSuch, RecordProblem, TagTaken
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.record.store import Store


def test_what_is_added_comes_back_as_it_was(store: Store) -> None:
    at = datetime(2026, 3, 2, 9, 30, 1, 123456, tzinfo=timezone(timedelta(hours=2)))
    family = store.files.put(b"an invented family")
    people = PersonRow("ÄB", "Änne Invented")
    customer = CustomerRow("K-1", "Invented Farm", "gate 3")
    gear = GearRow("M-1", "meter", family, date(2025, 3, 1), date(2026, 3, 1), "red leads")
    unit = UnitRow("U-1", at, "autobus", "K-1", "SN 1", "no reverse\nwhen hot", "17, 18", 412_000)
    core = CoreRow("C-1", at, "autobus", "owed", "the plug", "an ear", "wet")
    part = PartRow("S-1", "invented", family, at, "other", "C-1", bought=False, note="x")
    store.people.add(people)
    store.customers.add(customer)
    store.gear.add(gear)
    store.units.add(unit)
    store.cores.add(core)
    store.parts.add(part)
    assert store.people.get("ÄB") == people
    assert store.customers.get("K-1") == customer
    assert store.gear.get("M-1") == gear
    assert store.units.get("U-1") == unit
    assert store.cores.get("C-1") == core
    assert store.parts.get("S-1") == part
    assert store.parts.get("S-1").added.utcoffset() == timedelta(0)


def test_a_time_without_its_offset_is_refused(store: Store) -> None:
    with pytest.raises(StatementError, match="without its offset"):
        store.cores.add(CoreRow("C-1", datetime(2026, 3, 2, 9, 30)))


def test_a_meter_is_overdue_on_the_day_after(store: Store) -> None:
    store.gear.add(GearRow("M-1", "meter", due_on=date(2026, 3, 1)))
    store.gear.add(GearRow("M-2", "meter"))
    meter, undated = store.gear.list()
    assert not meter.overdue(date(2026, 3, 1))
    assert meter.overdue(date(2026, 3, 2))
    assert not undated.overdue(date(2099, 1, 1))


def test_a_tag_is_taken_once_only(store: Store, part: str) -> None:
    with pytest.raises(
        TagTaken, match=r"^S-1: there is a part of this name already; take another\.$"
    ):
        store.parts.add(replace(store.parts.get(part), note="other"))
    assert store.parts.get(part).note == ""


def test_what_a_row_names_must_be_there(store: Store, part: str) -> None:
    row = store.parts.get(part)
    with pytest.raises(NoSuch, match="'C-9': the archive has no core of this name"):
        store.parts.add(replace(row, tag="S-2", core="C-9"))
    with pytest.raises(NoSuch, match="no file of this name"):
        store.parts.add(replace(row, tag="S-2", family_file="0" * 64))
    with pytest.raises(NoSuch, match="no customer of this name"):
        store.units.add(UnitRow("U-1", store.now(), customer="K-9"))
    with pytest.raises(NoSuch, match="'S-9': the archive has no part of this name"):
        store.parts.get("S-9")


@pytest.mark.parametrize("tag", ["", "-1", "S.1", "a b", "é" * 41, "a\n", "a\0", "\ud800", "a'b"])
def test_a_bad_tag_gets_one_sentence(store: Store, tag: str) -> None:
    with pytest.raises(RecordProblem, match="is no tag for a person") as caught:
        store.people.add(PersonRow(tag, ""))
    assert str(caught.value).isprintable()
    assert store.people.list() == []


@pytest.mark.parametrize("text", ["a\0b", "\x1b[31m", "\ud800", "x" * 4001, "\u202e"])
def test_a_text_that_cannot_be_shown_gets_one_sentence(store: Store, text: str) -> None:
    with pytest.raises(RecordProblem, match=r"^name: ") as caught:
        store.people.add(PersonRow("AB", text))
    assert str(caught.value).isprintable()
    assert store.people.list() == []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(name=st.text(max_size=60))
def test_any_text_is_kept_or_refused(store: Store, name: str) -> None:
    initials = f"P{sha256(name.encode('utf-8', 'surrogatepass')).hexdigest()[:30]}"
    try:
        store.people.add(PersonRow(initials, name))
    except TagTaken:
        return
    except RecordProblem:
        assert not all(letter.isprintable() or letter in "\n\t" for letter in name)
        return
    assert store.people.get(initials).name == name


def test_lists_are_in_order_of_their_bytes_on_both_engines(store: Store) -> None:
    for initials in ("b", "A", "Z", "a-1", "a1", "ä", "a_1"):
        store.people.add(PersonRow(initials, ""))
    found = [row.initials for row in store.people.list()]
    assert found == sorted(found, key=str.encode) == ["A", "Z", "a-1", "a1", "a_1", "b", "ä"]
    assert [row.initials for row in store.people.list("a")] == ["a-1", "a1", "a_1"]
    assert list(store.people.tags("a", 2)) == ["a-1", "a1"]
    assert [row.initials for row in store.people.list(name="")] == found


def test_what_differs_is_told_once_and_in_order(store: Store, part: str) -> None:
    row = store.parts.get(part)
    other = store.files.put(b"another invented family")
    store.parts.add(replace(row, tag="S-2"))
    store.parts.add(replace(row, tag="S-3", family="harvest", family_file=other))
    found = [("harvest", other), (row.family, row.family_file)]
    assert list(store.parts.distinct("family", "family_file")) == found
    assert list(store.parts.distinct("family", family_file=other)) == [("harvest",)]
    assert list(store.parts.distinct("family", family_file="0" * 64)) == []


def test_a_part_is_bought_or_from_a_core_says_the_database(store: Store, part: str) -> None:
    store.cores.add(CoreRow("C-1", store.now()))
    row = replace(store.parts.get(part), tag="S-2", core="C-1", bought=True)
    with pytest.raises(Conflict, match="does not allow"):
        store.parts.add(row)


def test_files_are_found_by_their_content(store: Store) -> None:
    content = bytes(range(256))
    key = store.files.put(content)
    assert key == sha256(content).hexdigest()
    assert store.files.put(content) == key
    assert store.files.get(key) == content
    assert store.files.get(store.files.put(b"")) == b""
    with pytest.raises(NoSuch, match="no file of this name"):
        store.files.get("0" * 64)
    with pytest.raises(RecordProblem, match="too large"):
        store.files.put(bytes(5_000_001))


def test_an_altered_file_is_not_handed_out(store: Store) -> None:
    key = store.files.put(b"as it was")
    with store.database.writing() as connection:
        connection.execute(update(schema.files).values(content=b"as it is"))
    with pytest.raises(RecordProblem, match="was altered"):
        store.files.get(key)


def test_conditions_are_noted_of_cores_and_parts(store: Store, part: str) -> None:
    store.people.add(PersonRow("AB", ""))
    store.cores.add(CoreRow("C-1", store.now()))
    first = store.conditions.note(core="C-1", item="bent pins", grade="slight", by="AB")
    second = store.conditions.note(part=part, item="bent pins", grade="bad", remark="pin 3")
    third = store.conditions.note(core="C-1", item="bent pins", grade="sound")
    assert [row.number for row in (first, second, third)] == [1, 2, 3]
    assert store.conditions.list(core="C-1") == [first, third]
    assert store.conditions.list(part=part) == [second]
    with pytest.raises(NoSuch, match="no person of this name"):
        store.conditions.note(core="C-1", item="bent pins", grade="bad", by="ZZ")
    with pytest.raises(NoSuch, match="no photograph of this name"):
        store.conditions.note(core="C-1", item="bent pins", grade="bad", photograph="0" * 64)


def test_a_condition_is_of_a_core_or_of_a_part_says_the_database(store: Store) -> None:
    row = {"number": 1, "item": "bent pins", "grade": "bad", "at": store.now()}
    with (
        pytest.raises(Conflict, match="does not allow"),
        store.database.writing() as connection,
    ):
        connection.execute(insert(schema.conditions).values(row))
