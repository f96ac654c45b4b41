"""The rules: what they find, what they leave alone, and what a shop may add."""

from collections.abc import Callable

import pytest

from benchproof.family.model import GROUPS, READ_WORDS, Grade, Role, Where
from benchproof.family.problems import BadFile
from benchproof.foretell.consequences import RULES, rules_of
from benchproof.foretell.controller import Level
from benchproof.foretell.foretelling import Foretold, Vehicle, foretell
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, single_faults
from benchproof.network.files import read_family
from benchproof.shipped.read import lever_families

SHOP = """
name = "shop"
positions = ["P", "R", "N", "D", "2"]
pins = ["A", "B", "E", "G", "H"]
[[chart]]
pair = "A-E"
role = "range bit"
expect = ["closed", "open", "closed", "open", "closed"]
[[chart]]
pair = "B-E"
role = "range bit"
expect = ["closed", "closed", "open", "open", "open"]
[[chart]]
pair = "G-H"
role = "start permit"
expect = ["closed", "open", "closed", "open", "open"]
{rules}
"""
OWN = """
[[consequences]]
name = "kiosk door"
grade = "nuisance"
engaged = ["forward"]
read = ["N"]
sentence = "The door stays unlocked {where}: it goes by {read}."
"""


def named(found: tuple[Foretold, ...], name: str) -> Foretold:
    (one,) = (one for one in found if one.rule.name == name)
    return one


def fault_of(vehicle: Vehicle, kind: FaultKind, *at: str) -> Fault:
    return next(
        fault for fault in single_faults(vehicle.family) if fault.kind is kind and fault.at == at
    )


@pytest.mark.parametrize("name", lever_families())
@pytest.mark.parametrize("offset", [0.0, 3.0, -3.0])
def test_of_a_good_part_nothing_is_foretold(
    name: str, offset: float, vehicle: Callable[[str], Vehicle]
) -> None:
    assert foretell(vehicle(name), offset).foretold == ()


def test_each_hazard_names_what_it_stands_on() -> None:
    hazards = {rule.name: rule.cite for rule in RULES if rule.grade is Grade.HAZARD}
    # 49 CFR 571.102 S3.1.3 (read), 49 CFR 571.108 (J593 through an interpretation, read).
    assert "571.102 S3.1.3" in hazards["start-in-gear"]
    assert "571.108" in hazards["reverse-dark"]
    assert all("local rules govern" in cite for cite in hazards.values())
    assert len({rule.name for rule in RULES}) == len(RULES)


def test_rules_use_known_words_only() -> None:
    for rule in RULES:
        assert set(rule.engaged) <= set(GROUPS)
        assert set(rule.read) <= {*GROUPS, *READ_WORDS}
        assert rule.read or rule.start or rule.reverse


@pytest.mark.parametrize(
    ("kind", "at", "name", "positions"),
    [
        (ContactFault.STUCK, ("G", "H"), "start-in-gear", ["R", "D", "3", "2", "1"]),
        (ContactFault.OPEN, ("J", "K"), "reverse-dark", ["R"]),
        (ContactFault.STUCK, ("J", "K"), "reverse-lit-forward", ["D", "3", "2", "1"]),
        (ContactFault.STUCK, ("J", "K"), "reverse-lit-free", ["P", "N"]),
        (ContactFault.OPEN, ("G", "H"), "no-start", ["P", "N"]),
        (PartFault.PIN_OPEN, ("E",), "no-code", ["P", "R", "N", "D", "3", "2", "1"]),
    ],
)
def test_a_fault_does_what_it_does_in_the_vehicle(
    kind: FaultKind,
    at: tuple[str, ...],
    name: str,
    positions: list[str],
    vehicle: Callable[[str], Vehicle],
) -> None:
    mine = vehicle("valley-coded-7")
    one = named(foretell(mine, 0.0, [fault_of(mine, kind, *at)]).foretold, name)
    assert [place.position for place in one.places if not place.beside] == positions
    assert one.certain
    assert one.chains[0].steps[0].startswith(kind.value)


def test_a_ladder_tells_low_from_high(vehicle: Callable[[str], Vehicle]) -> None:
    """P0707 and P0708 are the low and the high input (SAE J2012 naming, read in open lists)."""
    mine = vehicle("harvest-ladder-8")
    opened = named(
        foretell(mine, 0.0, [fault_of(mine, PartFault.PIN_OPEN, "W")]).foretold, "level-high"
    )
    leak = Fault(PartFault.LEAK, ("A", "W"), size=20.0)
    shorted = named(foretell(mine, 0.0, [leak]).foretold, "level-low")
    assert opened.rule.code == "P0708"
    assert shorted.rule.code == "P0707"
    assert len(shorted.places) == len(mine.family.positions)


