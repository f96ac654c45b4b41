"""Which readings of a proof share a visit: what a person does between two readings decides it."""

from benchproof.proof.events import LeverAt, ReadingSource, ReadingTaken, Remarked
from benchproof.proof.taking import visit_of

AT = "2026-03-02T14:05:09+01:00"
CELL = "D", ("G", "H")


def taken(
    again: bool = False, lean: str = "", source: ReadingSource = ReadingSource.TYPED
) -> ReadingTaken:
    return ReadingTaken(AT, "ab", *CELL, "0.1", lean=lean, again=again, source=source)


def test_repeats_without_setting_the_probes_anew_are_one_visit() -> None:
    first, second = taken(), taken()
    assert visit_of(first, []) == 1
    assert visit_of(second, [first]) == 1
    assert visit_of(taken(), [first, second, Remarked(AT, "ab", "dim light")]) == 1


def test_probes_set_anew_or_a_lever_moved_begin_a_visit() -> None:
    assert visit_of(taken(again=True), [taken()]) == 2
    assert visit_of(taken(), [taken(), taken(again=True)]) == 2
    assert visit_of(taken(), [taken(), LeverAt(AT, "ab", "D")]) == 3
    assert visit_of(taken(lean="N"), [taken()]) == 2
    assert visit_of(taken(), [taken(lean="N")]) == 2


def test_another_cell_in_between_begins_a_visit() -> None:
    other = ReadingTaken(AT, "ab", "D", ("J", "K"), "OL")
    assert visit_of(taken(), [taken(), other]) == 3


def test_a_sheet_does_not_tell_its_visits() -> None:
    assert visit_of(taken(source=ReadingSource.SHEET), [taken(source=ReadingSource.SHEET)]) == 0
    assert visit_of(taken(), [taken(source=ReadingSource.SHEET)]) == 2
