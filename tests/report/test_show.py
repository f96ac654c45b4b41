"""The pictures of what to do: the pins that are asked are ringed where the family tells them."""

from collections.abc import Callable
from itertools import combinations
from math import atan2, degrees
from typing import TYPE_CHECKING

import pytest

from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pin
from benchproof.report.connector import seats
from benchproof.report.connectorview import FROM, MOST_PINS, draw_connector
from benchproof.report.leverview import MOST_POSITIONS, draw_again, draw_lever
from benchproof.shipped.read import shipped_family

if TYPE_CHECKING:
    from tests.report.conftest import Figure

Taken = Callable[[str], "Figure"]
FAMILIES = (
    "valley-coded-7",
    "orchard-single-7",
    "harvest-ladder-8",
    "ferry-two-of-four-6",
    "terrace-transit-9",
    "depot-coils-3",
    "meadow-unit-6",
)
SIDES = pytest.mark.parametrize("mirrored", [False, True])


def named(figure: "Figure", group: str) -> dict[str, tuple[float, float]]:
    """Return the words of a part of a figure and where the middle of each stands."""
    # Letters stand on a line: their middle is about a third of their size above it.
    return {
        one.text or "": (
            float(one.attrib["x"]),
            float(one.attrib["y"]) - 0.36 * float(one.attrib["font-size"]),
        )
        for one in figure.parts("text", group)
    }


def pins_of(figure: "Figure") -> dict[str, tuple[float, float]]:
    return named(figure, "pins") | named(figure, "ringed")


def pairs_of(family: Family) -> list[tuple[str, str]]:
    return [row.pair for row in family.chart]


@SIDES
@pytest.mark.parametrize("name", FAMILIES)
def test_the_pins_that_are_asked_are_ringed_and_no_others(
    name: str, mirrored: bool, taken_apart: Taken
) -> None:
    family = shipped_family(name)
    for pair in pairs_of(family):
        figure = taken_apart(draw_connector(family.pins, pair, mirrored=mirrored, has_case=True))
        on_it = set(pair) - {CASE}
        assert set(named(figure, "ringed")) == on_it
        assert set(named(figure, "pins")) == set(family.pin_names) - on_it
        rings = figure.parts("circle", "ringed")
        hollow = [one for one in rings if one.attrib["fill"] == "none"]
        assert len(hollow) == len(on_it)
        # Each ring is round a name that is asked for.
        for ring in hollow:
            x, y = float(ring.attrib["cx"]), float(ring.attrib["cy"])
            near = min(
                pins_of(figure).items(), key=lambda one: (one[1][0] - x) ** 2 + (one[1][1] - y) ** 2
            )
            assert near[0] in on_it


@pytest.mark.parametrize("name", FAMILIES)
def test_pins_stand_as_the_family_tells_and_the_sides_mirror_each_other(
    name: str, taken_apart: Taken
) -> None:
    family = shipped_family(name)
    pair = family.chart[0].pair
    mating = pins_of(taken_apart(draw_connector(family.pins, pair)))
    wire = pins_of(taken_apart(draw_connector(family.pins, pair, mirrored=True)))
    place = {pin.name: pin.place for pin in family.pins}
    for one, other in combinations(family.pin_names, 2):
        first, second = place[one], place[other]
        assert first is not None
        assert second is not None
        if first[1] != second[1]:
            assert (mating[one][0] < mating[other][0]) is (first[1] < second[1])
            assert (wire[one][0] > wire[other][0]) is (first[1] < second[1])
        if first[0] != second[0]:
            assert (mating[one][1] < mating[other][1]) is (first[0] < second[0])
            assert (wire[one][1] < wire[other][1]) is (first[0] < second[0])
    middle = {round(mating[pin][0] + wire[pin][0], 2) for pin in family.pin_names}
    assert len(middle) == 1, "one is the other in a mirror"


@SIDES
def test_the_drawing_and_the_rule_agree(mirrored: bool) -> None:
    pins = shipped_family("valley-coded-7").pins
    told = {seat.name: seat.column for seat in seats(pins, mirrored=mirrored)}
    assert told["A"] == (5 if mirrored else 1)
    assert told["C"] == 3
    assert told["K"] == (2 if mirrored else 4)


def test_it_is_told_in_words_too(taken_apart: Taken) -> None:
    pins = shipped_family("valley-coded-7").pins
    mating, wire = (draw_connector(pins, ("J", "E"), mirrored=one) for one in (False, True))
    assert "J is in row 2 from the top, 3 from the left." in mating
    assert "E is in row 1 from the top, 5 from the left." in mating
    assert "E is in row 1 from the top, 1 from the left." in wire
    assert FROM[0] in named(taken_apart(mating), "caption")
    assert FROM[1] in named(taken_apart(wire), "caption")


def test_without_places_it_is_a_plain_row_that_says_so(taken_apart: Taken) -> None:
    pins = [Pin(name) for name in "ABCDEFG"]
    figure = taken_apart(draw_connector(pins, ("B", "F")))
    found = pins_of(figure)
    assert sorted(found, key=lambda name: found[name][0]) == list("ABCDEFG")
    assert set(named(figure, "ringed")) == {"B", "F"}
    assert "In a row as listed: places not told" in named(figure, "caption")


