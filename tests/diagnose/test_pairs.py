"""Which pairs readings are foretold for: any two pins swapped show across one of them."""

from itertools import combinations

import numpy as np
import pytest

from benchproof.diagnose.pairs import pairs_of
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.model import Family, Pair, pair_text, same_pair
from benchproof.network.branches.base import States
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.network.states import pair_ohms
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_family, shipped_priors

LONERS = b"""pins,P,R,N
A-B,closed,open,open
C-D,open,closed,open
E-F,open,open,open
start permit,none
"""


def ohms(family: Family, pairs: list[Pair]) -> Floats:
    """Return the ohms of pairs in every detent, shape (positions, pairs)."""
    detents = np.asarray(family.detents_deg)
    return pair_ohms(family, pairs, States(np.zeros(len(detents), dtype=np.intp), detents))


def shows(family: Family, swap: tuple[str, str], pair: Pair) -> bool:
    """Return whether a pair, open in a sound part, conducts somewhere with two pins swapped."""
    swapped = faulty(family, Fault(PartFault.PINS_SWAPPED, swap))
    open_ohm = family.limits.open_at_least_ohm
    sound, found = ohms(family, [pair])[:, 0], ohms(swapped, [pair])[:, 0]
    return bool(((sound >= open_ohm) & (found < open_ohm)).any())


@pytest.fixture(scope="module", params=[*shipped("families"), "loners"])
def tables(request: pytest.FixtureRequest) -> Tables:
    if request.param == "loners":
        family = completed(read_family(LONERS, "loners.csv"))
        return tables_of(family, shipped_priors("loners"))
    return tables_of(shipped_family(request.param), shipped_priors(request.param))


def test_any_two_pins_swapped_show_off_the_chart_if_they_can(tables: Tables) -> None:
    """Else two rows that never conduct are two open contacts as likely as a swap, for ever."""
    family, charted = tables.family, {same_pair(pair) for pair in tables.pairs[: tables.charted]}
    off_chart = tables.pairs[tables.charted :]
    every = [p for p in combinations(family.pin_names, 2) if same_pair(p) not in charted]
    swaps = [c.at for c in tables.causes if c is not None and c.kind is PartFault.PINS_SWAPPED]
    assert swaps
    for one, other in swaps:
        if any(shows(family, (one, other), pair) for pair in every):
            assert any(shows(family, (one, other), pair) for pair in off_chart), (one, other)


def test_each_pair_stands_once(tables: Tables) -> None:
    known = pairs_of(tables.family)
    assert tables.pairs == (*known.charted, *known.compound, *known.crossed)
    assert len({same_pair(pair) for pair in tables.pairs}) == len(tables.pairs)


def test_the_crossed_pairs_of_a_family() -> None:
    """Counted by hand: each lone contact's pins against the common, and two for the two of them."""
    known = pairs_of(shipped_family("valley-coded-7"))
    assert [pair_text(pair) for pair in known.crossed] == ["G-E", "H-E", "J-E", "K-E", "J-H", "K-H"]


def test_the_crossed_pairs_of_contacts_by_themselves() -> None:
    """Two for the two that conduct, and four for each of them with the one that never does."""
    known = pairs_of(completed(read_family(LONERS, "loners.csv")))
    assert not known.compound
    ends = [same_pair(pair) for pair in known.crossed]
    assert len(ends) == 2 + 4 + 4
    assert sum(bool(pair & set("EF")) for pair in ends) == 4 + 4
