"""Aligning at the bench: as the command centres, step by step, and after tightening."""

import pytest

from benchproof.align.centring import centre
from benchproof.align.edges import read_edges
from benchproof.align.practice import scale_of
from benchproof.align.window import shape_of
from benchproof.conduct.aligning import (
    Aligning,
    Typed,
    aligning,
    check_row,
    decode,
    encode,
    number_of,
)
from benchproof.conduct.families import window_read
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_priors

NAME = "valley-coded-7"
CONTENT = shipped_bytes("families", NAME)
ROWS = (
    ("N", "G-H", "8.1", "up", "closed", ""),
    ("N", "G-H", "7.9", "down", "open", ""),
    ("N", "G-H", "16.1", "up", "open", ""),
    ("N", "G-H", "15.9", "down", "closed", ""),
)


def standing(typed: Typed) -> Aligning:
    return aligning(NAME, CONTENT, NAME, typed)


def with_rows(rows: tuple[tuple[str, ...], ...]) -> Typed:
    typed = Typed()
    for row in rows:
        typed = typed.with_edge(row)
    return typed


def test_it_centres_as_the_command_does() -> None:
    found = standing(with_rows(ROWS)).centring
    assert found is not None
    window = window_read(CONTENT, NAME)
    table = "position,pins,scale,turned,became,toward\n" + "\n".join(map(",".join, ROWS))
    known = shipped_priors(NAME)
    shape = shape_of(window.family, known)
    approaches = read_edges(table.encode(), "edges.csv", window)
    same = centre(window, shape, approaches, scale_of("deg", window.family))
    assert found.set_at == same.set_at
    assert found.set_sd == same.set_sd
    # The dwell of 8 deg was found from 8 to 16 on the scale: its middle is 12.
    assert found.set_at == pytest.approx(12.0, abs=0.2)


def test_each_edge_but_the_last_leaves_something_to_do() -> None:
    assert standing(Typed()).missing == ()
    one = standing(with_rows(ROWS[:1]))
    assert one.centring is None
    assert one.missing
    assert standing(with_rows(ROWS)).missing == ()
    assert with_rows(ROWS).without_last().rows == ROWS[:3]


def test_how_far_it_still_is() -> None:
    typed = with_rows(ROWS)
    for now, left in (("10", 2.0), ("13,5", -1.5)):
        to_go = standing(Typed(rows=typed.rows, now=now)).to_go
        assert to_go == pytest.approx(left, abs=0.2)
    assert standing(typed).to_go is None
    ends = standing(typed).ends
    assert ends is not None
    # A window of 8 deg about the middle.
    assert ends[1] - ends[0] == pytest.approx(8.0, rel=0.05)


@pytest.mark.parametrize(
    ("after", "by", "inside"), [("12", 0.0, True), ("14.5", 2.5, True), ("17", 5.0, False)]
)
def test_what_tightening_did(after: str, by: float, inside: bool) -> None:
    crept = standing(Typed(rows=with_rows(ROWS).rows, set_at=12.0, after=after)).crept
    assert crept is not None
    assert crept.by == pytest.approx(by)
    assert crept.inside is inside


def test_a_row_that_cannot_be_is_told_by_itself() -> None:
    window = window_read(CONTENT, NAME)
    for row in ROWS:
        assert check_row(window, row) == ""
    assert "is no number" in check_row(window, ("N", "G-H", "x", "up", "closed", ""))
    assert "G-H" in check_row(window, ("D", "G-H", "1", "up", "closed", ""))
    assert check_row(window, ("N", "G-H", "1", "up", "closed", "1"))


def test_what_was_typed_survives_as_text() -> None:
    typed = Typed("mm", ROWS, "3", 4.5, "6")
    assert decode(encode(typed)) == typed
    for spoilt in ("", "{", "[]", '{"scale":"ells"}', '{"rows":[["a"]]}', '{"now":1}'):
        assert decode(spoilt) == Typed()


@pytest.mark.parametrize("text", ["", "x", "nan", "inf", "1e99", "1 2"])
def test_what_no_scale_shows_is_no_number(text: str) -> None:
    assert number_of(text) is None
    assert number_of("−2,5") == -2.5