def test_pins_too_small_to_be_read_are_named_large_above(taken_apart: Taken) -> None:
    pins = [Pin(f"{n}", ((n - 1) // 20 + 1, (n - 1) % 20 + 1)) for n in range(1, 61)]
    figure = taken_apart(draw_connector(pins, ("13", "44")))
    for name in ("13", "44"):
        sizes = [
            float(one.attrib["font-size"])
            for one in figure.parts("text", "ringed")
            if one.text == name
        ]
        assert max(sizes) >= 8.0


def test_the_housing_is_a_lug_that_is_ringed_when_it_is_asked() -> None:
    family = shipped_family("depot-coils-3")
    asked = draw_connector(family.pins, ("C", CASE))
    beside = draw_connector(family.pins, ("1", "C"), has_case=True)
    assert "goes on the bare housing" in asked
    # The box is the same with and without, so that nothing moves.
    head = asked.partition("viewBox=")[2][:20]
    assert beside.partition("viewBox=")[2][:20] == head


def test_what_cannot_be_drawn_is_left_out() -> None:
    many = [Pin(f"{n}") for n in range(MOST_PINS + 1)]
    assert draw_connector(many, ("1", "2")) == ""
    assert draw_connector([Pin("A"), Pin("B")], ("A", "switch.E")) == ""
    assert draw_connector([], ("A", "B")) == ""
    assert draw_lever(tuple("PRND"), "L") == ""
    assert draw_lever([f"{n}" for n in range(MOST_POSITIONS + 1)], "1") == ""


def angle(at: tuple[float, float]) -> float:
    """Return a direction from the lever's pivot, degrees to the right of the top."""
    return degrees(atan2(at[0] - 55.0, 61.0 - at[1]))


def knob(figure: "Figure") -> float:
    """Return where the knob is drawn: the largest filled disc of the lever."""
    discs = [one for one in figure.parts("circle", "lever") if one.attrib["fill"] == "#000000"]
    (disc,) = discs
    return angle((float(disc.attrib["cx"]), float(disc.attrib["cy"])))


@pytest.mark.parametrize("name", [name for name in FAMILIES if shipped_family(name).lever])
def test_the_lever_points_to_its_position(name: str, taken_apart: Taken) -> None:
    positions = shipped_family(name).positions
    for to in positions:
        figure = taken_apart(draw_lever(positions, to))
        names = named(figure, "names")
        assert sorted(names, key=lambda one: names[one][0]) == list(positions)
        assert knob(figure) == pytest.approx(angle(names[to]), abs=3.0)
        loud = [one.text for one in figure.parts("text", "names") if "font-weight" in one.attrib]
        assert loud == [to]


@pytest.mark.parametrize("lean", ["R", "D"])
def test_a_held_lever_stands_off_its_notch_and_an_arrow_says_which_way(
    lean: str, taken_apart: Taken
) -> None:
    positions = shipped_family("valley-coded-7").positions
    svg = draw_lever(positions, "N", lean)
    figure = taken_apart(svg)
    names = named(figure, "names")
    way = 1.0 if angle(names[lean]) > angle(names["N"]) else -1.0
    notch, neighbor = angle(names["N"]), angle(names[lean])
    assert way * notch < way * knob(figure) < way * neighbor
    *_, arrow = figure.parts("polygon", "lever")
    tip = tuple(float(n) for n in arrow.attrib["points"].split()[0].split(","))
    assert way * angle((tip[0], tip[1])) > way * knob(figure)
    assert f"Held toward {lean}." in svg
    assert "Held" not in draw_lever(positions, "N")


def test_the_way_from_where_it_stood_is_drawn() -> None:
    positions = shipped_family("valley-coded-7").positions
    moved = draw_lever(positions, "D", before="P")
    assert "It stood in P." in moved
    stays = draw_lever(positions, "D", before="D")
    assert "It stood" not in stays
    assert "stroke-dasharray" in moved
    assert "stroke-dasharray" not in stays


@pytest.mark.parametrize(
    "positions",
    [
        tuple("PRND321"),
        ("PARK", "REV", "NEUT", "DRIVE", "M3", "M2", "M1", "LOW", "CRAWL"),
        ("F", "N", "R"),
        tuple("ABCDEFGHIJKLMNOP"),
    ],
)
def test_no_names_touch(positions: tuple[str, ...], taken_apart: Taken) -> None:
    for to in positions:
        words = taken_apart(draw_lever(positions, to)).words()
        for one, other in combinations(words, 2):
            apart = (
                one.box[2] <= other.box[0]
                or other.box[2] <= one.box[0]
                or one.box[3] <= other.box[1]
                or other.box[3] <= one.box[1]
            )
            assert apart, (to, one.text, other.text)
        for one in words:
            assert one.box[0] >= 0.0, (to, one.text)
            assert one.box[2] <= 110.0, (to, one.text)


def test_probes_off_and_on_again_is_a_picture_of_its_own(taken_apart: Taken) -> None:
    svg = draw_again()
    figure = taken_apart(svg)
    assert set(named(figure, "off")) == {"off"}
    assert set(named(figure, "on")) == {"on again"}
    assert "Lift both probes off the pins, then set them on the same pins anew." in svg
