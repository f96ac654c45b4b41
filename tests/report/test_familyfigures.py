"""The figures of a family say what its network does."""

from collections.abc import Callable
from dataclasses import replace
from math import inf

import numpy as np
import pytest

from benchproof.align.window import Window, shape_of, window_of
from benchproof.family.expectation import CLOSED
from benchproof.family.model import ChartRow, Family, Pin, Role
from benchproof.network.branches.base import Dwell, States
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.states import pair_ohms
from benchproof.report.familyfigures import conducting_arcs, dial_of, strip_of
from benchproof.report.layout import Rest
from benchproof.report.strip import Bar
from benchproof.shipped.read import lever_families, shipped_family, shipped_priors

Windows = Callable[[str], Window]


def family(*branches: Contact | Resistor, pair: tuple[str, str] = ("A", "B")) -> Family:
    return Family(
        name="invented",
        positions=("P", "R"),
        pins=tuple(Pin(name) for name in "ABC"),
        chart=(ChartRow(pair, (CLOSED, CLOSED)),),
        detents_deg=(0.0, 20.0),
        inner=("x",),
        branches=branches,
    )


def test_two_contacts_in_series_conduct_where_both_are_closed() -> None:
    made = family(
        Contact(("A", "x"), (Dwell(0.0, 10.0),)), Contact(("x", "B"), (Dwell(5.0, 20.0),))
    )
    assert conducting_arcs(made) == [(Bar(5.0, 10.0),)]


def test_two_contacts_in_parallel_make_one_arc() -> None:
    made = family(
        Contact(("A", "B"), (Dwell(0.0, 10.0),)), Contact(("A", "B"), (Dwell(8.0, 20.0),))
    )
    assert conducting_arcs(made) == [(Bar(0.0, 20.0),)]


def test_an_arc_through_a_resistor_says_so() -> None:
    made = family(
        Contact(("A", "B"), (Dwell(0.0, 10.0),)),
        Contact(("A", "x"), (Dwell(8.0, 30.0),), closed_ohm=1e-6),
        Resistor(("x", "B"), 390.0),
    )
    assert conducting_arcs(made) == [(Bar(0.0, 10.0), Bar(10.0, 30.0, "390 ohm"))]


@pytest.mark.parametrize(
    ("branches", "arcs"), [((), ()), ((Resistor(("A", "B"), 0.5),), (Bar(-inf, inf),))]
)
def test_a_pair_without_a_contact_is_always_open_or_always_closed(
    branches: tuple[Resistor, ...], arcs: tuple[Bar, ...]
) -> None:
    assert conducting_arcs(family(*branches)) == [arcs]


@pytest.mark.parametrize("name", lever_families())
def test_bars_stand_where_the_network_conducts(window: Windows, name: str) -> None:
    found = window(name)
    strip = strip_of(found)
    angles = np.linspace(*strip.span, 1501)
    states = States(np.zeros(len(angles), dtype=np.intp), angles)
    ohms = pair_ohms(found.family, [row.pair for row in found.family.chart], states)
    for row, column in zip(strip.rows, ohms.T, strict=True):
        inside = np.zeros(len(angles), dtype=bool)
        for bar in row.expected:
            inside |= (angles >= bar.low) & (angles <= bar.high)
        conducts = column < found.family.limits.open_at_least_ohm
        # At an edge itself either may be right.
        edges = [end for bar in row.expected for end in (bar.low, bar.high)]
        clear = np.array([all(abs(a - e) > 1e-6 for e in edges) for a in angles])
        assert (inside == conducts)[clear].all()


def test_the_strip_tells_window_rest_and_what_holds(window: Windows) -> None:
    found = window("valley-coded-7")
    strip = strip_of(found, Rest(2.0))
    assert strip.window == (found.low, found.high) == (-4.0, 4.0)
    assert strip.rest == Rest(2.0)
    held = {row.pair: row.holds for row in strip.rows}
    assert held["G-H"] == "−4 to +4"
    assert [row.role for row in strip.rows][-2:] == ["start permit", "reverse lamp"]


def test_a_strip_of_a_bare_chart_says_that_its_edges_are_assumed() -> None:
    bare = replace(shipped_family("valley-coded-7"), detents_deg=None, branches=(), inner=())
    priors = shipped_priors(bare.name)
    strip = strip_of(window_of(shape_of(bare, priors), priors))
    assert strip.unit == "gap"
    assert "assumed from the chart" in strip.note


def test_a_window_without_an_end_is_not_shaded_and_the_figure_says_so(window: Windows) -> None:
    open_ended = replace(window("valley-coded-7"), high=inf)
    assert strip_of(open_ended).window is None
    assert "no end" in strip_of(open_ended).note
    empty = replace(open_ended, low=3.0, high=-3.0)
    assert dial_of(empty).window is None
    assert "at no offset does every cell hold" in dial_of(empty).note


def test_the_dial_is_told_from_neutral(window: Windows) -> None:
    dial = dial_of(window("valley-coded-7"))
    assert dial.home == "N"
    assert dict(dial.detents)["N"] == 0.0
    assert dict(dial.detents)["P"] == -41.0
    assert (dial.radius_mm, dial.viewed_from) == (30.0, "cover side")


def test_a_family_without_marks_has_no_dial(window: Windows) -> None:
    found = window("valley-coded-7")
    bare = replace(found, family=replace(found.family, mark_radius_mm=None))
    with pytest.raises(ValueError, match="mark_radius_mm"):
        dial_of(bare)


def test_roles_without_a_meaning_are_left_out(window: Windows) -> None:
    rows = strip_of(window("harvest-ladder-8")).rows
    assert all(row.role != Role.OTHER.value for row in rows)
