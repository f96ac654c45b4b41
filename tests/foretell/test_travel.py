"""The travel between detents, against the network solved at single angles."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.foretell.foretelling import Vehicle, foretell, stretches_of
from benchproof.foretell.travelplaces import TravelPlace, joined
from benchproof.network.branches.base import States
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import Fault, PartFault, faulty, single_faults
from benchproof.network.states import pair_ohms
from benchproof.shipped.read import lever_families


def solved(vehicle: Vehicle, fault: Fault | None, lever: float, offset: float) -> object:
    """Return what the controller sees at one lever angle, the network solved there."""
    family = vehicle.family if fault is None else faulty(vehicle.family, fault)
    assert vehicle.family.detents_deg is not None
    assert family.detents_deg is not None
    shaft = np.interp(lever, vehicle.family.detents_deg, family.detents_deg) + offset
    state = States(np.zeros(1, dtype=np.intp), np.array([shaft]))
    pairs = [row.pair for row in vehicle.controller.rows]
    return vehicle.controller.see(pair_ohms(family, pairs, state)[0].tolist()).told


@given(st.data())
def test_every_stretch_is_what_the_network_shows_there(
    vehicle: Callable[[str], Vehicle], data: st.DataObject
) -> None:
    mine = vehicle(data.draw(st.sampled_from(lever_families())))
    faults = [None, *single_faults(mine.family)]
    fault = data.draw(st.sampled_from(faults))
    offset = data.draw(st.integers(-40, 40)) / 2.0
    travel = mine.travel([fault] if fault else [])
    if fault and fault.kind is ContactFault.CHATTERS:
        fault = None
    stretches = stretches_of(mine, travel, offset)
    detents = mine.family.detents_deg
    assert detents is not None
    at = detents[0]
    for stretch in stretches:
        assert stretch.place.span is not None
        low, high = stretch.place.span
        assert low == pytest.approx(at)
        assert low < high
        middle = (low + high) / 2.0
        assert stretch.seen.told == solved(mine, fault, middle, offset)
        nearest = int(np.abs(np.array(detents) - middle).argmin())
        assert stretch.place.position == mine.family.positions[nearest]
        at = high
    assert at == pytest.approx(detents[-1])


@pytest.mark.parametrize("name", lever_families())
def test_in_the_detents_it_is_what_the_network_shows(
    name: str, vehicle: Callable[[str], Vehicle]
) -> None:
    mine = vehicle(name)
    assert mine.family.detents_deg is not None
    # 4 degrees puts detents of several families on the very edge of a dwell, which is inside it.
    for offset in (-4.0, 0.0, 4.0):
        for fault in [None, *single_faults(mine.family, pairwise=False)]:
            if fault and fault.kind is ContactFault.CHATTERS:
                continue
            found = foretell(mine, offset, [fault] if fault else [])
            for position, lever in zip(mine.family.positions, mine.family.detents_deg, strict=True):
                wanted = {solved(mine, fault, lever, offset)}
                if fault and fault.kind is PartFault.BRIDGED:
                    # Which of its positions are bridged is not known: either may be seen.
                    wanted.add(solved(mine, None, lever, offset))
                seen = found.detents[position]
                assert {one.told for one in seen} == wanted, (fault, position)


def test_a_stretch_ends_where_a_dwell_does(vehicle: Callable[[str], Vehicle]) -> None:
    """Read off the family file by hand: G-H closes from 37 to 45, N rests at 41, D at 58."""
    found = foretell(vehicle("valley-coded-7"), -6.0)
    (start,) = (one for one in found.foretold if one.rule.name == "start-in-gear")
    # The part lags by 6: the permit lasts to a lever angle of 51; D is nearer from 49.5 on.
    assert start.places == (TravelPlace("D", "N", (49.5, 51.0)),)
    assert start.chains[0].steps == (
        "offset -6 deg",
        "G-H conducts, charted open in D",
        "start permit on",
    )


def test_places_that_touch_are_one_and_a_detent_stands_for_its_surroundings() -> None:
    stretches = [
        TravelPlace("D", "N", (49.5, 52.0)),
        TravelPlace("D", "N", (52.0, 58.0)),
        TravelPlace("3", "D", (70.0, 75.0)),
    ]
    assert joined(stretches) == [TravelPlace("D", "N", (49.5, 58.0)), stretches[2]]
    assert joined([TravelPlace("D"), *stretches]) == [TravelPlace("D"), stretches[2]]


def test_a_family_with_one_position_has_no_travel(invented: Callable[[str], Vehicle]) -> None:
    made = invented(
        'name = "one"\npositions = ["P"]\npins = ["A", "B"]\n'
        '[[chart]]\npair = "A-B"\nrole = "start permit"\nexpect = ["closed"]\n'
    )
    found = foretell(made)
    assert found.stretches == ()
    assert found.foretold == ()
    assert [one.rule.name for one in foretell(made, 0.4).foretold] == ["no-start"]
