"""Charts larger than any that comes along keep every kind of hypothesis."""

from itertools import islice, pairwise

import numpy as np
import pytest

from benchproof.diagnose.cells import distinct_rows
from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.pairs import MOST_COMPOUND, MOST_CROSSED, pairs_of
from benchproof.diagnose.posterior import observe, prior_of, tell
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.family.model import Family, Pair, same_pair
from benchproof.family.problems import TooLarge
from benchproof.network.branches.base import States
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.network.states import pair_ohms
from benchproof.reading.value import Reading, parse_value
from benchproof.shipped.read import shipped_meter, shipped_priors

METER = shipped_meter("ordinary-handheld")
POSITIONS = [f"{n + 1}" for n in range(8)]


def chart_of(pairs: list[Pair], positions: list[str] = POSITIONS, seed: int = 0) -> Family:
    """Return an invented family: every row closed somewhere, no two rows alike if it can be."""
    rng = np.random.default_rng(seed)
    lines = ["pins," + ",".join(positions)]
    for number, (a, b) in enumerate(pairs):
        closed = rng.random(len(positions)) < 0.4
        closed[number % len(positions)] = True
        row = ",".join("closed" if here else "open" for here in closed.tolist())
        lines.append(f"{a}-{b},{row}")
    lines.append("start permit,none")
    return completed(read_family("\n".join(lines).encode(), "large.csv"))


def on_commons(rows: int, commons: int) -> list[Pair]:
    """Return pairs that each hang on one of some common pins."""
    return [(f"A{n}", f"C{n % commons}") for n in range(rows)]


def by_themselves(rows: int) -> list[Pair]:
    """Return pairs that share no pin."""
    return [(f"A{n}", f"B{n}") for n in range(rows)]


def found_of(tables: Tables, fault: Fault | None, further: tuple[Pair, ...] = ()) -> Diagnosis:
    """Return what is said of a whole sheet of a part with a fault, some more pairs read too."""
    family = tables.family if fault is None else faulty(tables.family, fault)
    detents = np.asarray(family.detents_deg)
    pairs = [*tables.pairs[: tables.charted], *further]
    ohms = pair_ohms(family, pairs, States(np.zeros(len(detents), dtype=np.intp), detents))
    readings = [
        Reading(position, pair, parse_value("OL" if ohm > 1e7 else f"{ohm + 0.1:.4g}"))
        for position, of_position in zip(family.positions, ohms.tolist(), strict=True)
        for pair, ohm in zip(pairs, of_position, strict=True)
    ]
    return diagnose(tell(prior_of(tables), observe(tables, readings, METER)))


@pytest.fixture(scope="module")
def forty() -> Tables:
    """Forty pairs on four commons."""
    return tables_of(chart_of(on_commons(40, 4)), shipped_priors("large"))


@pytest.fixture(scope="module")
def sixty() -> Tables:
    """Sixty pins, no two pairs with one in common."""
    return tables_of(chart_of(by_themselves(30)), shipped_priors("large"))


def test_forty_pairs_keep_leaks_and_swaps(forty: Tables) -> None:
    places = {(c.kind, c.at) for c in forty.causes if c is not None}
    assert (PartFault.LEAK, ("A0", "A4")) in places
    # Swapping the pins of two rows that are alike changes nothing.
    assert sum(kind is PartFault.PINS_SWAPPED for kind, _ in places) >= 44 * 43 // 2 - 5
    assert (PartFault.BRIDGED, ("A0", "C0")) in places


def test_a_leak_is_found_among_forty_pairs(forty: Tables) -> None:
    found = found_of(forty, Fault(PartFault.LEAK, ("A0", "A4"), size=150.0))
    assert found.decided is PartVerdict.REPAIR
    best = found.faults[0]
    assert (best.fault.kind, best.fault.at) == (PartFault.LEAK, ("A0", "A4"))
    assert best.probability > 0.95
    assert any(low <= 150.0 <= high for low, high in best.sizes)


