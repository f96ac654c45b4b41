"""Edges, measured offsets and what was seen, against all hypotheses spelt out one by one.

The reference is our own enumeration (`conftest.py`): plain sums over hypotheses, offsets and
deviations, the density of an edge integrated numerically.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from itertools import permutations
from math import erf, sqrt

import msgspec
import numpy as np
import pytest
from tests.diagnose.conftest import GOOD, METER, Spelt, observed, sheet_of, tables

from benchproof.diagnose.diagnosis import hazard, offset_estimate, verdict_masses, weighed
from benchproof.diagnose.evidence.edge import ObservedEdge, in_frames
from benchproof.diagnose.evidence.observed import Observation, observe
from benchproof.diagnose.evidence.offset import marks_sd
from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.evidence.zero import zeros_of
from benchproof.diagnose.grid import edge_sd_of
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.spreads import NODES_SD, by_spread, scattering
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.update import Posterior, prior_of, tell
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.branches.contact import Contact
from benchproof.network.faults import PartFault
from benchproof.network.geometry import mean_gap
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import (
    FoundEdge,
    MeasuredOffset,
    Piece,
    SeenCondition,
    WatchedStretch,
)
from benchproof.reading.value import Mark, Measured, OverRange, Value
from benchproof.shop.condition import CHECKLIST, GRADES
from benchproof.simulate.edges import EdgeSpread, edges_of
from benchproof.simulate.part import PartSource
from evidence import REDUNDANT, by_edges_alone, gains, run
from evidence import tables_for as redundant

OL, LOW = OverRange(), Measured(0.2, 0.1)


def edge(
    pins: str, position: str, at: float, below: Value, above: Value, u: float = 0.012,
    series: int = 0, zero_u: float = 0.0,
) -> FoundEdge:  # fmt: skip
    first, _, second = pins.partition("-")
    return FoundEdge(position, (first, second), at, u, below, above, series, zero_u)


# The chart has A-E closed in P and D, B-E in R and D, G-H in P and N; tracks reach 0.45 of a gap
# beyond their detents, the start permit 0.22.
LOWER = edge("B-E", "R", -0.40, OL, LOW)
UPPER = edge("B-E", "R", 0.47, LOW, OL)
BACK = edge("B-E", "R", 0.44, LOW, OL, u=0.02)
PERMIT = edge("G-H", "N", 0.31, LOW, OL)
MARKED = edge("A-E", "P", 0.44, Mark.CLOSED, Mark.OPEN, u=0.02)
REVERSED = edge("A-E", "P", 0.44, OL, LOW)
NOWHERE = edge("G-H", "N", 0.02, LOW, OL)
OHMS = edge("B-E", "R", 0.5, Measured(300.0, 0.1), OL)
IN_DOUBT = tuple(
    edge(pins, at, where, below, above, series=3, zero_u=0.09)
    for pins, at, where, below, above in (
        ("A-E", "P", 0.48, LOW, OL), ("B-E", "R", -0.36, OL, LOW), ("G-H", "N", 0.33, LOW, OL),
    )
)  # fmt: skip
SHEET = sheet_of(GOOD)
CROSSED = [*SHEET[:6], ("A-B", "D", "0.2", "", 0), ("A-B", "D", "OL", "N", 0)]

CASES: dict[str, tuple[list[tuple[str, str, str, str, int]], Sequence[Piece]]] = {
    "one edge": ([], [PERMIT]),
    "both ends": (SHEET, [LOWER, UPPER]),
    "one boundary twice": (SHEET, [UPPER, BACK, PERMIT]),
    "read and found in a cell": (
        [("G-H", "N", "OL", "", 0), ("G-H", "N", "0.2", "", 0), ("G-H", "N", "OL", "D", 0)],
        [PERMIT],
    ),
    "marks": (SHEET, [MARKED]),
    "no such change": (SHEET, [REVERSED, NOWHERE]),
    "in ohms": (CROSSED, [OHMS]),
    "measured": (SHEET[:5], [MeasuredOffset(0.1, 0.05, "the marks")]),
    "measured twice": (
        [],
        [MeasuredOffset(0.1, 0.05, "the marks"), MeasuredOffset(0.14, 0.02, "the marks")],
    ),
    "seen": (SHEET[:5], [SeenCondition("bent pins", "bad"), SeenCondition("bent pins", "slight")]),
    "all kinds": (
        CROSSED,
        [UPPER, PERMIT, MARKED, MeasuredOffset(-0.1, 0.1, "the marks"),
         SeenCondition("fluid in connector", "slight")],
    ),
    "zero in doubt": (SHEET[:9], IN_DOUBT),
    "zero in doubt, all kinds": (
        CROSSED,
        [*IN_DOUBT, UPPER, MeasuredOffset(-0.1, 0.1, "the marks"),
         SeenCondition("bent pins", "slight")],
    ),
}  # fmt: skip


@cache
def given() -> Tables:
    """Return the same tables as if the family told its dwells: only the spread is uncertain."""
    known = tables()
    priors = msgspec.structs.replace(known.priors, edge_sd_deg=known.priors.edge_sd_gaps)
    return replace(known, shape=replace(known.shape, implied=False), priors=priors)


TOLD = [(name, tables) for name in CASES] + [
    (name, given) for name in ("one edge", "all kinds", "zero in doubt")
]


def told(name: str, of: Callable[[], Tables] = tables) -> tuple[list[Observation], Posterior]:
    known, (readings, pieces) = of(), CASES[name]
    found = [*observed(known, readings), *observe(known, pieces, METER)]
    return found, tell(prior_of(known), found)


def log_besides(known: Tables, pieces: Sequence[Observation]) -> Floats | float:
    """Return the log density of the offset as it was measured, by offset, spelt out."""
    each = sorted({one for one in pieces if isinstance(one, MeasuredOffset)}, key=lambda o: o.u)
    if not each:
        return 0.0
    assert len({one.how for one in each}) == 1
    weight = sum(one.u**-2 for one in each)
    mean = sum(one.offset * one.u**-2 for one in each) / weight
    sd = np.sqrt(1.0 / weight + marks_sd(known.shape, known.priors) ** 2)
    density = np.exp(-0.5 * ((known.grid.offsets - mean) / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi))
    stray = known.priors.stray_rate
    found: Floats = np.log((1.0 - stray) * density + stray / (2.0 * mean_gap(known.shape)))
    return found


def times(known: Tables, pieces: Sequence[Observation]) -> dict[int, float]:
    """Return how many times likelier each cause is by what was seen."""
    told = [(one.item, one.grade) for one in pieces if isinstance(one, SeenCondition)]
    found: dict[int, float] = {}
    for number, cause in enumerate(known.causes):
        for row in known.priors.seen:
            if cause is not None and (row.item, row.grade) in told and row.fault == cause.kind:
                found[number] = max(found.get(number, 1.0), row.times)
    return found


def spelt(known: Tables, pieces: Sequence[Observation]) -> list[tuple[float, Spelt]]:
    """Return every hypothesis spelt out for each spread and zero, with how likely these are."""
    edges = [one for one in pieces if isinstance(one, ObservedEdge)]
    read = [one for one in pieces if isinstance(one, Observed)]
    besides, likelier = log_besides(known, pieces), times(known, pieces)
    found = []
    spreads = by_spread(known) if edges else ((known, 0.0),)
    each = [
        (spread, zeros)
        for spread in spreads
        for zeros in zeros_of(
            known.grid, edges, edge_sd_of(known.shape, spread[0].priors) / known.grid.step
        )
        or [((), 0.0)]
    ]
    for (wide, log_spread), (zeros, log_zeros) in each:
        at = {zero.series: zero.at for zero in zeros}
        moved = [
            ObservedEdge(
                one.pair, one.position, one.at - at.get(one.series, 0.0), one.u,
                one.below, one.above, one.series,
            )
            for one in edges
        ]  # fmt: skip
        here = Spelt(wide, read, moved, besides, likelier)
        found.append((float(np.exp(log_spread + log_zeros)), here))
    return found


@pytest.mark.parametrize(("name", "of"), TOLD)
def test_the_masses_are_those_of_the_hypotheses(name: str, of: Callable[[], Tables]) -> None:
    pieces, posterior = told(name, of)
    known, found = posterior.tables, masses(posterior)
    assert found.sheets == ()
    each = spelt(known, pieces)
    total = sum(share * (one.explained + one.unexplained) for share, one in each)
    single = sum(
        share * np.array([one.weights[i,] for i in range(len(known.causes))]) for share, one in each
    )
    assert np.abs(found.single - single / total).max() < 1e-9
    twofold = np.zeros_like(found.single)
    for share, one in each:
        for causes, weight in one.weights.items():
            if len(causes) == 2:
                twofold[list(causes)] += share * weight / total
    assert np.abs(found.twofold - twofold).max() < 1e-9
    unexplained = sum(share * one.unexplained for share, one in each) / total
    assert found.unexplained == pytest.approx(unexplained, abs=1e-9)
    assert found.log_evidence == pytest.approx(np.log(total), abs=1e-9)


@pytest.mark.parametrize(("name", "of"), TOLD)
def test_verdicts_and_hazard_are_those_of_the_hypotheses(
    name: str, of: Callable[[], Tables]
) -> None:
    pieces, posterior = told(name, of)
    known, found = posterior.tables, masses(posterior)
    each = spelt(known, pieces)
    total = sum(share * (one.explained + one.unexplained) for share, one in each)
    accept = sum(
        share * one.no_fault({at: cell.good() for at, cell in one.charted.items()})
        for share, one in each
    )
    sound = sum(
        share * one.no_fault({at: cell.unharmed() for at, cell in one.charted.items()})
        for share, one in each
    )
    verdicts = verdict_masses(posterior, found)
    assert verdicts[PartVerdict.ACCEPT] == pytest.approx(accept / total, abs=1e-9)
    assert verdicts[PartVerdict.REALIGN] == pytest.approx((sound - accept) / total, abs=1e-9)
    assert sum(verdicts.values()) == pytest.approx(1.0, abs=1e-9)
    unsafe = sum(share * one.unsafe() for share, one in each)
    assert hazard(posterior, found) == pytest.approx(unsafe / total, abs=1e-12, rel=1e-7)


def bits(posterior: Posterior) -> bytes:
    each = [posterior, *(node.posterior for node in posterior.nodes)]
    return b"".join(one.log_ratio.tobytes() + one.log_healthy.tobytes() for one in each)


def test_the_order_in_which_it_is_told_leaves_no_trace() -> None:
    """Evidence bears on a part as it stood, so the order in which it was noticed says nothing."""
    pieces, posterior = told("zero in doubt, all kinds")
    known = posterior.tables
    rng = np.random.default_rng(3)
    for _ in range(4):
        order = [pieces[n] for n in rng.permutation(len(pieces)).tolist()]
        one_by_one = prior_of(known)
        for piece in order:
            one_by_one = tell(one_by_one, [piece])
        assert bits(one_by_one) == bits(posterior)
        assert bits(tell(prior_of(known), order)) == bits(posterior)


def test_what_is_told_twice_is_told_once() -> None:
    """An edge, an offset or something seen is one event however often it is told."""
    pieces, posterior = told("all kinds")
    again = [
        one for one in pieces if isinstance(one, ObservedEdge | MeasuredOffset | SeenCondition)
    ]
    assert len(again) == 5
    assert bits(tell(posterior, again)) == bits(posterior)


def spread(posterior: Posterior) -> float:
    mass = masses(posterior).single[0]
    mass, at = mass / mass.sum(), posterior.tables.grid.offsets
    return float(np.sqrt(mass @ (at - mass @ at) ** 2))


def test_rising_and_falling_tell_of_one_deviation() -> None:
    """One edge found from either side is one edge: its own deviation stays as it is."""
    known = tables()

    def of(*edges: FoundEdge) -> float:
        return spread(tell(prior_of(known), observe(known, edges, METER)))

    once, twice = of(UPPER), of(UPPER, BACK)
    assert twice == pytest.approx(once, rel=0.05)
    assert of(UPPER, LOWER) < 0.9 * once


def test_a_shared_zero_is_no_news_of_the_offset() -> None:
    """However many edges a scale tells, its zero leaves the offset as open as itself."""
    known = tables()

    def of(zero_u: float) -> float:
        edges = [
            edge(one.pair[0] + "-" + one.pair[1], one.position, one.at, one.below, one.above,
                 series=3, zero_u=zero_u)
            for one in IN_DOUBT
        ]  # fmt: skip
        return spread(tell(prior_of(known), observe(known, edges, METER)))

    assert of(0.0) < of(0.04) < of(0.09) < of(0.3)
    # A zero known to less than a small part of a step is noise, and goes over into that.
    assert of(0.0052) == pytest.approx(of(0.0053), rel=1e-2)


def test_a_zero_in_doubt_is_summed_out_as_finely_as_need_be() -> None:
    """Against a sum over many more values, by the mean of the offset's distribution function."""
    known = tables()
    edges = [one for one in observe(known, IN_DOUBT, METER) if isinstance(one, ObservedEdge)]
    found = masses(tell(prior_of(known), edges)).single
    fine = np.zeros_like(found)
    for z in np.linspace(-0.45, 0.45, 601).tolist():
        moved = [ObservedEdge(o.pair, o.position, o.at - z, o.u, o.below, o.above) for o in edges]
        given = tell(prior_of(known), moved)
        log_prior = (known.log_cause + 0.0)[:, None] + known.grid.log_offset
        weight = np.exp(-0.5 * (z / 0.09) ** 2)
        fine += weight * np.exp(log_prior + given.log_healthy + given.log_ratio)
    assert found.sum(axis=1) / found.sum() == pytest.approx(fine.sum(axis=1) / fine.sum(), abs=2e-3)
    assert found[0] / found[0].sum() == pytest.approx(fine[0] / fine[0].sum(), abs=2e-3)


