"""Parts and a harness joined to one family: its network, its chart, and what cannot be joined."""

from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest

from benchproof.family.assembly import Assembly, node_of
from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pin, Role
from benchproof.family.problems import BadFile
from benchproof.family.safety import safety_of
from benchproof.network.assembly import joined
from benchproof.network.audit import audit_family
from benchproof.network.chart import completed, disagreements
from benchproof.network.files import read_family
from benchproof.network.states import at_detents, pair_ohms
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_family

UNIT = """
name = "invented unit"
note = "Invented: a switch and two coils behind one connector."
pins = ["1", "2", "3", "4", "5", "6"]
branches = [
    { kind = "wire", between = "1-switch.A", value = "0.3 ohm" },
    { kind = "wire", between = "2-switch.E", value = "0.2 ohm" },
    { kind = "wire", between = "3-switch.G", value = "0.2 ohm" },
    { kind = "wire", between = "switch.H-4", value = "0.2 ohm" },
    { kind = "wire", between = "5-block.1", value = "0.1 ohm" },
    { kind = "wire", between = "6-block.C", value = "0.1 ohm" },
]

[members.switch]
name = "invented switch"
positions = ["P", "R", "N", "D"]
pins = ["A", "E", "G", "H"]

[[members.switch.chart]]
pair = "A-E"
role = "range bit"
expect = ["closed", "< 5 ohm", "open", "270 ohm"]

[[members.switch.chart]]
pair = "G-H"
role = "start permit"
expect = ["closed", "open", "closed", "open"]

[members.block]
name = "invented block"
pins = ["1", "C"]

[[members.block.branches]]
kind = "coil"
between = "1-C"
value = "14 ohm"

[[members.block.chart]]
pair = "1-C"
"""


def unit(*changes: tuple[str, str]) -> Family:
    text = UNIT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return completed(read_family(text.encode(), "unit.toml"))


def alone(family: Family, name: str = "part") -> Family:
    """Return a family as an assembly of one part, read at its own pins."""
    pins = tuple(replace(pin, name=node_of(name, pin.name)) for pin in family.pins)
    harness = Family(family.name, family.positions, pins, (), detents_deg=family.detents_deg)
    return joined(Assembly(harness, {name: family}))


# The whole --------------------------------------------------------------------------------


def test_names_are_those_of_the_connector() -> None:
    family = unit()
    assert family.pin_names == ("1", "2", "3", "4", "5", "6")
    assert [row.pair for row in family.chart] == [("1", "2"), ("3", "4"), ("5", "6")]
    assert family.seen_as["switch.A"] == "1"
    assert family.members == {"switch": frozenset("1234"), "block": frozenset("56")}


def test_the_wires_are_added_to_what_a_row_allows() -> None:
    family = unit()
    told = [one.bounds(family.limits) for one in family.chart[0].expect]
    assert told == [
        (0.0, pytest.approx(2.5)),
        (0.0, pytest.approx(5.5)),
        (10_000.0, inf),
        (pytest.approx(243.5), pytest.approx(297.5)),
    ]
    assert [str(one) for one in family.chart[0].expect] == [
        "< 2.5 ohm", "< 5.5 ohm", "open", "270 ohm 243.5..297.5 ohm",
    ]  # fmt: skip


def test_limits_of_the_connector_stand_for_those_of_the_parts() -> None:
    family = unit(("[members.switch]", '[limits]\nclosed_at_most = "3 ohm"\n\n[members.switch]'))
    told = [one.bounds(family.limits)[1] for one in family.chart[0].expect[:2]]
    assert told == [3.0, pytest.approx(5.5)]
    assert str(family.chart[0].expect[0]) == "closed"


def test_a_part_without_a_lever_reads_the_same_in_every_position() -> None:
    family = unit()
    assert family.positions == ("P", "R", "N", "D")
    assert len(set(family.chart[2].expect)) == 1
    assert family.chart[2].expect[0].bounds(family.limits) == pytest.approx((12.8, 15.6))


def test_what_the_network_makes_is_what_the_chart_asks() -> None:
    family = unit()
    assert disagreements(family) == ()
    ohms = pair_ohms(family, [("1", "2"), ("5", "6"), ("1", "6")], at_detents(family))
    assert ohms[3] == pytest.approx([270.0 + 0.05 + 0.5, 14.2, inf])


def test_a_unit_without_any_lever_has_none() -> None:
    switch = UNIT[UNIT.index("[members.switch]") : UNIT.index("[members.block]")]
    wires = [line for line in UNIT.splitlines() if "switch." in line]
    text = UNIT.replace(switch, "").replace('"1", "2", "3", "4", ', "", 1)
    for line in wires:
        text = text.replace(line + "\n", "")
    family = completed(read_family(text.encode(), "unit.toml"))
    assert not family.lever
    assert len(family.chart[0].expect) == 1


def test_two_pins_on_one_wire_are_seen_at_its_one_end() -> None:
    family = unit(
        ('pins = ["1", "2", "3", "4", "5", "6"]', 'pins = ["1", "2", "3", "4", "5"]'),
        ('"6-block.C", value', '"2-block.C", value'),
    )
    assert family.chart[2].pair == ("5", "2")
    assert family.members == {"switch": frozenset("1234"), "block": frozenset("52")}


def test_a_pin_wired_to_the_housing_is_read_there() -> None:
    family = unit(
        ('pins = ["1", "2", "3", "4", "5", "6"]', 'pins = ["1", "2", "3", "4", "5"]'),
        ('"6-block.C", value', '"case to block.C", value'),
    )
    assert family.chart[2].pair == ("5", CASE)


