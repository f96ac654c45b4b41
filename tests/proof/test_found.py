"""Edges, measured offsets and sweeps in a proof: told, withdrawn, folded into the evidence."""

from dataclasses import replace

import numpy as np
import pytest
from tests.proof.conftest import AT, SMALL, Making

from benchproof.conduct.front import load_family
from benchproof.diagnose.verdict import PartVerdict
from benchproof.judge.cell import Result
from benchproof.network.branches.base import Dwell
from benchproof.network.branches.contact import Contact
from benchproof.network.geometry import Margins, geometry
from benchproof.proof.closing import closing
from benchproof.proof.codec import decode, encode, files_of
from benchproof.proof.events import (
    BodyTurned,
    EdgeFound,
    Event,
    Mistake,
    OffsetMeasured,
    ProofOutcome,
    ReadingTaken,
    SweepTaken,
    Turned,
)
from benchproof.proof.otherproofs import said_to_others
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold
from benchproof.reading.evidence import MeasuredOffset
from benchproof.reading.value import Measured, OverRange
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import Logger, sweep_of, write_trace

EDGE = EdgeFound(AT, "ab", "N", ("G", "H"), 3.0, 0.2, "0.1", "OL", 1, 0.3, Turned.UP)
MARKS = OffsetMeasured(AT, "ab", 1.4, 0.2, "the marks")
VALLEY = load_family("valley-coded-7")


def part_of(offset: float) -> SimulatedPart:
    """Return an invented part that is good but for its offset."""
    shape = geometry(VALLEY, Margins())
    return SimulatedPart(
        shape, offset, (), explained=True, verdict=PartVerdict.ACCEPT, hazard=False
    )


def trace(offset: float, noted: tuple[str, ...] = ("P", "N"), **logger: float) -> bytes:
    """Return the trace of an invented part, its detents noted above it."""
    rng = np.random.default_rng(7)
    pairs = [row.pair for row in VALLEY.chart]
    made = sweep_of(part_of(offset), VALLEY, pairs, rng, Logger(**logger), zero_deg=11.0)  # type: ignore[arg-type]
    return write_trace(made, VALLEY, noted).encode()


def sweep(making: Making, content: bytes, **more: str) -> SweepTaken:
    return SweepTaken(AT, "ab", making.put(content), "sweep.csv", **more)


@pytest.fixture(scope="module")
def swept(making: Making) -> State:
    """Return a proof whose only evidence is a sweep of a part 3 degrees off."""
    return making.shipped().after(sweep(making, trace(3.0)))


@pytest.mark.parametrize("event", [EDGE, MARKS, SweepTaken(AT, "ab", "0" * 64, "x.csv")])
def test_what_is_found_reads_back_as_it_was_written(event: Event) -> None:
    assert decode(encode(event)) == event


@pytest.mark.parametrize(
    "event",
    [replace(EDGE, u=0.0), replace(EDGE, angle=1e9), replace(MARKS, u=0.0), replace(MARKS, how="")],
)
def test_what_cannot_be_is_not_kept(event: Event) -> None:
    with pytest.raises(ProofProblem, match="cannot be kept"):
        encode(event)


def test_a_reading_without_conditions_is_the_same_bytes_as_ever() -> None:
    plain = ReadingTaken(AT, "ab", "P", ("A", "E"), "0.1")
    assert encode(plain) == (
        b'{"again":false,"at":"2026-03-02T14:05:09+01:00","by":"ab","event":"reading","lean":"",'
        b'"note":"","pair":["A","E"],"position":"P","source":"typed","value":"0.1"}'
    )
    warm = replace(plain, part_c=80.0, part_c_u=2.0, supply_v=12.0)
    assert decode(encode(warm)) == warm


def test_conditions_reach_the_reading_and_its_words(making: Making) -> None:
    warm = ReadingTaken(AT, "ab", "P", ("A", "E"), "0.1", part_c=80.0, part_c_u=2.0)
    taken = making.started(SMALL).after(warm).as_left.taken[-1]
    assert (taken.reading.conditions.part_c, taken.reading.conditions.part_c_u) == (80.0, 2.0)
    assert taken.told == "A-E in P at 80 °C, u 2, 0.1 ohm"


def test_an_edge_and_an_offset_stand_in_the_evidence(making: Making) -> None:
    state = making.followed(making.shipped(), EDGE, MARKS)
    found = state.as_left.evidence
    (edge,) = found.edges
    assert (edge.position, edge.pair, edge.at, edge.u) == ("N", ("G", "H"), 3.0, 0.2)
    assert (edge.series, edge.zero_u) == (1, 0.3)
    assert isinstance(edge.below, Measured)
    assert isinstance(edge.above, OverRange)
    assert found.offsets == (MeasuredOffset(1.4, 0.2, "the marks"),)
    assert [one.told for one in state.noted] == [
        "edge of G-H at +3 deg from N, u 0.2: 0.1 ohm below, OL above, turned up",
        "the marks: +1.4 deg, u 0.2",
    ]


