"""The table of edges: what is read, and every mistake with its place."""

import io
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from benchproof.align.edges import Approach, read_edges, rises_with_offset
from benchproof.align.window import Window, shape_of, window_of
from benchproof.family.problems import BadFile
from benchproof.shipped.read import shipped_family, shipped_priors

GOOD = """position,pins,scale,turned,became,toward
N,G-H,12.5,up,closed,
N,G-H,20.5,up,open,D
N,G-H,20.0,down,closed,
N,G-H,12.0,down,open,
"""


def window_for(name: str) -> Window:
    priors = shipped_priors(name)
    return window_of(shape_of(shipped_family(name), priors), priors)


VALLEY = window_for("valley-coded-7")


def read(text: str | bytes) -> tuple[Approach, ...]:
    return read_edges(text.encode() if isinstance(text, str) else text, "e.csv", VALLEY)


def sentences(text: str | bytes) -> list[str]:
    with pytest.raises(BadFile) as refused:
        read(text)
    return str(refused.value).splitlines()


def test_each_row_is_one_approach_in_file_order() -> None:
    found = read(GOOD)
    assert found[1] == Approach(
        "N", ("G", "H"), 20.5, rising=True, closed=False, toward="D", place="line 3 column 1"
    )
    assert [a.at_lower for a in found] == [True, False, False, True]


def test_columns_in_any_order_two_pin_columns_other_words_and_a_decimal_comma() -> None:
    text = (
        "# found on Tuesday\n"
        "Direction;Change;Pin 1;Pin 2;Lever;Reading;Notes\n"
        'rising;c;h;g;n;"12,5";first\nrising;opened;G;H;N;20,5;\n;;;;N;;not yet found\n'
    )
    found = read(text)
    assert [(a.pair, a.scale, a.closed) for a in found] == [
        (("G", "H"), 12.5, True),
        (("G", "H"), 20.5, False),
    ]


def test_a_workbook_reads_the_same() -> None:
    book = Workbook()
    assert book.active is not None
    for line in GOOD.splitlines():
        book.active.append([float(x) if x[:1].isdigit() else x for x in line.split(",")])
    data = io.BytesIO()
    book.save(data)
    assert [a.scale for a in read(data.getvalue())] == [12.5, 20.5, 20.0, 12.0]


def test_a_lean_that_closes_the_pair_tells_which_way_the_scale_runs() -> None:
    """A lean to a later position adds to the offset, so it closes where the offset was too low."""
    family = VALLEY.family
    upper = Approach("N", ("G", "H"), 20.5, rising=True, closed=False, toward="D")
    assert rises_with_offset(upper, family) is False
    lower = Approach("N", ("G", "H"), 12.5, rising=False, closed=False, toward="D")
    assert rises_with_offset(lower, family) is True
    before = Approach("N", ("G", "H"), 20.5, rising=True, closed=False, toward="R")
    assert rises_with_offset(before, family) is True
    untold = Approach("N", ("G", "H"), 20.5, rising=True, closed=False)
    assert rises_with_offset(untold, family) is None


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("scale", "angle", "line 1 column 3: 'angle' is no heading; headings are position, pins,"),
        ("turned", "scale", "line 1 column 4: is a second column headed 'scale'; keep one."),
        ("became", "note", "line 1 column 1: begins a table without 'became'; its first row is"),
        ("N,G-H,12.5", "X,G-H,12.5", "line 2 column 1: 'X' is no position of this family"),
        ("N,G-H,12.5", "N,G-Q,12.5", "line 2 column 2: 'Q' is no pin of this family"),
        ("N,G-H,12.5", "N,G-A,12.5", "line 2 column 2: G-A is not in the chart; watch a pair"),
        ("12.5,up", "nan,up", "line 2 column 3: 'nan' is no reading of a scale; type a number."),
        ("12.5,up", "inf,up", "line 2 column 3: 'inf' is no reading of a scale; type a number."),
        ("12.5,up", "1e99,up", "line 2 column 3: '1e99' is further than any scale goes"),
        ("12.5,up", '"1,250",up', "line 2 column 3: '1,250' could be 1.250 or 1250; type one"),
        ("12.5,up", "12.5,left", "line 2 column 4: 'left' does not tell; type up or down, as"),
        ("12.5,up", "12.5,", "line 2 column 4: does not tell; type up or down, as the scale"),
        ("up,closed", "up,270", "line 2 column 5: '270' does not tell; type closed or open."),
        ("up,open,D", "up,open,1", "line 3 column 6: names 1, which is not next to N; name the"),
        ("up,open,D", "up,open,D,5", "line 3 column 7: '5' stands under no heading; a decimal"),
        ("down,open,", "down,open,D", "line 5 column 1: says by 'toward' that the scale turns"),
    ],
)  # fmt: skip
def test_each_mistake_gets_its_place_and_a_sentence(old: str, new: str, told: str) -> None:
    assert GOOD.count(old) == 1, old
    assert sentences(GOOD.replace(old, new))[0].startswith(f"e.csv, {told}")


def test_a_dwell_with_one_edge_is_refused() -> None:
    lines = GOOD.splitlines()
    one = "\n".join([lines[0], lines[1], lines[4]])
    assert sentences(one) == [
        "e.csv, line 2 column 1: begins G-H in N, of which one edge only was found; turn back "
        "until the pair changes on the other side too."
    ]


def test_columns_taken_the_wrong_way_round_are_noticed() -> None:
    swapped = GOOD.replace("up", "x").replace("down", "up").replace("x", "down")
    assert "closes above where it opens" in sentences(swapped)[0]


@pytest.mark.parametrize("cell", ["D,G-H", "P,J-K", "P,C-E"])
def test_a_pair_that_must_be_open_there_cannot_be_watched(cell: str) -> None:
    assert "is not a pair that conducts there" in sentences(GOOD.replace("N,G-H", cell))[0]


@pytest.mark.parametrize("data", [b"", b"\n", b"position,pins,scale,turned,became\n", b"\xff\xfe"])
def test_an_empty_file_or_no_text_is_refused(data: bytes) -> None:
    assert len(sentences(data)) == 1


@settings(max_examples=300)
@given(st.data())
def test_a_spoilt_file_is_read_or_refused_in_sentences(
    spoil: Callable[[bytes], st.SearchStrategy[bytes]], data: st.DataObject
) -> None:
    content = data.draw(spoil(GOOD.encode()))
    told = ""
    try:
        assert read(content)
    except BadFile as error:
        told = str(error)
    assert all(line.isprintable() for line in told.splitlines())