def test_a_splice_is_an_inner_node() -> None:
    family = unit(
        ('pins = ["1"', 'inner = ["s"]\npins = ["1"'),
        ('"5-block.1", value = "0.1 ohm" }', '"5-s", value = "0.1 ohm" },\n'
         '    { kind = "wire", between = "s-block.1", value = "0.4 ohm" }'),
    )  # fmt: skip
    assert family.chart[2].expect[0].bounds(family.limits) == pytest.approx((13.2, 16.0))


def test_the_example_of_the_documents_is_read() -> None:
    text = (Path(__file__).parents[2] / "docs" / "family.md").read_text(encoding="utf-8")
    lines = text[text.index('    name = "my unit"') :].split("\n| key |")[0].splitlines()
    family = completed(read_family("\n".join(line[4:] for line in lines).encode(), "my.toml"))
    assert [row.pair for row in family.chart] == [("1", "2"), ("3", "4")]


# Trivial assembly -------------------------------------------------------------------------


@pytest.mark.parametrize("name", shipped("families"))
def test_a_part_alone_is_the_trivial_assembly(name: str) -> None:
    family = shipped_family(name)
    whole = alone(family)
    assert [row.expect for row in whole.chart] == [row.expect for row in family.chart]
    assert audit_family(replace(whole, chart=family.chart, pins=family.pins, branches=())) == (
        audit_family(replace(family, branches=()))
    )
    if family.branches:
        ohms = [
            pair_ohms(one, [row.pair for row in one.chart], at_detents(one, offset))
            for one in (family, whole)
            for offset in ((0.0, 3.0) if family.detents_deg else (0.0,))
        ]
        half = len(ohms) // 2
        assert all(map(np.array_equal, ohms[:half], ohms[half:]))


# Safety -----------------------------------------------------------------------------------


def test_the_start_permit_stays_the_start_permit() -> None:
    family = unit()
    safety = safety_of(family)
    assert safety.told == (("3", "4"),)
    assert safety.questions == ()
    assert safety.must_be_open == {(p, frozenset("34")) for p in "RD"}


def test_the_connector_cannot_make_it_something_else() -> None:
    own = '[[chart]]\npair = "3-4"\nrole = "other"\nexpect = ["any", "any", "any", "any"]\n\n'
    with pytest.raises(BadFile, match="it is the start permit G-H of switch; leave the role out"):
        unit(("[members.switch]", own + "[members.switch]"))
    family = unit(("[members.switch]", own.replace('role = "other"\n', "") + "[members.switch]"))
    assert family.chart[1].role is Role.START_PERMIT
    assert safety_of(family).guards("D", ("3", "4"))


def test_what_was_said_of_the_whole_stands() -> None:
    family = unit(
        ('role = "start permit"', 'role = ""'),
        ("[members.switch]", '[said]\n[said.roles]\n"3-4" = "start permit"\n\n[members.switch]'),
    )
    assert safety_of(family).told == (("3", "4"),)


def test_nobody_having_said_it_is_asked() -> None:
    family = unit(('role = "start permit"\n', ""))
    assert [one.name for one in safety_of(family).questions] == ["start permit"]


# What cannot be joined --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            '    { kind = "wire", between = "1-switch.A", value = "0.3 ohm" },\n',
            "",
            "A-E of switch cannot be read at the connector: no wire leads to its pin A",
        ),
        (
            '"switch.H-4", value',
            '"switch.H-3", value',
            "G-H of switch cannot be read at the connector: both its pins lead to 3",
        ),
        (
            '"5-block.1", value = "0.1 ohm" },',
            '"5-block.1", value = "0.1 ohm" },\n'
            '    { kind = "resistor", between = "5-6", value = "100 ohm" },',
            "1-C of block does not read by itself at 5-6: something else lies beside it",
        ),
        ('"5-block.1"', '"5-block.2"', "'block.2' is no pin or inner node"),
        ('pins = ["1", "C"]', 'pins = ["1"]', "needs a list in [ ], at least 2 long"),
        ("[members.block]", "[members.block.colour]", "'colour' is no key here"),
        ('pins = ["1", "2"', 'inner = ["switch.A"]\npins = ["1", "2"', "is a pin of a member"),
    ],
)  # fmt: skip
def test_a_mistake_is_told(old: str, new: str, sentence: str) -> None:
    with pytest.raises(BadFile) as bad:
        unit((old, new))
    assert sentence in str(bad.value)
    assert "unit.toml, line " in str(bad.value)


def test_two_levers_are_refused() -> None:
    switch = UNIT[UNIT.index("[members.switch]") : UNIT.index("[members.block]")]
    second = switch.replace("members.switch", "members.other")
    with pytest.raises(BadFile, match="an assembly is read with one lever"):
        unit(("[members.block]", second + "[members.block]"))


def test_parts_beside_each_other_are_read_by_a_row_of_the_connector() -> None:
    beside = (
        '"5-block.1", value = "0.1 ohm" },',
        '"5-block.1", value = "0.1 ohm" },\n'
        '    { kind = "resistor", between = "5-6", value = "100 ohm" },',
    )
    family = unit(beside, ("[members.switch]", '[[chart]]\npair = "5-6"\n\n[members.switch]'))
    assert str(family.chart[2].expect[0]) == "12.4 ohm"


def test_a_way_around_through_another_part_is_seen() -> None:
    # The coil lies across the switch's two pins: with the contact open they read the coil.
    with pytest.raises(BadFile, match="A-E of switch does not read by itself at 1-2"):
        unit(('"5-block.1"', '"1-block.1"'), ('"6-block.C"', '"2-block.C"'))


def test_a_pin_of_the_connector_has_its_place() -> None:
    family = unit(('pins = ["1", ', 'pins = [{ name = "1", place = [1, 2] }, '))
    assert family.pins[0] == Pin("1", (1, 2))
