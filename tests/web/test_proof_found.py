"""Edges, offsets and sweeps at the screen of a proof, in its record and by the API."""

from base64 import b64encode
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.web.test_proof_screen import opened

from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.geometry import Margins, geometry
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import OverRange, Reading
from benchproof.shipped.read import shipped_family, shipped_meter
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import sweep_of, write_trace

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.web.site import Site
FAMILY = shipped_family("valley-coded-7")


def trace(offset: float) -> bytes:
    """Return the trace of an invented part that is off by so many degrees."""
    part = SimulatedPart(geometry(FAMILY, Margins()), offset, (), True, PartVerdict.REALIGN, False)
    pairs = [row.pair for row in FAMILY.chart]
    made = sweep_of(part, FAMILY, pairs, np.random.default_rng(7), zero_deg=11.0)
    return write_trace(made, FAMILY, ("P", "N")).encode()


def off_readings() -> list[Reading]:
    """Return what a part reads that is 5 degrees off, whichever way."""
    lost = {("P", ("G", "H")), ("N", ("G", "H")), ("R", ("J", "K"))}
    return [
        replace(one, value=OverRange()) if (one.position, one.pair) in lost else one
        for one in ideal_readings(FAMILY, shipped_meter())
    ]


@pytest.fixture
def tag(site: "Site") -> str:
    return opened(site)


EDGE = {
    "position": "N", "pins": "g-h", "angle": "3,2", "u": "0.2", "below": "0.1", "above": "OL",
    "turned": "up",
}  # fmt: skip


def test_an_edge_and_an_offset_are_recorded_from_the_screen(
    screen: "Screen", site: "Site", tag: str
) -> None:
    page = screen.get(f"/proof/{tag}").text
    assert "wheels chocked" in page
    assert "Record the sweep" in page
    assert screen.post(f"/proof/{tag}/edge", **EDGE).status == 303
    assert screen.post(f"/proof/{tag}/offset", offset="-1.4", u="0.2", how="").status == 303
    state = site.works.standing(tag).state
    assert [one.told for one in state.noted] == [
        "edge of G-H at +3.2 deg from N, u 0.2: 0.1 ohm below, OL above, turned up",
        "the marks: -1.4 deg, u 0.2",
    ]
    assert state.noted[0].told in screen.get(f"/proof/{tag}").text
    screen.post(f"/proof/{tag}/undo", seq=f"{state.seq}", kind="wrong key", reason="typed wrong")
    record = screen.get(f"/proofs/{tag}").text
    assert "Edges, offsets, sweeps" in record
    assert "<s>the marks: -1.4 deg, u 0.2</s>" in record
    assert "withdrawn as wrong key" in record


@pytest.mark.parametrize(
    ("what", "typed", "why"),
    [
        ("edge", {**EDGE, "angle": "far"}, "Type where the edge is, a number such as 3.2."),
        ("edge", {**EDGE, "u": "0"}, "its u must be"),
        ("edge", {**EDGE, "above": "0.1"}, "reads the same below and above"),
        ("offset", {"offset": "", "u": "1"}, "Type the offset, a number such as 3.2."),
        ("sweep", {}, "Choose the sweep&#39;s file first."),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(
    screen: "Screen", site: "Site", tag: str, what: str, typed: dict[str, str], why: str
) -> None:
    before = site.works.standing(tag).state.seq
    answer = screen.post(f"/proof/{tag}/{what}", **typed)
    assert answer.status == 409
    assert why in answer.text
    assert site.works.standing(tag).state.seq == before


def test_a_sweep_is_uploaded_kept_and_shown(screen: "Screen", site: "Site", tag: str) -> None:
    files = {"sweep": ("sweep.csv", trace(5.0), "text/csv")}
    sent = screen.client.post(f"/proof/{tag}/sweep", data={"token": screen.token}, files=files)
    assert sent.status_code == 303
    state = site.works.standing(tag).state
    assert len(state.as_left.evidence.edges) == 20
    assert "sweep of 5120 points, sweep.csv" in screen.get(f"/proofs/{tag}").text
    diagnosis = state.as_left.diagnosis
    assert diagnosis is not None
    assert diagnosis.offset is not None
    ((low, high),) = diagnosis.offset.intervals95
    assert low < 5.0 < high


def test_a_program_does_the_same(screen: "Screen", site: "Site", tag: str) -> None:
    def done(what: str, body: dict[str, object]) -> dict[str, list[dict[str, object]]]:
        answer = screen.client.post(f"/api/proofs/{tag}/{what}", json=body)
        assert answer.status_code == 201, answer.text
        told: dict[str, list[dict[str, object]]] = answer.json()
        return told

    edge = {"position": "N", "pins": "G-H", "angle": 3.2, "u": 0.2, "below": "0.1", "above": "OL"}
    assert len(done("edges", edge)["edges"]) == 1
    assert done("offsets", {"offset": -1.4, "u": 0.2})["offsets"][0]["how"] == "the marks"
    content = b64encode(trace(5.0)).decode()
    (sweep,) = done("sweeps", {"content": content, "name": "sweep.csv"})["sweeps"]
    assert sweep["cells"] == 42
    reading = {"position": "P", "pins": "A-E", "value": "0.1", "part_c": 80.0, "part_c_u": 2.0}
    (read,) = done("readings", reading)["readings"]
    assert isinstance(read["conditions"], dict)
    assert read["conditions"]["part_c"] == 80.0


def test_a_closed_proof_takes_nothing_more(screen: "Screen", tag: str) -> None:
    screen.post(f"/proof/{tag}/close", outcome="abandoned")
    for what, typed in (("edge", EDGE), ("offset", {"offset": "1", "u": "1"})):
        answer = screen.post(f"/proof/{tag}/{what}", **typed)
        assert answer.status == 409
        assert "closed as abandoned" in answer.text


def test_edges_of_the_align_page_go_into_the_open_proof(
    screen: "Screen", site: "Site", tag: str
) -> None:
    key = site.works.standing(tag).state.opened.family_file
    rows = (("13.1", "up", "closed", ""), ("12.9", "down", "open", "D"),
            ("21.1", "up", "open", ""), ("20.9", "down", "closed", ""))  # fmt: skip
    page = f"/align/{key}"
    for scale, turned, became, toward in rows:
        lean = f" toward {toward}" if toward else ""
        typed = {"e-position": "N", "e-pins": "G-H", "edge": f"{scale} {turned} {became}{lean}"}
        assert screen.post(page, part="T-1", do="edge", **typed).status == 303
    lacking = screen.post(page, part="T-1", do="carry")
    assert lacking.status == 409
    assert "what the scale read before the body was turned" in lacking.text
    screen.post(page, part="T-1", do="found", found_at="20")
    assert f"Record the edges in {tag}" in screen.get(f"{page}?part=T-1").text
    carried = screen.post(page, part="T-1", do="carry")
    assert (carried.status, carried.to) == (303, f"/proof/{tag}")
    state = site.works.standing(tag).state
    assert len(state.as_left.evidence.edges) == 4
    found = state.as_left.diagnosis
    assert found is not None
    assert found.offset is not None
    ((low, high),) = found.offset.intervals95
    assert low < 3.0 < high, "planted: 3 degrees ahead"
