"""Which contacts are closed in a state, and what an ideal meter then reads."""

from math import inf

import numpy as np
import pytest

from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair, Pin
from benchproof.network.branches.base import Branch, Dwell, States
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.states import at_detents, pair_ohms

POSITIONS = ("P", "R", "N", "D")
DETENTS_DEG = (0.0, 20.0, 35.0, 55.0)
CLOSED_OHM = 0.05


def invented(*branches: Branch, detents_deg: tuple[float, ...] | None = DETENTS_DEG) -> Family:
    """Return an invented part with pins A to D and an inner node."""
    return Family(
        name="invented",
        positions=POSITIONS,
        pins=tuple(Pin(name) for name in "ABCD"),
        chart=(),
        detents_deg=detents_deg,
        inner=("n1",),
        branches=branches,
    )


def by_position(family: Family, pair: Pair = ("A", "B"), offset_deg: float = 0.0) -> list[float]:
    ohms = pair_ohms(family, [pair], at_detents(family, offset_deg))
    assert ohms.shape == (len(POSITIONS), 1)
    return [float(ohm) for ohm in ohms[:, 0]]


def at_angles(family: Family, angles_deg: list[float]) -> list[float]:
    states = States(np.zeros(len(angles_deg), dtype=np.intp), np.array(angles_deg))
    return [float(ohm) for ohm in pair_ohms(family, [("A", "B")], states)[:, 0]]


def contact_by_dwell(*dwells: tuple[float, float]) -> Contact:
    return Contact(("A", "B"), dwells=tuple(Dwell(*dwell) for dwell in dwells))


# States -----------------------------------------------------------------------------------


def test_one_state_a_position_at_its_detent() -> None:
    states = at_detents(invented())
    assert states.position.tolist() == [0, 1, 2, 3]
    assert states.angle_deg is not None
    assert states.angle_deg.tolist() == list(DETENTS_DEG)


def test_offset_is_added_to_every_detent() -> None:
    states = at_detents(invented(), -2.5)
    assert states.position.tolist() == [0, 1, 2, 3]
    assert states.angle_deg is not None
    assert states.angle_deg.tolist() == [-2.5, 17.5, 32.5, 52.5]


def test_family_without_detents_has_positions_and_no_angles() -> None:
    states = at_detents(invented(detents_deg=None))
    assert states.position.tolist() == [0, 1, 2, 3]
    assert states.angle_deg is None


def test_offset_of_a_family_without_detents_is_refused() -> None:
    with pytest.raises(ValueError, match="invented tells no detent angles, so no offset applies"):
        at_detents(invented(detents_deg=None), 1.0)


# Contacts -----------------------------------------------------------------------------------


def test_contact_by_position_is_closed_there_only() -> None:
    family = invented(Contact(("A", "B"), closed_in=("P", "N")), detents_deg=None)
    assert by_position(family) == pytest.approx([CLOSED_OHM, inf, CLOSED_OHM, inf])


def test_contact_by_position_feels_no_offset() -> None:
    family = invented(Contact(("A", "B"), closed_in=("P", "N")))
    assert by_position(family, offset_deg=9.0) == by_position(family)


def test_contact_that_is_closed_nowhere_is_open() -> None:
    assert by_position(invented(Contact(("A", "B")), detents_deg=None)) == [inf] * 4


def test_contact_by_dwell_is_closed_at_the_detents_inside() -> None:
    assert by_position(invented(contact_by_dwell((15.0, 40.0)))) == pytest.approx(
        [inf, CLOSED_OHM, CLOSED_OHM, inf]
    )


def test_contact_with_two_dwells_is_closed_in_each() -> None:
    family = invented(contact_by_dwell((-4.0, 4.0), (50.0, 60.0)))
    assert by_position(family) == pytest.approx([CLOSED_OHM, inf, inf, CLOSED_OHM])


def test_both_edges_of_a_dwell_are_closed() -> None:
    family = invented(contact_by_dwell((15.0, 25.0)))
    below, above = np.nextafter(15.0, 0.0), np.nextafter(25.0, 90.0)
    angles_deg = [float(below), 15.0, 20.0, 25.0, float(above)]
    assert at_angles(family, angles_deg) == pytest.approx(
        [inf, CLOSED_OHM, CLOSED_OHM, CLOSED_OHM, inf]
    )