@pytest.mark.parametrize(
    ("event", "why"),
    [
        (replace(EDGE, position="X"), "'X' is no position"),
        (replace(EDGE, pair=("G", "Q")), "'Q' is no pin"),
        (replace(EDGE, pair=("G", "G")), "names one pin twice"),
        (replace(EDGE, above="0.1"), "reads the same below and above"),
        (replace(EDGE, below="what"), "is no reading"),
    ],
)
def test_an_edge_that_cannot_be_is_refused_in_a_sentence(
    making: Making, event: EdgeFound, why: str
) -> None:
    with pytest.raises(ProofProblem, match=why):
        making.shipped().after(event)


def test_what_is_withdrawn_ceases_to_count_and_stays_told(making: Making) -> None:
    state = making.followed(making.shipped(), EDGE, MARKS)
    gone = state.after(making.withdrawn(3, "on the wrong pair", Mistake.WRONG_CELL))
    assert gone.as_left.evidence.edges == ()
    assert gone.as_left.evidence.offsets != ()
    assert gone.withdrawn_told == (
        "Edge 3 (edge of G-H at +3 deg from N, u 0.2: 0.1 ohm below, OL above, turned up) "
        "withdrawn as wrong cell by ab: on the wrong pair",
    )
    with pytest.raises(ProofProblem, match=r"Edge 3 .* was withdrawn before"):
        gone.after(making.withdrawn(3))


def test_what_was_withdrawn_without_a_kind_can_be_told_one(making: Making) -> None:
    state = making.followed(making.shipped(), EDGE, making.withdrawn(3, "so", Mistake.OTHER))
    again = state.after(making.withdrawn(3, "typed wrong", Mistake.WRONG_KEY))
    (told,) = again.withdrawn_told
    assert told.endswith("withdrawn as wrong key by ab: typed wrong")


def test_a_turn_of_the_body_leaves_edges_as_found(making: Making) -> None:
    state = making.followed(making.shipped(), EDGE, BodyTurned(AT, "ab"))
    assert len(state.as_found.evidence.edges) == 1
    assert state.as_left.evidence.edges == ()


def test_the_meter_is_chosen_before_an_edge_is_read_with_it(making: Making) -> None:
    state = making.shipped().after(EDGE)
    with pytest.raises(ProofProblem, match="taken with another meter"):
        state.after(making.meter())
    marked = making.shipped().after(MARKS)
    assert marked.after(making.meter()).meter_chosen is not None


def test_a_sweep_reads_the_cells_that_it_goes_over(swept: State) -> None:
    """Planted: the part is 3 degrees off, of a window of 4, so each cell reads as the chart."""
    left = swept.as_left
    assert len(left.taken) == len(VALLEY.chart) * len(VALLEY.positions)
    assert all(one.swept and one.seq == 3 for one in left.taken)
    assert {one.reading.visit for one in left.taken} == {3}
    results = {cell.outcome.result for cell in left.judgement.cells}
    assert results <= {Result.PASS, Result.MISSING}


def test_a_sweep_finds_the_edges_that_were_planted(swept: State) -> None:
    """Planted: the moving part leads by 3 degrees, so each edge comes 3 degrees early."""
    edges, detents = swept.as_left.evidence.edges, VALLEY.detents_deg
    assert len(edges) > 10
    assert detents is not None
    for edge in edges:
        detent = detents[VALLEY.positions.index(edge.position)]
        ends = [
            end - 3.0 - detent
            for one in VALLEY.branches
            if isinstance(one, Contact) and edge.pair[0] in one.ends
            for dwell in one.dwells
            for end in (dwell.from_deg, dwell.to_deg)
        ]
        spread = (edge.u**2 + edge.zero_u**2) ** 0.5
        assert min(abs(edge.at - end) for end in ends) < 3.0 * spread
        assert edge.series == 3


def test_a_sweep_alone_never_shows_a_permit_open_twice(swept: State) -> None:
    assert "start-permit-twice" in [one.name for one in swept.objections]


def test_a_sweep_is_kept_whole_and_folds_to_the_same(making: Making, swept: State) -> None:
    event = swept.events[-1]
    assert files_of(event) == (event.file,)  # type: ignore[union-attr]
    again = fold(swept.events, making.files)
    assert again.as_left.evidence == swept.as_left.evidence
    lost = {key: data for key, data in making.files.items() if key not in files_of(event)}
    with pytest.raises(ProofProblem, match="is missing"):
        fold(swept.events, lost)


def test_a_sweep_is_withdrawn_whole(making: Making, swept: State) -> None:
    gone = swept.after(making.withdrawn(3, "swept the wrong part", Mistake.WRONG_CELL))
    assert gone.as_left.evidence.readings == ()
    assert gone.as_left.evidence.edges == ()
    (told,) = gone.withdrawn_told
    assert told.startswith("Sweep 3 (sweep of ")
    assert "withdrawn-read-again" not in [one.name for one in gone.objections]


