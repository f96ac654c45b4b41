"""An assembly diagnosed: a part alone as by itself, separate parts as each by itself, a harness."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import msgspec
import numpy as np
import pytest

from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.posterior import as_written, masses
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.update import Posterior, prior_of, tell
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.family.assembly import Assembly, node_of
from benchproof.family.model import Family
from benchproof.network.assembly import joined
from benchproof.network.branches.contact import ContactFault
from benchproof.network.branches.wire import WireFault
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import Reading, parse_value
from benchproof.shipped.contents import shipped, shipped_bytes
from benchproof.shipped.read import shipped_family, shipped_meter, shipped_priors

METER = shipped_meter("depot-bench")
SWITCH = completed(
    read_family(
        b"pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
        b"B-E,open,closed,open,closed,range bit\nG-H,closed,open,closed,open,start permit\n",
        "switch.csv",
    )
)
BRIDGE = completed(read_family(b"pins,expect\n1-2,closed\n3-2,closed\n4-5,open\n", "bridge.csv"))


def at_their_pins(members: dict[str, Family]) -> Family:
    """Return parts as an assembly without a harness: each is read at its own pins."""
    moved = next((one for one in members.values() if one.lever), None)
    pins = tuple(
        replace(pin, name=node_of(name, pin.name))
        for name, one in members.items()
        for pin in one.pins
    )
    positions = moved.positions if moved else next(iter(members.values())).positions
    detents = moved.detents_deg if moved else None
    harness = Family("whole", positions, pins, (), detents_deg=detents)
    return completed(joined(Assembly(harness, members)))


def under(name: str, fault: Fault) -> Fault:
    """Return a fault of a part as the assembly tells it."""
    return replace(fault, at=tuple(node_of(name, pin) for pin in fault.at), branch=None)


def read(tables: Tables, sheet: Sequence[tuple[str, str, str, str]], part: str = "") -> Posterior:
    """Return what readings say: part, position, pair, what was read."""
    readings = []
    for member, position, pair, value in sheet:
        if part in ("", member):
            a, b = pair.split("-")
            pins = (a, b) if part else (node_of(member, a), node_of(member, b))
            place = position if tables.family.lever else tables.family.positions[0]
            readings.append(Reading(place, pins, parse_value(value)))
    return tell(prior_of(tables), observe(tables, readings, METER))


# A part alone -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["valley-coded-7", "harvest-ladder-8", "depot-coils-3"])
def test_a_part_alone_reads_and_is_judged_to_the_same_digits(name: str) -> None:
    family = shipped_family(name)
    whole = at_their_pins({"part": family})
    priors = shipped_priors(name)
    own, same = tables_of(family, priors), tables_of(whole, priors)
    assert same.log_cause.tolist() == own.log_cause.tolist()
    readings = ideal_readings(faulty(own.family, _first_open(own)), METER)
    assert [one.value for one in ideal_readings(faulty(same.family, _first_open(same)), METER)] == [
        one.value for one in readings
    ]
    first = tell(prior_of(own), observe(own, readings, METER))
    moved = [
        replace(one, pair=(node_of("part", one.pair[0]), node_of("part", one.pair[1])))
        if "case" not in one.pair
        else replace(one, pair=(node_of("part", one.pair[0]), one.pair[1]))
        for one in readings
    ]
    second = tell(prior_of(same), observe(same, moved, METER))
    assert second.log_ratio.tolist() == first.log_ratio.tolist()
    assert second.log_healthy.tolist() == first.log_healthy.tolist()
    assert diagnose(second).verdicts == diagnose(first).verdicts


def _first_open(tables: Tables) -> Fault:
    return next(c for c in tables.causes if c is not None and str(c.kind.value).endswith(" open"))


# Parts that are electrically separate ------------------------------------------------------


@cache
def exact_priors() -> Priors:
    """Return priors by which no reading is of another cell: it may be of another part's."""
    return msgspec.structs.replace(
        shipped_priors("invented"), other_cell_rate=1e-300, misread_visit_rate=0.0
    )


@cache
def apart() -> tuple[Tables, Tables, Tables]:
    whole = at_their_pins({"switch": SWITCH, "bridge": BRIDGE})
    one, other, both = (tables_of(f, exact_priors()) for f in (SWITCH, BRIDGE, whole))
    return one, other, both