@pytest.mark.parametrize(
    ("offset_deg", "closed"), [(-5.5, False), (-5.0, True), (0.0, True), (5.0, True), (5.5, False)]
)
def test_offset_takes_a_detent_out_of_its_dwell(offset_deg: float, closed: bool) -> None:
    family = invented(contact_by_dwell((15.0, 25.0)))
    in_reverse = by_position(family, offset_deg=offset_deg)[1]
    assert in_reverse == pytest.approx(CLOSED_OHM if closed else inf)


def test_offset_brings_a_neighbouring_detent_in() -> None:
    # Positive offsets are toward the last-listed position: R at 20 degrees reaches 31 to 40.
    family = invented(contact_by_dwell((31.0, 40.0)))
    assert by_position(family) == pytest.approx([inf, inf, CLOSED_OHM, inf])
    assert by_position(family, offset_deg=11.0) == pytest.approx([inf, CLOSED_OHM, inf, inf])


def test_contact_reads_its_own_ohms_closed_and_open() -> None:
    contact = Contact(("A", "B"), closed_in=("R",), closed_ohm=1.5, open_ohm=4e6)
    assert by_position(invented(contact)) == pytest.approx([4e6, 1.5, 4e6, 4e6], rel=1e-14)


def test_dwells_of_states_without_angles_are_refused() -> None:
    family = invented(contact_by_dwell((15.0, 25.0)), detents_deg=None)
    with pytest.raises(ValueError, match="dwells are angles, and the states have none"):
        pair_ohms(family, [("A", "B")], at_detents(family))


# Resistors, inner nodes and the case ----------------------------------------------------------


def test_resistor_reads_the_same_in_every_position() -> None:
    assert by_position(invented(Resistor(("A", "B"), 270.0))) == pytest.approx([270.0] * 4)


def test_contact_behind_an_inner_resistor_adds_to_it() -> None:
    family = invented(
        Contact(("A", "n1"), closed_in=("D",), closed_ohm=0.25), Resistor(("n1", "B"), 270.0)
    )
    assert by_position(family) == pytest.approx([inf, inf, inf, 270.25], rel=1e-14)


def test_case_is_a_node_like_any_other() -> None:
    family = invented(
        Resistor(("A", CASE), 2e6),
        Resistor((CASE, "B"), 3e6),
        Contact(("B", "C"), closed_in=("P",), closed_ohm=1.0),
    )
    assert by_position(family, ("A", CASE)) == pytest.approx([2e6] * 4, rel=1e-14)
    assert by_position(family, (CASE, "B")) == pytest.approx([3e6] * 4, rel=1e-14)
    # Insulation to the case joins two pins in series.
    assert by_position(family, ("A", "B")) == pytest.approx([5e6] * 4, rel=1e-14)
    assert by_position(family, ("C", CASE)) == pytest.approx([3e6 + 1.0, inf, inf, inf], rel=1e-14)


def test_closed_contacts_join_pins_that_share_no_contact() -> None:
    family = invented(
        Contact(("A", "D"), closed_in=("R", "N"), closed_ohm=0.1),
        Contact(("B", "D"), closed_in=("N", "D"), closed_ohm=0.2),
    )
    assert by_position(family) == pytest.approx([inf, inf, 0.3, inf])


def test_part_without_branches_is_open_everywhere() -> None:
    ohms = pair_ohms(invented(), [("A", "B"), ("C", CASE)], at_detents(invented()))
    assert ohms.tolist() == [[inf, inf]] * 4


def test_every_pair_has_its_column_in_the_order_asked() -> None:
    family = invented(Resistor(("A", "B"), 10.0), Resistor(("B", "C"), 20.0))
    pairs = [("C", "B"), ("A", "C"), ("D", "A"), ("A", "B")]
    ohms = pair_ohms(family, pairs, at_detents(family))
    np.testing.assert_allclose(ohms, [[20.0, 30.0, inf, 10.0]] * 4, rtol=1e-14)


@pytest.mark.parametrize("pair", [("A", "Z"), ("n2", "A")])
def test_pair_with_an_unknown_pin_is_refused(pair: Pair) -> None:
    family = invented(Resistor(("A", "B"), 10.0))
    with pytest.raises(KeyError):
        pair_ohms(family, [pair], at_detents(family))


def test_pair_of_a_pin_with_itself_is_refused() -> None:
    family = invented(Resistor(("A", "B"), 10.0))
    with pytest.raises(ValueError, match="two different nodes"):
        pair_ohms(family, [("A", "A")], at_detents(family))
