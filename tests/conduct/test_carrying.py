"""Edges found while a body is aligned, carried into a proof."""

import pytest
from tests.conduct.test_aligning import standing, with_rows

from benchproof.conduct.aligning import Typed
from benchproof.conduct.carrying import carried
from benchproof.proof.events import Turned
from benchproof.proof.problems import ProofProblem

RISING = (
    ("N", "G-H", "13.1", "up", "closed", ""),
    ("N", "G-H", "12.9", "down", "open", "D"),
    ("N", "G-H", "21.1", "up", "open", ""),
    ("N", "G-H", "20.9", "down", "closed", ""),
)
"""Planted: the dwell is 8 degrees wide, the scale rises with the offset and read 20 before."""
FALLING = tuple((*row[:5], "R" if row[5] else "") for row in RISING)


def typed(rows: tuple[tuple[str, ...], ...], found_at: str = "20") -> Typed:
    made = with_rows(rows)
    return Typed(made.scale, made.rows, found_at=found_at)


@pytest.mark.parametrize(("rows", "sign"), [(RISING, 1.0), (FALLING, -1.0)])
def test_edges_lie_from_where_the_moving_part_stood(
    rows: tuple[tuple[str, ...], ...], sign: float
) -> None:
    edges = carried(standing(typed(rows)), 7)
    angles = [one.angle for one in edges]
    assert angles == pytest.approx([sign * one for one in (-7.0, -7.0, 1.0, 1.0)], abs=0.15)
    for one, angle in zip(edges, angles, strict=True):
        # Toward the middle of the dwell, 3 degrees back, the pair conducts.
        inside_above = angle < -3.0 * sign
        assert (one.above == "closed") == inside_above
        assert {one.below, one.above} == {"closed", "open"}
        assert (one.series, one.position, one.pair) == (7, "N", "G-H")
        assert 0.0 < one.u < 0.5
        assert 0.0 < one.zero_u < 0.5
    way = [Turned.UP, Turned.DOWN] if sign > 0.0 else [Turned.DOWN, Turned.UP]
    assert [one.turned for one in edges] == way * 2


@pytest.mark.parametrize(
    ("now", "why"),
    [
        (typed(RISING[:1]), "cannot be carried into the proof yet"),
        (Typed(found_at="20"), "note both edges of a pair"),
        (typed(RISING, ""), "what the scale read before the body was turned"),
        (typed(tuple((*row[:5], "") for row in RISING)), "Which way the scale runs is not known"),
    ],
)
def test_what_is_lacking_is_said_in_a_sentence(now: Typed, why: str) -> None:
    with pytest.raises(ProofProblem, match=why):
        carried(standing(now), 1)
