"""No bytes make anything of the reader of traces but a BadFile."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.problems import BadFile
from benchproof.network.files import read_family
from benchproof.reading.trace import open_trace

Spoil = Callable[[bytes], st.SearchStrategy[bytes]]

FAMILY = read_family(b"pins,P,R,N,D\nA-E,closed,open,open,open\nG-H,closed,open,closed,open\n", "c")
PLAIN = "# N = 43.2\nangle_deg,A-E,G-H\n-1.5,0.1,OL\n0,OL,0.25\n1.5,40e6,0.3\n"
TRACES = {
    "plain": PLAIN,
    "semicolons": PLAIN.replace(",", ";").replace(".", ","),
    "odd": 'angle_deg,A-E ohm,position\n-1,"1k2",P\n# remark\n2,,\n3,> 20M,d\n',
    "time": "# speed_deg_per_s = 12\n# start_deg = -10\ntime_s\tA-E\n0\t0.1\n0.1\tOL\n",
}


def read_or_refuse(data: bytes, size: int) -> int:
    """Return how many samples were read; 0 if the file was refused."""
    pieces = (data[at : at + size] for at in range(0, len(data), size))
    try:
        trace = open_trace(pieces, "sweep.csv", FAMILY)
        blocks = list(trace.blocks)
    except BadFile as error:
        refusal = error
    else:
        for block in blocks:
            assert np.isfinite(block.angle_deg).all()
            assert all(len(ohm) == len(block.angle_deg) for ohm in block.ohm)
            assert all(not (ohm < 0.0).any() for ohm in block.ohm)
        return sum(len(block.angle_deg) for block in blocks)
    assert 1 <= len(refusal.problems) <= 21
    for problem in refusal.problems:
        assert problem.sentence.isprintable()
        assert problem.sentence.endswith((".", "?"))
        assert len(problem.sentence) < 2500
    return 0


@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    assert read_or_refuse(data, 50) == 0


@given(st.text(max_size=300))
def test_any_text(text: str) -> None:
    assert read_or_refuse(text.encode(errors="replace"), 50) == 0


@pytest.mark.parametrize("name", sorted(TRACES))
@given(data=st.data())
def test_a_spoilt_trace(name: str, spoil: Spoil, data: st.DataObject) -> None:
    content = data.draw(spoil(TRACES[name].encode()))
    whole = read_or_refuse(content, 10_000)
    assert read_or_refuse(content, 13) == whole


@given(data=st.data())
def test_spoilt_lines_below_good_headings(spoil: Spoil, data: st.DataObject) -> None:
    head, body = PLAIN.encode()[:29], PLAIN.encode()[29:]
    read_or_refuse(head + data.draw(spoil(body)), 10_000)


def test_the_traces_are_good_before_they_are_spoilt() -> None:
    assert [read_or_refuse(text.encode(), 1000) for text in TRACES.values()] == [3, 3, 3, 2]