def test_an_edge_is_told_from_the_detent_nearest_to_it() -> None:
    known = tables()
    far = edge("B-E", "P", 1.52, LOW, OL)
    near = observe(known, [far], METER)
    assert isinstance(near[0], ObservedEdge)
    framed = in_frames(known, [near[0]])
    ((cell, (one,)),) = framed.items()
    assert known.family.positions[cell[1]] == "N"
    assert one.at == pytest.approx(-0.48)
    here = observe(known, [edge("B-E", "N", -0.48, LOW, OL)], METER)
    assert tell(prior_of(known), near).log_healthy == pytest.approx(
        tell(prior_of(known), here).log_healthy
    )


def test_both_ways_over_an_edge_midway_between_two_detents_are_of_one_cell() -> None:
    known = tables()
    found = [
        one
        for one in observe(
            known,
            [edge("B-E", "R", 0.49, LOW, OL), edge("B-E", "N", -0.49, LOW, OL)],
            METER,
        )
        if isinstance(one, ObservedEdge)
    ]
    for order in permutations(found):
        assert len(in_frames(known, order)) == 1


def test_what_a_pair_off_the_chart_did_tells_nothing() -> None:
    known = tables()
    assert observe(known, [edge("A-G", "R", 0.1, LOW, OL)], METER) == []