def test_a_weak_circuit_may_do_either(vehicle: Callable[[str], Vehicle]) -> None:
    mine = vehicle("valley-coded-7")
    high = Fault(
        ContactFault.HIGH,
        ("G", "H"),
        fault_of(mine, ContactFault.OPEN, "G", "H").branch,
        40.0,
    )
    assert not named(foretell(mine, 0.0, [high]).foretold, "no-start").certain
    leak = Fault(PartFault.LEAK, ("G", "H"), size=1500.0)
    start = named(foretell(mine, 0.0, [leak]).foretold, "start-in-gear")
    assert start.rule.grade is Grade.HAZARD
    assert not start.certain
    assert "start permit weak: on or off" in start.chains[0].steps


def test_a_chattering_contact_does_both_by_turns(vehicle: Callable[[str], Vehicle]) -> None:
    mine = vehicle("valley-coded-7")
    found = foretell(mine, 0.0, [fault_of(mine, ContactFault.CHATTERS, "G", "H")])
    assert {seen.start for seen in found.detents["N"]} == {Level.ON, Level.OFF}
    assert not named(found.foretold, "no-start").certain


def test_an_offset_is_what_a_loose_lever_does_and_a_stuck_contact_is_not(
    vehicle: Callable[[str], Vehicle],
) -> None:
    mine = vehicle("valley-coded-7")
    assert named(foretell(mine, 5.0).foretold, "reverse-dark").loose
    stuck = fault_of(mine, ContactFault.STUCK, "G", "H")
    assert not named(foretell(mine, 0.0, [stuck]).foretold, "start-in-gear").loose


def test_a_family_that_names_neither_park_nor_neutral_has_no_forward(
    invented: Callable[[str], Vehicle],
) -> None:
    made = invented(
        'name = "numbers"\npositions = ["1st", "2nd"]\npins = ["A", "B"]\n'
        '[[chart]]\npair = "A-B"\nrole = "start permit"\nexpect = ["closed", "open"]\n'
    )
    assert foretell(made).foretold == ()


def test_a_shop_adds_a_rule_of_its_own(invented: Callable[[str], Vehicle]) -> None:
    made = invented(SHOP.format(rules=OWN))
    stuck = fault_of(made, ContactFault.STUCK, "A", "E")
    found = foretell(made, 0.0, [stuck]).foretold
    own = named(found, "kiosk door")
    assert own.sentence == "The door stays unlocked in D: it goes by N/2."
    assert own.rule.where is Where.DETENT
    assert found[0].rule.grade is Grade.HAZARD


def test_a_shop_never_lowers_a_hazard(invented: Callable[[str], Vehicle]) -> None:
    lower = """
[[consequences]]
name = "start-in-gear"
grade = "nuisance"
start = "on"
where = "anywhere"
sentence = "Nothing to worry about."
"""
    made = invented(SHOP.format(rules=lower))
    assert set(RULES) <= set(rules_of(made.family))
    stuck = fault_of(made, ContactFault.STUCK, "G", "H")
    found = foretell(made, 0.0, [stuck]).foretold
    assert found[0].rule in RULES
    assert found[0].rule.grade is Grade.HAZARD
    assert "Nothing to worry about." in [one.sentence for one in found[1:]]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (
            'name = "x"\ngrade = "dire"\nstart = "on"\nsentence = "y"',
            "'grade' needs 'drivability' or 'hazard'",
        ),
        ('name = "x"\ngrade = "hazard"\nsentence = "y"', "is a consequence of nothing"),
        (
            'name = "x"\ngrade = "hazard"\nread = ["neutrl"]\nsentence = "y"',
            "did you mean 'neutral'?",
        ),
        (
            'name = "x"\ngrade = "hazard"\nengaged = ["Q"]\nstart = "on"\nsentence = "y"',
            "'Q' is no",
        ),
        (
            'name = "x"\ngrade = "hazard"\nstart = "maybe"\nsentence = "y"',
            "'start' needs 'off' or 'on'",
        ),
        (
            'name = "x"\ngrade = "hazard"\nstart = "on"\nsentence = " "',
            "is empty or has characters",
        ),
        ('name = "x"\ngrade = "hazard"\nstart = "on"', "has no 'sentence'"),
    ],
)
def test_a_mistake_in_a_shops_rule_gets_a_sentence_and_a_line(wrong: str, told: str) -> None:
    toml = SHOP.format(rules=f"[[consequences]]\n{wrong}\n")
    with pytest.raises(BadFile, match=r"line \d+") as caught:
        read_family(toml.encode(), "shop.toml")
    assert told in str(caught.value)


def test_a_permit_conducts_in_gear_by_the_audit_too(vehicle: Callable[[str], Vehicle]) -> None:
    """The chart's own mistake is foretold as read off the branches: the same roles, two layers."""
    mine = vehicle("orchard-single-7")
    (permit,) = mine.family.rows(Role.START_PERMIT)
    conducting = [
        position
        for position, expectation in zip(mine.family.positions, permit.expect, strict=True)
        if expectation.conducts
    ]
    seen = foretell(mine).detents
    assert [name for name in seen if seen[name][0].start is Level.ON] == conducting
