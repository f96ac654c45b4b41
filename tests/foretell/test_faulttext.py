"""Faults as a person states them."""

from collections.abc import Callable

import pytest

from benchproof.foretell.faulttext import STATED, parse_fault
from benchproof.foretell.foretelling import Vehicle, foretell
from benchproof.network.branches.contact import ContactFault
from benchproof.network.branches.resistor import ResistorFault
from benchproof.network.faults import Fault, PartFault, single_faults
from benchproof.shipped.contents import shipped


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("contact stuck closed at G-H", "contact stuck closed at G-H"),
        ("Contact  Stuck closed at h – g", "contact stuck closed at G-H"),
        ("pin open at a", "pin open at A"),
        ("leak at A-case of 2 kohm", "leak at A-case of about 2 kohm"),
        ("leak between A-B", "leak at A-B of about 1.5 kohm"),
        ("contact high at W-n3 of 12", "contact high at W-n3 of about 12 ohm"),
        ("resistor drifted at n1-n2 to 0,6", "resistor drifted at n1-n2 to about 0.6 of its value"),
        ("pins swapped at A to B", "pins swapped at A-B"),
        ("lever late", "lever 1 detent late"),
        ("Lever 1 detent early", "lever 1 detent early"),
    ],
)
def test_it_reads_what_a_person_types(
    text: str, told: str, vehicle: Callable[[str], Vehicle]
) -> None:
    assert parse_fault(text, vehicle("harvest-ladder-8").family).told == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is no fault; type a kind and a place"),
        ("leak", "is no fault; type a kind and a place"),
        ("contact stuck close at G-H", "did you mean 'contact stuck closed'?"),
        ("lever off at A", "is no kind of fault"),
        ("detent play at A", "is no kind of fault"),
        ("pin open at Z", "'Z' is no pin of this family"),
        ("contact open at A-B", "no contact open is possible at A-B; known are W-n1"),
        ("contact open at A-Q", "'Q' is no pin or inner node of this family"),
        ("pins swapped at A-case", "the case is no pin"),
        ("leak at n1-n2", "'n1' is no pin or inner node"),
        ("leak at A-B of 0", "is not above zero"),
        ("leak at A-B of nan", "is no resistance"),
        ("leak at A-B of 1e400", "more ohms than any meter reads"),
        ("resistor drifted at n1-n2 to 0", "is no factor"),
        ("resistor drifted at n1-n2 to 1.2.3", "is no factor"),
        ("resistor drifted at n1-n2 to nan", "is not a pair of pins"),
        ("pin open at A of 3", "has no size"),
    ],
)
def test_a_mistake_gets_one_sentence(
    text: str, told: str, vehicle: Callable[[str], Vehicle]
) -> None:
    with pytest.raises(ValueError, match=" ") as caught:
        parse_fault(text, vehicle("harvest-ladder-8").family)
    assert told in f"{caught.value}"
    assert "\n" not in f"{caught.value}"


@pytest.mark.parametrize("name", shipped("families"))
def test_every_single_fault_can_be_stated_as_it_is_told(
    name: str, vehicle: Callable[[str], Vehicle]
) -> None:
    family = vehicle(name).family
    told: set[str] = set()
    for fault in single_faults(family):
        if fault.kind in STATED:
            text = f"{fault}"
            if fault.kind in (PartFault.LEAK, PartFault.BRIDGED, ContactFault.HIGH):
                text += f" of {fault.size:g} ohm"
            elif fault.kind is ResistorFault.DRIFTED:
                text += f" to {fault.size:g}"
            assert parse_fault(text, family) == fault
            told.add(fault.kind)
    assert told >= {kind for kind in STATED if isinstance(kind, (ContactFault, PartFault))}


def test_two_faults_can_be_foretold_together(vehicle: Callable[[str], Vehicle]) -> None:
    """A leak from each side to one pin joins G and H through it; each alone does not."""
    mine = vehicle("valley-coded-7")
    one, two = (Fault(PartFault.LEAK, (pin, "J"), size=20.0) for pin in ("G", "H"))
    assert foretell(mine, 0.0, [one]).foretold == ()
    assert foretell(mine, 0.0, [two]).foretold == ()
    assert foretell(mine, 0.0, [one, two]).foretold[0].rule.name == "start-in-gear"
    assert foretell(mine, 0.0, [one, one]) == foretell(mine, 0.0, [one])
