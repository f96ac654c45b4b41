"""Reading sweep traces: every form that is told in docs/traces.md, and every mistake."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.problems import BadFile, Problems
from benchproof.network.files import read_family
from benchproof.reading.trace import Trace, open_trace
from benchproof.reading.tracerows import Columns, PlainReader, quick_samples

FAMILY = read_family(b"pins,P,R,N,D\nA-E,closed,open,open,open\nG-H,closed,open,closed,open\n", "c")
PLAIN = b"angle_deg,A-E,G-H\n-1.5,0.1,OL\n0,OL,0.25\n"


def trace(data: bytes, size: int = 1 << 20) -> Trace:
    pieces = (data[at : at + size] for at in range(0, len(data), size))
    return open_trace(pieces, "sweep.csv", FAMILY)


def samples(data: bytes, size: int = 1 << 20) -> list[list[float]]:
    """Return angle and ohms of each sample."""
    read = trace(data, size)
    blocks = [np.column_stack([b.angle_deg, *b.ohm]) for b in read.blocks]
    return [[float(x) for x in row] for block in blocks for row in block]


def refused(data: bytes) -> str:
    with pytest.raises(BadFile) as caught:
        samples(data)
    return str(caught.value)


def test_plain_lines() -> None:
    assert trace(PLAIN).pairs == (("A", "E"), ("G", "H"))
    assert samples(PLAIN) == [[-1.5, 0.1, np.inf], [0.0, np.inf, 0.25]]


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.replace(b"\n", b"\r\n"),
        PLAIN.rstrip(b"\n"),
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN.replace(b",", b";"),
        PLAIN.replace(b",", b"\t"),
        PLAIN.replace(b",", b";").replace(b".", b","),
        PLAIN.replace(b",", b", "),
        PLAIN.replace(b"0.25", b'"0,25"'),
        PLAIN.replace(b"0.25", b"+2.5E-01").replace(b"0.1", b"1.0e-1"),
        PLAIN.replace(b"OL", b"0L"),
        PLAIN.replace(b"OL", b"inf"),
        PLAIN.replace(b"OL", b"> 40 Mohm"),
        PLAIN.replace(b"0.25", b"250 mohm"),
        PLAIN.replace(b"0.1", b"100").replace(b"A-E", b"A-E (mohm)"),
        PLAIN.replace(b"\n0,", b"\n# a remark\n\n0,"),
        b"# logged in the depot\n\n" + PLAIN,
        PLAIN.replace(b"angle_deg", b"Angle (deg)").replace(b"A-E", b"a to e"),
    ],
)
def test_other_spellings_of_the_same(data: bytes) -> None:
    assert samples(data) == [[-1.5, 0.1, np.inf], [0.0, np.inf, 0.25]]


@pytest.mark.parametrize("size", [1, 2, 7, 30])
def test_whole_or_in_pieces(size: int) -> None:
    assert samples(PLAIN, size) == samples(PLAIN)


def test_an_empty_cell_was_not_read_and_is_not_open() -> None:
    rows = samples(b"angle_deg,A-E,G-H\n1,,0.2\n2,0.1,\n")
    assert np.isnan(rows[0][1])
    assert np.isnan(rows[1][2])
    assert rows[0][2] == 0.2


def test_a_little_below_zero_is_zero() -> None:
    for ohm in (b"-0.02", b'"-0.02"'):
        assert samples(PLAIN.replace(b"0.25", ohm))[1][2] == 0.0


def test_time_at_constant_speed() -> None:
    text = b"# speed_deg_per_s = -4\n# start_deg = 60\ntime_s,A-E\n10,1\n10.5,OL\n12,2\n"
    assert [row[0] for row in samples(text)] == [60.0, 58.0, 52.0]


def test_remarks_place_detents() -> None:
    read = trace(b"# N = 43,2 deg\n# p = 3\n# remark = 7\n# scale = family\n" + PLAIN)
    assert read.noted_deg == {2: 43.2, 0: 3.0}
    assert read.own_scale


def test_a_column_tells_where_the_lever_rests() -> None:
    (block,) = trace(b"angle_deg,position,A-E\n1,,OL\n2,n,OL\n3,D,0.1\n").blocks
    assert block.rest is not None
    assert block.rest.tolist() == [-1, 2, 3]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"# only a remark\n", "is empty"),
        (b"angle_deg,A-E\n", "no sample below"),
        (b"A-E,G-H\n1,2\n", "one column headed 'angle_deg'"),
        (b"angle_deg,time_s,A-E\n1,2,3\n", "one column headed 'angle_deg'"),
        (b"angle_deg\n1\n", "names no pair"),
        (b"angle_deg,A-X\n1,2\n", "'X' is no pin of this family"),
        (b"angle_deg,A-E,E-A\n1,2,3\n", "two columns for E-A"),
        (b"angle_deg,A-E,position,lever\n1,2,,\n", "two columns headed 'position'"),
        (b"time_s,A-E\n1,2\n", "time without a speed"),
        (b"# speed_deg_per_s = fast\ntime_s,A-E\n1,2\n", "line 1: says 'fast'"),
        (b"# N = nan\nangle_deg,A-E\n1,2\n", "line 1: says 'nan'"),
        (b"# N = 1\n# N = 2\nangle_deg,A-E\n1,2\n", "line 2: places N again"),
        (b"# scale = mine\nangle_deg,A-E\n1,2\n", "names the scale 'mine'"),
        (b"# speed_deg_per_s = 1\ntime_s,A-E\n1,2\n1,2\n", "line 4: has a time that is not after"),
        (b"angle_deg,A-E\n1,2\n2,x\n", "line 3 column 2: 'x' is no reading"),
        (b"angle_deg,A-E\n1,2\n2,nan\n", "line 3 column 2: 'nan' is no reading"),
        (b"angle_deg,A-E\n1,2\n2,closed\n", "line 3 column 2: 'closed' is a mark"),
        (b"angle_deg,A-E\n1,2\n2,-5\n", "below zero"),
        (b"angle_deg,A-E\n1,2\nOL,2\n", "line 3: has 'OL' for its angle"),
        (b"angle_deg,A-E\n1,2\nnan,2\n", "line 3: has 'nan' for its angle"),
        (b"angle_deg,A-E\n1,2\n9999,2\n", "line 3: is at an angle that no lever reaches"),
        (b"angle_deg,A-E\n1,2\n2\n", "line 3: has 1 cells where the headings have 2"),
        (b"angle_deg,A-E\n1,2\n2,3,4\n", "line 3: has 3 cells where the headings have 2"),
        (b"angle_deg,A-E\n1,0,3\n", "a decimal comma needs quotes"),
        (b'angle_deg,A-E\n1,"2\n', "line 2: has a quote without its partner"),
        (b"angle_deg,position,A-E\n1,X,2\n", "names the position 'X'"),
        (b"angle_deg,A-E\n1,2\n\xff,3\n", "line 3: is not UTF-8"),
        (b"\xffangle_deg,A-E\n1,2\n", "line 1: is not UTF-8"),
        (b"angle\0deg,A-E\n1,2\n", "line 1: is not text"),
        (b"PK\x03\x04angle_deg", "is a workbook"),
        (b"a" * 200_000, "line far too long"),
    ],
)
def test_a_mistake_is_one_clear_sentence(data: bytes, told: str) -> None:
    assert told in refused(data)


COLUMNS = Columns(3, ",", 0, False, None, (1, 2), (1.0, 1.0), ("P", "R", "N", "D"))
CELL = st.one_of(
    st.just("OL"),
    st.floats(0.0, 1e9).map(repr),
    st.floats(0.0, 1e4).map(lambda x: f"{x:.3f}"),
    st.integers(0, 10**8).map(str),
    st.sampled_from(["", "inf", "0.", ".5", "1e3", "-0.05", "0L", " 3", '"4"', "1_0", "nan", "-7"]),
)


@given(st.lists(st.tuples(st.floats(-90, 90).map(repr), CELL, CELL), min_size=1, max_size=8))
def test_the_quick_way_reads_as_the_plain_one_or_leaves_it(
    rows: list[tuple[str, str, str]],
) -> None:
    """Whatever the quick way takes, it takes for just what the plain way does."""
    piece = "".join(",".join(row) + "\n" for row in rows).encode()
    quick = quick_samples(piece, 1, COLUMNS)
    if quick is not None:
        plain = PlainReader(COLUMNS, Problems("x")).samples(piece, 1)
        assert plain is not None
        assert list(quick.line) == list(plain.line)
        for a, b in zip((quick.scale, *quick.ohm), (plain.scale, *plain.ohm), strict=True):
            np.testing.assert_array_equal(a, b)


def test_the_quick_way_takes_what_a_logger_writes() -> None:
    assert quick_samples(b"-1.5,0.1,OL\n0,OL,0.25\n", 1, COLUMNS) is not None
    assert quick_samples(b"-1.5,0.1,OL\n0,,0.25\n", 1, COLUMNS) is None