def test_what_a_sweep_shows_against_the_part_counts_on(making: Making) -> None:
    """A start permit that a sweep saw conduct in gear is no slip of a probe."""
    state = making.shipped().after(sweep(making, trace(18.0)))
    permit = [one for one in state.as_left.judgement.cells if one.guarded]
    assert any(one.outcome.result is Result.FAIL for one in permit)
    assert state.dangers
    gone = state.after(making.withdrawn(3, "slipped", Mistake.SLIP))
    assert gone.dangers
    assert any("still counts" in told for told in gone.withdrawn_told)


def test_a_sweep_by_another_meter_reads_no_cell(making: Making) -> None:
    other = making.put(b"[[range]]\n")
    event = sweep(making, trace(3.0), meter_file=other, meter="logger")
    assert files_of(event) == (event.file, other)
    left = making.shipped().after(event).as_left
    assert left.taken == ()
    assert left.evidence.edges
    assert "read with logger" in left.noted[0].told


def test_a_sweep_that_nothing_ties_to_the_detents_says_so(making: Making) -> None:
    left = making.shipped().after(sweep(making, trace(3.0, noted=()))).as_left
    assert (left.evidence.edges, left.evidence.readings) == ((), ())
    assert left.noted[0].told.endswith("does not say where any detent stands on its scale")


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (EdgeFound(AT, "ab", "D", ("G", "H"), 1.0, 0.2, "0.1", "OL"), "G-H conducts at +1.0 deg"),
        (EdgeFound(AT, "ab", "D", ("G", "H"), -1.5, 0.2, "OL", "c"), "G-H conducts at -1.5 deg"),
        # Told from N, and yet nearer to D.
        (EdgeFound(AT, "ab", "N", ("G", "H"), 13.0, 0.2, "0.1", "OL"), "deg from D"),
        (EdgeFound(AT, "ab", "N", ("G", "H"), 4.0, 0.2, "0.1", "OL"), ""),
        (EdgeFound(AT, "ab", "D", ("A", "E"), 1.0, 0.2, "0.1", "OL"), ""),
    ],
)
def test_an_edge_that_nothing_explains_is_a_hazard_by_itself(
    making: Making, event: EdgeFound, told: str
) -> None:
    """Every cell is read and passes; no fault thought of has an edge of the permit at D."""
    state = making.worked(making.shipped())
    assert not state.objections
    found = state.after(event)
    dangers = [one for one in found.dangers if one.rule == "start-beside-gear"]
    assert [told in f"{one}" for one in dangers] == [True] * bool(told)
    assert bool(told) == any(not one.overridable for one in found.objections)
    assert found.as_left.known is not None
    if told:
        assert found.as_left.known.decided is not PartVerdict.ACCEPT
        assert said_to_others(found, "S-1.1", 1, AT, "ab").starts_in_gear
        with pytest.raises(ProofProblem, match="Not accepted: DANGER"):
            found.after(closed_anyway(found))


def closed_anyway(state: State) -> Event:
    closed = closing(state, AT, "ab", "0.1.0", ProofOutcome.REPAIR)
    return replace(closed, outcome=ProofOutcome.ACCEPTED, override_by="Jo Invented")


def test_the_hazard_is_never_smaller_than_what_edges_say(making: Making) -> None:
    """Conducting on the detent's own side of the edge, by the normal uncertainty of its place."""
    state = making.worked(making.shipped())
    for at, least, most in ((2.0, 0.999, 1.0), (0.0, 0.49, 0.51), (-0.2, 0.15, 0.17)):
        event = EdgeFound(AT, "ab", "D", ("G", "H"), at, 0.2, "0.1", "OL")
        known = state.after(event).as_left.known
        assert known is not None
        assert known.hazard >= least
        if at < 2.0:
            assert known.hazard <= most


def test_a_sweep_in_a_proof_asks_where_the_start_permit_conducts(making: Making) -> None:
    """Too short a stretch to be an edge, between two detents of gear: the numbers are there."""
    detents = VALLEY.detents_deg
    assert detents is not None
    d = VALLEY.positions.index("D")
    at = detents[d] + 4.0
    part = part_of(0.0)
    contact = Contact(("G", "H"), (Dwell(at, at + 0.4),))
    family = replace(part.family, branches=(*part.family.branches, contact))
    worn = replace(part, shape=replace(part.shape, family=family))
    pairs = [row.pair for row in VALLEY.chart]
    texts = [
        write_trace(sweep_of(one, VALLEY, pairs, np.random.default_rng(3)), VALLEY, ("P", "N"))
        for one in (part, worn)
    ]
    good, bad = (making.shipped().after(sweep(making, text.encode())) for text in texts)
    assert good.dangers == ()
    assert good.as_left.evidence.conducting == ()
    (stretch,) = bad.as_left.evidence.conducting
    assert stretch.position == "D"
    assert 3.5 < stretch.low < stretch.high < 5.0
    assert "start-beside-gear" in [one.rule for one in bad.dangers]
    assert "start-permit-beside" in [one.name for one in bad.objections]
    assert fold(bad.events, making.files).dangers == bad.dangers