SHEETS = {
    "all good": [("switch", "P", "A-E", "0.2"), ("bridge", "P", "1-2", "0.1")],
    "one fault each": [
        ("switch", "P", "A-E", "OL"), ("switch", "D", "A-E", "OL"), ("switch", "D", "B-E", "0.1"),
        ("switch", "N", "G-H", "0.3"), ("bridge", "P", "1-2", "14"), ("bridge", "P", "3-2", "0.2"),
    ],
    "a leak in one": [("switch", "R", "G-H", "55"), ("bridge", "P", "4-5", "OL")],
    "a swap in one": [("bridge", "P", "4-5", "0.2"), ("bridge", "P", "1-2", "OL")],
}  # fmt: skip


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS.keys())
def test_each_fault_of_a_part_is_as_likely_as_of_the_part_by_itself(
    sheet: list[tuple[str, str, str, str]],
) -> None:
    """Over no fault: so it is the product of what each part's own readings say of it.

    Nothing is left out of it but what the whole alone can have: leaks and swaps from part to part,
    bridges in some positions of what has none by itself, and mistakes of the sheet as a whole.
    """
    *parts, whole = apart()
    found = masses(read(whole, sheet))
    numbers = {
        (one.kind, frozenset(one.at), one.size): n
        for n, one in enumerate(whole.causes)
        if one is not None
    }
    for name, tables in zip(("switch", "bridge"), parts, strict=True):
        own = masses(read(tables, sheet, name))
        compared = 0
        for n, fault in enumerate(tables.causes[1:], 1):
            assert fault is not None
            there = under(name, fault)
            other = numbers[there.kind, frozenset(there.at), there.size]
            odds = np.broadcast_to(own.log_odds[n], found.log_odds[other].shape)
            assert found.log_odds[other] == pytest.approx(odds, rel=1e-9, abs=1e-9), fault
            compared += 1
        assert compared > 10


def test_a_fault_of_each_part_together_is_the_product() -> None:
    """Two faults, one a part: their odds are the product, so each part's own posterior stands."""
    *_, whole = apart()
    found = as_written(read(whole, SHEETS["one fault each"]))
    able = [n for n, c in enumerate(whole.causes) if c is not None and c.kind.twofold]
    of = {n: _member(whole.causes[n]) for n in able}
    across = [(a, b) for a in able for b in able if of[a] == "switch" and of[b] == "bridge"]
    assert len(across) > 100
    assert all(found.apart.allows(a, b) for a, b in across)
    # What it weighs with all others at once is its odds times the sum of theirs.
    one = across[0][1]
    others = [n for n in able if found.apart.allows(n, one)]
    whole_of = found.log_odds[one] + np.logaddexp.reduce(found.log_odds[others], axis=0)
    assert np.log(found.twofold[one]) == pytest.approx(found.log_none + whole_of, rel=1e-9)
    said = diagnose(read(whole, SHEETS["one fault each"]))
    assert {_member(claim.fault) for claim in said.faults[:2]} == {"switch", "bridge"}
    assert said.verdicts[PartVerdict.REPAIR] > 0.9


def _member(fault: Fault | None) -> str:
    assert fault is not None
    return fault.at[0].partition(".")[0]


def test_between_the_parts_are_leaks_and_swaps_of_the_whole_alone() -> None:
    *_, whole = apart()
    swaps = [c for c in whole.causes if c is not None and c.kind is PartFault.PINS_SWAPPED]
    across = [c for c in swaps if len({pin.partition(".")[0] for pin in c.at}) == 2]
    inside = [c for c in swaps if c not in across]
    assert across
    assert inside
    rate = exact_priors().pins_swapped_rate
    odds = np.exp(whole.log_cause - whole.log_cause[0])
    for of in (across, [c for c in inside if _member(c) == "bridge"]):
        total = sum(float(odds[whole.causes.index(one)]) for one in of)
        assert total == pytest.approx(rate, rel=0.01)


# A harness --------------------------------------------------------------------------------


@cache
def unit() -> Tables:
    family = shipped_family("meadow-unit-6")
    return tables_of(family, shipped_priors(family.name))


