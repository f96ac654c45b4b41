"""The edges that a sweep of a family would show, by its dwells."""

from math import inf

import pytest

from benchproof.network.geometry import Margins, geometry
from benchproof.shipped.read import shipped_family
from benchproof.trace.bands import bands_of
from benchproof.trace.expected import expected_of, narrowest_deg

LADDER = geometry(shipped_family("harvest-ladder-8"), Margins()).family
VALLEY = geometry(shipped_family("valley-coded-7"), Margins()).family


def test_edges_lie_at_the_ends_of_dwells() -> None:
    (permit,) = expected_of(VALLEY, [bands_of(VALLEY, ("G", "H"))])
    # Closed within 4 degrees of P at 0 and of N at 41 (the family file).
    assert permit.bands() == (2, 0, 2, 0, 2)
    assert [at for at, _ in permit.edges] == pytest.approx([-4.0, 4.0, 37.0, 45.0])
    assert narrowest_deg(permit) == pytest.approx(8.0)


def test_a_ladder_goes_from_one_resistance_to_the_next() -> None:
    row = next(r for r in LADDER.chart if any("ohm" in str(e) for e in r.expect))
    bands = bands_of(LADDER, row.pair)
    (found,) = expected_of(LADDER, [bands])
    assert LADDER.detents_deg is not None
    for detent, expectation in zip(LADDER.detents_deg, row.expect, strict=True):
        band = found.bands()[sum(at < detent for at, _ in found.edges)]
        assert bands.names[band] == str(expectation)


def test_a_pair_that_nothing_joins_has_no_edge() -> None:
    (found,) = expected_of(VALLEY, [bands_of(VALLEY, ("A", "G"))])
    assert found.edges == ()
    assert narrowest_deg(found) == inf