@pytest.mark.parametrize(
    "piece",
    [
        UPPER, LOWER, PERMIT, MARKED, MeasuredOffset(0.0, 0.01, "the marks"),
        SeenCondition("bent pins", "bad"), SeenCondition("fluid in connector", "bad"),
        SeenCondition("melted connector", "bad"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("values", ["0.2 OL 0.2 0.2", "0.2 OL 0.2 300", "0.2 0.2 0.2 OL"])
def test_a_hazard_that_was_read_stays_whatever_else_is_told(piece: Piece, values: str) -> None:
    """The numbers themselves are the gate: no edge and no mark lets a part through it."""
    known = tables()
    read = tell(prior_of(known), observed(known, sheet_of({**GOOD, "G-H": values})))
    before = weighed(read, masses(read))[1]
    after = tell(read, observe(known, [piece], METER))
    assert before > 0.9
    assert weighed(after, masses(after))[1] >= min(before, 0.999)


@pytest.mark.parametrize("row", range(11))
def test_nothing_seen_makes_a_hazard_less_likely(row: int) -> None:
    known = tables()
    one = known.priors.seen[row]
    for readings in ([], SHEET, SHEET[:8], sheet_of({**GOOD, "G-H": "0.2 OL 0.2 OL"})):
        read = tell(prior_of(known), observed(known, readings))
        seen = tell(read, [SeenCondition(one.item, one.grade)])
        verdicts, danger = weighed(seen, masses(seen))
        before, dangerous = weighed(read, masses(read))
        assert danger >= dangerous
        assert verdicts[PartVerdict.ACCEPT] <= before[PartVerdict.ACCEPT] + 1e-12


def test_what_is_seen_makes_its_kind_of_fault_likelier_and_no_more() -> None:
    known = tables()
    read = tell(prior_of(known), observed(known, SHEET[:3]))
    seen = tell(read, [SeenCondition("bent pins", "slight")])
    kinds = [None if cause is None else cause.kind for cause in known.causes]
    of = [kind is PartFault.PIN_OPEN for kind in kinds]
    change = seen.log_ratio - read.log_ratio
    assert change[of] == pytest.approx(np.log(2.0))
    assert change[~np.array(of)] == pytest.approx(0.0)
    assert np.array_equal(
        tell(read, [SeenCondition("bent pins", "sound")]).log_ratio, read.log_ratio
    )


def test_every_item_of_the_table_is_one_of_the_checklist() -> None:
    grades = {(item.name, grade) for item in CHECKLIST for grade in GRADES}
    assert {(row.item, row.grade) for row in tables().priors.seen} <= grades


def test_a_ladder_whose_taps_overlap_is_not_faulty() -> None:
    """From one tap straight to the next: the chart has it open between, the spread of edges not."""
    known = redundant(REDUNDANT)
    tap, next_tap = Measured(100.0, 0.1), Measured(220.0, 0.1)
    straight = FoundEdge("P", ("A", "W"), 9.8, 0.1, tap, next_tap)
    nominal = FoundEdge("P", ("A", "W"), 9.1, 0.1, tap, OL)
    assert observe(known, [straight], METER) == []
    assert len(observe(known, [nominal], METER)) == 1
    # The other way round no order of contacts makes it; it counts, as a stray.
    odd = FoundEdge("P", ("A", "W"), 9.8, 0.1, next_tap, tap)
    assert len(observe(known, [odd], METER)) == 1


def test_redundant_edges_make_the_offset_no_surer() -> None:
    """Two pairs through one contact show its one edge twice."""
    known = redundant(REDUNDANT)

    def of(*pins: str) -> float:
        edges = [
            FoundEdge("R", (pin, "W"), at, 0.1, *sides)
            for pin, ohm in zip(pins, (220.0, 250.0), strict=False)
            for at, sides in (
                (-8.5, (OL, Measured(ohm, 0.1))),
                (9.6, (Measured(ohm, 0.1), OL)),
            )
        ]
        return spread(tell(prior_of(known), observe(known, edges, METER)))

    assert of("A", "B") == pytest.approx(of("A"), rel=0.03)


@pytest.mark.parametrize("family", ["orchard-single-7", REDUNDANT])
def test_on_simulated_parts_no_stage_of_evidence_harms(family: str) -> None:
    """A small sample; the whole of it stands in docs/accuracy.md."""
    found = run(family, "zero known", 12, 5)
    for scores in (found.offset, found.verdict):
        mean, error = gains(scores)
        assert (mean > -2.0 * error - 1e-3).all()
    assert gains(found.offset)[0][1] > 1.0
    assert np.nanmean(found.covered[:, 2]) >= 0.75


def test_a_watched_stretch_without_an_edge_is_as_likely_as_missing_what_lies_there() -> None:
    """Without fault, offset by offset, from the ends of the contact's dwells."""
    known = given()
    low, high = -0.45, 0.4
    seen = WatchedStretch("N", ("G", "H"), low, high)
    posterior = tell(prior_of(known), observe(known, [seen], METER))
    assert len(posterior.nodes) == 3
    (contact,) = (b for b in known.family.branches if b.ends == ("G", "H"))
    assert isinstance(contact, Contact)
    assert known.family.detents_deg is not None
    ends = sorted(
        end - known.family.detents_deg[2]
        for dwell in contact.dwells
        for end in (dwell.from_deg, dwell.to_deg)
    )
    assert len(ends) == 4
    for factor, node in zip((0.887, 1.350, 2.054), posterior.nodes, strict=True):
        grid, edges = node.posterior.tables.grid, node.posterior.factors[2, 2].edges
        reach = len(grid.spread) // 2
        off = np.arange(-reach, reach + 1) * grid.step
        sd = factor * known.priors.edge_sd_gaps
        expected = np.zeros(len(grid.offsets))
        for n, end in enumerate(ends):
            # A dwell as good as never closes; a gap between two dwells even less.
            beside = [abs(end - ends[m]) for m in (n - 1, n + 1) if 0 <= m < len(ends)]
            left = [one - min(0.05, one / 2.0) for one in beside]
            closed = max(0.5 * (1.0 - erf(one / (2.0 * sd))) for one in left)
            place = end - grid.offsets[:, None] - off
            missed = np.where((place > low) & (place < high), max(1e-4, sqrt(closed)), 1.0)
            expected += np.log(missed @ grid.spread)
        assert edges is not None
        assert edges.log[0] == pytest.approx(expected, abs=1e-3)


def test_a_contact_that_was_watched_and_never_changed_is_faulty() -> None:
    known = tables()
    pieces = [WatchedStretch(at, ("G", "H"), -0.5, 0.5) for at in known.family.positions]
    found = masses(tell(prior_of(known), observe(known, pieces, METER)))
    touched = {n for rows in known.affected[2] for n in rows.tolist()} - {0}
    assert known.pairs[2] == ("G", "H")
    assert float(found.single[0].sum()) < 0.1
    assert float(found.single[sorted(touched)].sum()) > 0.5


def test_where_found_edges_and_watched_stretches_agree_nothing_is_lost() -> None:
    """An edge that was found where it should be is not missed."""
    known = tables()
    edges = [PERMIT, edge("G-H", "N", -0.29, OL, LOW)]
    watched = WatchedStretch("N", ("G", "H"), -0.5, 0.5)
    alone = tell(prior_of(known), observe(known, edges, METER))
    both = tell(alone, observe(known, [watched, watched], METER))
    share = [masses(one).single[0].sum() for one in (alone, both)]
    assert share[1] >= 0.99 * share[0]
    assert tell(both, observe(known, [watched], METER)).log_healthy == pytest.approx(
        both.log_healthy, abs=0.0
    )


def test_a_watched_cell_that_changes_where_it_likes_wanders() -> None:
    """Two edges inside a dwell are no slip of a sweep."""
    known = tables()
    edges: list[Piece] = [edge("A-E", "P", 0.0, LOW, OL), edge("A-E", "P", 0.15, OL, LOW)]
    watched = WatchedStretch("P", ("A", "E"), -0.3, 0.3)
    found = {}
    for name, pieces in (("found", edges), ("watched", [*edges, watched])):
        readings = observed(known, SHEET)
        posterior = tell(prior_of(known), [*readings, *observe(known, pieces, METER)])
        found[name] = verdict_masses(posterior, masses(posterior))[PartVerdict.REPAIR]
    assert found["watched"] > max(0.5, 2.0 * found["found"])


def test_each_spread_is_the_normal_one_that_its_factor_makes() -> None:
    """Factors on a log-normal scale; deviations from the normal distribution, cut off and whole."""
    known = given()
    mean, sd = known.priors.edge_spread_log_mean, known.priors.edge_spread_log_sd
    assert (mean, sd) == (0.3, 0.35)
    shares = np.exp([log_share for _, log_share in by_spread(known)])
    assert shares == pytest.approx(np.exp(-0.5 * np.square(NODES_SD)) / np.exp(
        -0.5 * np.square(NODES_SD)).sum())  # fmt: skip
    for z, (wide, _) in zip(NODES_SD, by_spread(known), strict=True):
        grid, scale = wide.grid, known.priors.edge_sd_gaps * np.exp(mean + sd * z) * sqrt(2.0)
        reach = len(grid.spread) // 2
        ends = (np.arange(-reach, reach + 2) - 0.5) * grid.step
        expected = np.diff([erf(end / scale) for end in ends])
        assert grid.spread == pytest.approx(expected / expected.sum(), abs=1e-12)
        assert grid.offsets.tobytes() == known.grid.offsets.tobytes()
        assert grid.start(0) >= 0
        more = grid.half - known.grid.half
        inner = wide.cells.patterns[:, more : len(grid.angles) - more]
        assert (inner == known.cells.patterns).all()


def test_where_no_edge_was_looked_for_the_spread_is_as_the_priors_have_it() -> None:
    """Readings alone hardly tell it, and what they came to before stays to the last digit."""
    uncertain = given()
    certain = replace(uncertain, priors=scattering(uncertain.priors, 1.0))
    several = (SHEET, CROSSED)
    for sheet in several:
        found = [tell(prior_of(one), observed(one, sheet)) for one in (uncertain, certain)]
        assert bits(found[0]) == bits(found[1])
        assert found[0].nodes == ()
    # Nor does it change what an older file of priors comes to, or a bare chart, edges or not.
    for one in (certain, tables()):
        assert tell(prior_of(one), observe(one, [UPPER], METER)).nodes == ()


@pytest.mark.parametrize("scatter", [0.5, 2.0])
def test_edges_tell_by_how_much_a_part_scatters(scatter: float) -> None:
    """A part that scatters twice as wide: an interval made for the usual spread is too narrow."""
    known = redundant("valley-coded-7")
    certain = replace(known, priors=scattering(known.priors, 1.0))
    source = PartSource(replace(known, priors=scattering(known.priors, scatter)))
    rng = np.random.default_rng(17)
    part = next(p for p in (source.draw(rng) for _ in range(99)) if p.explained and not p.faults)
    found = edges_of(part, known, METER, EdgeSpread(), rng)
    widths = []
    for one in (known, certain):
        posterior = tell(prior_of(one), observe(one, found, METER))
        intervals = offset_estimate(one, masses(posterior), posterior.besides.edges).intervals95
        widths.append(sum(high - low for low, high in intervals))
        if one is known:
            assert any(low < part.offset < high for low, high in intervals)
    assert (widths[0] > 1.3 * widths[1]) if scatter > 1.0 else (widths[0] < 1.1 * widths[1])


def test_intervals_of_parts_that_scatter_wider_hold_the_offset_more_often() -> None:
    covered, width = by_edges_alone("valley-coded-7", "edges 1.6 times as wide", 24, 3)
    assert covered[:, 0].mean() >= 0.87
    assert covered[:, 0].sum() >= covered[:, 1].sum()
    assert width[:, 0].mean() > 1.1 * width[:, 1].mean()
