"""Implied dwells: what a contact serves decides how wide its track is.

Common practice, no source: under a small offset start and reverse contacts read wrong first, while
the range tracks still read right.
"""

import pytest

from benchproof.network.branches.contact import Contact
from benchproof.network.files import read_family
from benchproof.network.geometry import Margins, geometry

MARGINS = Margins(single_gaps=0.2, run_gaps=0.45)
CHART = (
    "pins,P,R,N,D,role\n"
    "A-E,closed,open,open,open,{first}\n"
    "B-E,open,closed,open,open,{second}\n"
    "C-E,open,closed,closed,open,range bit\n"
    "J-K,open,closed,open,open,{last}\n"
)


def reaches(first: str, second: str, last: str) -> dict[str, float]:
    """Return how far each pair's first dwell reaches beyond its last detent, in gaps."""
    text = CHART.format(first=first, second=second, last=last)
    family = geometry(read_family(text.encode(), "invented.csv"), MARGINS).family
    found = {}
    for branch in family.branches:
        assert isinstance(branch, Contact)
        to = branch.dwells[0].to_deg
        found["-".join(branch.ends)] = round(to - max(n for n in range(4) if n <= to), 9)
    return found


def test_a_range_bit_closed_in_one_position_has_a_track_as_wide_as_the_others() -> None:
    found = reaches("range bit", "range level", "reverse lamp")
    assert found["A-E"] == found["B-E"] == pytest.approx(0.45)
    assert found["C-E"] == pytest.approx(0.45)


def test_start_and_reverse_contacts_of_one_position_stay_narrow() -> None:
    found = reaches("start permit", "range bit", "reverse lamp")
    assert found["A-E"] == found["J-K"] == pytest.approx(0.2)


def test_without_a_role_a_common_pin_makes_a_range_track_and_two_own_pins_a_circuit() -> None:
    found = reaches("", "", "")
    assert found["A-E"] == found["B-E"] == pytest.approx(0.45)
    assert found["J-K"] == pytest.approx(0.2)