def said_of(fault: Fault) -> Diagnosis:
    """Return what full readings of a unit with a fault say, each taken twice."""
    family = unit().family
    number = None
    if not isinstance(fault.kind, PartFault):
        (number,) = (n for n, one in enumerate(family.branches) if one.ends == fault.at)
    readings = ideal_readings(faulty(family, replace(fault, branch=number)), METER)
    return diagnose(tell(prior_of(unit()), observe(unit(), [*readings, *readings], METER)))


def test_an_open_wire_is_told_with_what_reads_the_same() -> None:
    found = said_of(Fault(WireFault.OPEN, ("9", "block.1")))
    claim = found.faults[0]
    alike = {str(claim.fault), *map(str, claim.tied)}
    assert {"wire open at 9-block.1", "pin open at 9", "coil open at block.1-block.C"} <= alike
    assert found.decided is PartVerdict.REPAIR


def test_a_high_joint_is_told_with_its_ohms() -> None:
    found = said_of(Fault(WireFault.HIGH, ("6", "switch.G"), size=40.0))
    told = {str(one) for claim in found.faults[:3] for one in (claim.fault, *claim.tied)}
    assert "wire joint high at 6-switch.G" in told
    assert found.verdicts[PartVerdict.REPAIR] > 0.9


def test_wires_swapped_are_told_with_pins_swapped() -> None:
    found = said_of(Fault(PartFault.WIRES_SWAPPED, ("1", "2")))
    told = {str(one) for claim in found.faults[:2] for one in (claim.fault, *claim.tied)}
    assert {"wires swapped at 1-2", "pins swapped at 1-2"} <= told


def test_a_start_permit_that_conducts_in_gear_is_a_hazard_at_the_connector() -> None:
    found = said_of(Fault(ContactFault.STUCK, ("switch.G", "switch.H")))
    assert found.hazard > 0.99
    assert "contact stuck closed at switch.G-switch.H" in str(found.faults[0].fault)


def test_every_shipped_assembly_can_be_diagnosed() -> None:
    assemblies = [name for name in shipped("families") if shipped_family(name).members]
    assert assemblies == ["meadow-unit-6"]
    good = diagnose(
        tell(prior_of(unit()), observe(unit(), ideal_readings(unit().family, METER) * 2, METER))
    )
    assert good.verdicts[PartVerdict.ACCEPT] > 0.9


# At the part ------------------------------------------------------------------------------


@cache
def probed() -> Tables:
    """Return the unit whose switch may be read at its own plug too, plug on."""
    text = shipped_bytes("families", "meadow-unit-6").decode()
    own = ", ".join(f'"switch.{pin}"' for pin in "ABCFEGHJ")
    family = completed(
        read_family(text.replace("]\nbranches", f"    {own},\n]\nbranches").encode(), "u.toml")
    )
    return tables_of(family, shipped_priors(family.name))


def test_what_may_be_read_at_the_part_makes_no_faults_of_its_own() -> None:
    assert probed().causes == unit().causes
    assert ("switch.J", "switch.E") in probed().pairs[probed().charted :]
    assert not any("." in pin for pin in probed().family.terminals)


@pytest.mark.parametrize(("value", "is_harness"), [("0.1", True), ("OL", False)])
def test_a_reading_at_the_part_tells_wire_from_contact(value: str, *, is_harness: bool) -> None:
    kinds = (WireFault.OPEN, WireFault.HIGH, PartFault.PIN_OPEN)
    sheet = [*ideal_readings(probed().family, METER)] * 2
    lost = [one for one in sheet if (one.pair, one.position) == (("8", "5"), "R")]
    sheet = [replace(one, value=parse_value("OL")) if one in lost else one for one in sheet]
    before = diagnose(tell(prior_of(probed()), observe(probed(), sheet, METER)))
    advice = "Unplug switch and read J-E at the part: if it reads as it does here"
    assert any(advice in sentence for sentence in before.unknowable)
    sheet += [Reading("R", ("switch.J", "switch.E"), parse_value(value))] * 2
    found = diagnose(tell(prior_of(probed()), observe(probed(), sheet, METER)))
    likeliest = found.faults[0]
    assert {one.kind in kinds for one in (likeliest.fault, *likeliest.tied)} == {is_harness}
    assert not any(advice in sentence for sentence in found.unknowable)