def test_a_swap_is_found_among_forty_pairs(forty: Tables) -> None:
    found = found_of(forty, Fault(PartFault.PINS_SWAPPED, ("A0", "A4")))
    assert found.decided is PartVerdict.HOOK_UP
    names = {frozenset(one.at) for one in (found.faults[0].fault, *found.faults[0].tied)}
    assert frozenset({"A0", "A4"}) in names or found.sheets


def test_sixty_pins_keep_swaps_and_one_is_found_off_the_chart(sixty: Tables) -> None:
    fault = Fault(PartFault.PINS_SWAPPED, ("A0", "A1"))
    assert fault in sixty.causes
    assert same_pair(("A1", "B0")) in {same_pair(pair) for pair in sixty.pairs[sixty.charted :]}
    # By the chart alone two contacts are open, or one of four swaps.
    claims = {claim.fault: claim for claim in found_of(sixty, fault).faults}
    assert len(claims[fault].tied) == 3
    found = found_of(sixty, fault, further=(("A1", "B0"),))
    assert found.decided is PartVerdict.HOOK_UP
    assert found.faults[0].fault == fault
    assert found.faults[0].probability > 0.95


def test_a_good_part_of_a_large_chart_is_accepted(sixty: Tables, forty: Tables) -> None:
    for tables in (sixty, forty):
        assert found_of(tables, None).decided is PartVerdict.ACCEPT


def test_a_large_chart_takes_little_memory() -> None:
    """Twenty-four pairs, 48 pins, 8 positions: 65 times as much with every cause in every cell."""
    tables = tables_of(chart_of(by_themselves(24)), shipped_priors("large"))
    cells = tables.cells
    held = (cells.first, cells.cause, cells.pattern, cells.patterns, tables.twofold.apart)
    assert sum(one.nbytes for one in held) < 15_000_000
    assert len(tables.causes) * cells.healthy.nbytes > 900_000_000


def test_forty_positions_are_tabulated() -> None:
    positions = [f"P{n}" for n in range(40)]
    tables = tables_of(chart_of(on_commons(16, 2), positions), shipped_priors("large"))
    assert tables.healthy.shape[1] == 40
    assert (tables.affected[3][39][0], len(tables.affected)) == (0, len(tables.pairs))


def test_off_a_large_chart_those_pairs_are_foretold_that_tell_most() -> None:
    family = chart_of(on_commons(40, 1))
    known = pairs_of(family)
    pairs = known.worth_reading(family)
    compound = pairs[40:]
    assert pairs[:40] == known.charted
    assert len(known.compound) > len(compound) == MOST_COMPOUND // (8 * 41)
    # Each contact is proved together with another wherever two conduct.
    closed = {
        row.pair[0]: {p for p, one in enumerate(row.expect) if one.kind.name == "CLOSED"}
        for row in family.chart
    }
    proved = {(pin, p) for a, b in compound for pin in (a, b) for p in closed[a] & closed[b]}
    for p in range(8):
        here = {pin for pin, at in closed.items() if p in at}
        assert len(here) < 2 or {(pin, p) for pin in here} <= proved
    loners = chart_of(by_themselves(40))
    assert len(pairs_of(loners).worth_reading(loners)) == 40 + MOST_CROSSED // 8


def test_more_than_any_part_has_is_refused() -> None:
    pins = [f"A{n}" for n in range(190)]
    pairs = [*pairwise(pins), *zip(pins, pins[2:], strict=False)]
    pairs += [*zip(pins, islice(pins, 3, None), strict=False)]
    with pytest.raises(TooLarge, match="split the chart by connector"):
        tables_of(chart_of(pairs), shipped_priors("large"))


def test_equal_rows_are_found_however_they_are_told_apart() -> None:
    rows = np.array([[1, 2, 3], [3, 2, 1], [1, 2, 3], [0, 0, 0], [3, 2, 1]], dtype=np.uint16)
    first, which = distinct_rows(rows)
    assert len(first) == 3
    assert (rows[first][which] == rows).all()
    assert sorted(first.tolist()) == [0, 1, 3]
