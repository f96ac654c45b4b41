"""Parts and the harness between them joined to one family, seen from the connector.

The network of each part goes in whole, its nodes under names of their own, so that all that is said
of a family holds of the whole. A row of a part's chart becomes that of the two pins of the
connector at which its own two are seen, if these read that part and nothing beside it; the ohms of
the wires are added to what it allows. A part without a lever reads the same wherever the lever of
another stands, so its rows hold in every position.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, isclose

import numpy as np

from benchproof.family.assembly import Assembly, NotJoined, node_of
from benchproof.family.branches import CASE
from benchproof.family.expectation import Expectation, FamilyLimits, Kind, parse_expectation
from benchproof.family.model import NO_ROLE, ChartRow, Family, Pair, Role, pair_text, same_pair
from benchproof.family.ohms import format_ohms
from benchproof.family.problems import Problem
from benchproof.family.roles import answered
from benchproof.network.branches.base import Branch, branches_of
from benchproof.network.chart import completed
from benchproof.network.geometry import with_branches
from benchproof.network.resistance import Floats
from benchproof.network.states import at_detents, conductances_s, ohms_between

SAME = 1e-9
"""Ohms that differ by no more than this part of them are the same."""


def joined(assembly: Assembly) -> Family:
    """Return parts and the harness between them as one family.

    Parameters
    ----------
    assembly : Assembly
        Parts that are each a good family, and a harness that names their pins.

    Raises
    ------
    NotJoined
        If a row of a part cannot be read at the connector, with a sentence for each.
    """
    parts = [_part(name, family, assembly.harness) for name, family in assembly.members.items()]
    whole = _network(assembly, parts)
    chart, problems = _chart(assembly, parts, whole)
    if problems:
        raise NotJoined(tuple(problems))
    return answered(replace(whole, chart=tuple(chart)), assembly.said)


@dataclass(frozen=True)
class _Part:
    """A member by itself, and how it is seen from the connector.

    Attributes
    ----------
    name : str
        Its name in the assembly.
    family : Family
        With its chart completed and its branches, under its own names.
    branches : tuple of Branch
        Its branches under the assembly's names.
    inner : tuple of str
        Its inner nodes under the assembly's names.
    seen_as : mapping of str to str
        Its pins, under its own names, and the pin of the connector at which each is seen.
    """

    name: str
    family: Family
    branches: tuple[Branch, ...]
    inner: tuple[str, ...]
    seen_as: Mapping[str, str]

    def node(self, own: str) -> str:
        """Return what the assembly calls one of its nodes: the case is one for all."""
        return own if own == CASE else node_of(self.name, own)


def _part(name: str, member: Family, harness: Family) -> _Part:
    family = with_branches(completed(member))
    node = {own: node_of(name, own) for own in (*family.pin_names, *family.inner)} | {CASE: CASE}
    branches = tuple(
        replace(branch, ends=(node[branch.ends[0]], node[branch.ends[1]]))
        for branch in branches_of(family)
    )
    seen = {CASE: CASE}
    for pin in family.pin_names:
        reached = _reached(harness, node[pin])
        # Its own plug is the last place: it is listed where it may be read besides.
        places = [own for own in (*harness.pin_names, CASE) if own in reached and own != node[pin]]
        if node[pin] in harness.pin_names:
            places.append(node[pin])
        if places:
            seen[pin] = places[0]
    return _Part(name, family, branches, tuple(node[own] for own in family.inner), seen)


def _reached(harness: Family, start: str) -> list[str]:
    """Return the nodes that the harness joins to one, nearest first."""
    reached = [start]
    for here in reached:
        for branch in branches_of(harness):
            if branch.leads and here in branch.ends:
                reached += [node for node in branch.ends if node not in reached]
    return reached


def _network(assembly: Assembly, parts: list[_Part]) -> Family:
    """Return the whole without its chart."""
    harness, moved = assembly.harness, assembly.moved
    seen_as: dict[str, str] = {}
    for part in parts:
        whole = {
            **part.seen_as,
            **{
                own: part.seen_as[pin]
                for own, pin in part.family.seen_as.items()
                if pin in part.seen_as
            },
        }
        seen_as |= {part.node(own): pin for own, pin in whole.items() if part.node(own) != pin}
    limits = harness.limits
    if not assembly.own_limits:
        limits = (moved or parts[0].family).limits
    family = replace(
        harness,
        inner=(*harness.inner, *(node for part in parts for node in part.inner)),
        seen_as=seen_as,
        members={
            part.name: frozenset(pin for pin in part.seen_as.values() if pin != CASE)
            for part in parts
        },
        branches=(*harness.branches, *(branch for part in parts for branch in part.branches)),
        limits=limits,
    )
    if moved is None:
        return family
    return replace(
        family,
        detents_deg=moved.detents_deg,
        park=moved.park,
        neutral=moved.neutral,
        reverse=moved.reverse,
        positions_told=moved.positions_told,
        mark_radius_mm=moved.mark_radius_mm,
        mark_line_mm=moved.mark_line_mm,
        viewed_from=moved.viewed_from,
        offset_grows=moved.offset_grows,
        code=moved.code,
        no_start_permit=moved.no_start_permit,
        permit_reason=moved.permit_reason,
        consequences=moved.consequences,
    )


def _chart(
    assembly: Assembly, parts: list[_Part], whole: Family
) -> tuple[list[ChartRow], list[Problem]]:
    """Return the chart of the connector, and what keeps rows of the parts from it."""
    told = {same_pair(row.pair): row for row in assembly.harness.chart}
    rows: dict[frozenset[str], ChartRow] = {}
    problems: list[Problem] = []
    for part in parts:
        for row in part.family.chart:
            found = _seen_row(row, part, assembly, whole, told)
            if isinstance(found, Problem):
                problems.append(found)
                continue
            pair = same_pair(found.pair)
            if pair in rows and pair not in told:
                problems.append(
                    Problem(
                        row.place,
                        f"{_of(part, row)} is read at {pair_text(found.pair)}, as another row is; "
                        "give that pair a row in the assembly's own chart.",
                    )
                )
            rows[pair] = found
    more = {pair: row for pair, row in told.items() if pair not in rows}
    return [*rows.values(), *more.values()], problems


def _of(part: _Part, row: ChartRow) -> str:
    return f"{pair_text(row.pair)} of {part.name}"


def _seen_row(
    row: ChartRow,
    part: _Part,
    assembly: Assembly,
    whole: Family,
    told: Mapping[frozenset[str], ChartRow],
) -> ChartRow | Problem:
    """Return a row of a part as the connector has it, or what keeps it from being read there."""
    lost = [pin for pin in row.pair if pin not in part.seen_as]
    if lost:
        return Problem(
            row.place,
            f"{_of(part, row)} cannot be read at the connector: no wire leads to its pin "
            f"{lost[0]}; wire it, or take the row out of the part's chart.",
        )
    pair = part.seen_as[row.pair[0]], part.seen_as[row.pair[1]]
    if pair[0] == pair[1]:
        return Problem(
            row.place,
            f"{_of(part, row)} cannot be read at the connector: both its pins lead to "
            f"{pair[0]}; wire them apart, or take the row out of the part's chart.",
        )
    role = row.role
    if role in NO_ROLE and not part.family.lever:
        # Nothing that the lever does not move is one of the others.
        role = Role.OTHER
    if own := told.get(same_pair(pair)):
        if row.role is Role.START_PERMIT and own.role not in (Role.START_PERMIT, Role.UNTOLD):
            return Problem(
                own.place,
                f"gives {pair_text(pair)} the role {own.role.value!r}, but it is the start permit "
                f"{_of(part, row)}; leave the role out.",
            )
        return replace(own, role=role if own.role is Role.UNTOLD else own.role)
    wire_ohm = _beside(row.pair, pair, part, assembly.harness, whole)
    if wire_ohm is None:
        return Problem(
            row.place,
            f"{_of(part, row)} does not read by itself at {pair_text(pair)}: something else lies "
            "beside it; give that pair a row in the assembly's own chart.",
        )
    expect = tuple(
        _through(one, wire_ohm, part.family.limits, whole.limits, assembly.own_limits)
        for one in row.expect
    )
    if not part.family.lever:
        expect *= len(whole.positions)
    return ChartRow(pair, expect, role, row.place)


def _beside(own: Pair, seen: Pair, part: _Part, harness: Family, whole: Family) -> float | None:
    """Return the ohms of the wires on the way to a part's pair; None if more than these differs.

    Looked at in every detent, and with every contact closed at once: what lies beside the part
    then takes a share of the current, however the lever stands.
    """
    here = _every_state(whole, whole)
    nodes = part.node(own[0]), part.node(own[1])
    ends = [(a, b) for a, b in zip(seen, nodes, strict=True) if a != b]
    leading = tuple(branch for branch in branches_of(harness) if branch.leads)
    wires = replace(harness, inner=whole.inner, branches=leading)
    ohms = ohms_between(wires, ends, _every_state(wires, whole)[:1]) if ends else np.zeros(1)
    wire_ohm = float(ohms.sum())
    alone = replace(whole, branches=part.branches)
    inside = ohms_between(alone, [nodes], _every_state(alone, whole))[:, 0]
    across = ohms_between(whole, [seen], here)[:, 0]
    same = all(
        isclose(a + wire_ohm, b, rel_tol=SAME) or (a, b) == (inf, inf)
        for a, b in zip(inside.tolist(), across.tolist(), strict=True)
    )
    return wire_ohm if same else None


def _every_state(family: Family, whole: Family) -> Floats:
    """Return the conductance of each branch in every detent, and in that where it is largest."""
    conductance_s = conductances_s(family, at_detents(whole))
    return np.vstack([conductance_s, conductance_s.max(axis=0, initial=0.0, keepdims=True)])


def _through(
    expectation: Expectation,
    wire_ohm: float,
    own: FamilyLimits,
    whole: FamilyLimits,
    given: bool,
) -> Expectation:
    """Return what a cell of a part asks for at the connector.

    A limit for open stays as it is: the wires are far below what is known of such a reading.

    Parameters
    ----------
    expectation : Expectation
        What is asked at the part.
    wire_ohm : float
        The ohms of the wires on the way there and back.
    own, whole : FamilyLimits
        The limits of the part, and those of the connector.
    given : bool
        Whether the limits of the connector are its own; they then stand for those of the part.
    """
    low, high = expectation.bounds(own)
    text = expectation.text
    match expectation.kind:
        case Kind.CLOSED:
            high += wire_ohm
            if not (given and expectation.high_ohm is None):
                text = f"< {format_ohms(high)}"
        case Kind.OPEN:
            if not (given and expectation.low_ohm is None):
                text = f"> {format_ohms(low)}"
        case Kind.OHMS:
            low, high = low + wire_ohm, high + wire_ohm
            nominal = expectation.nominal_ohm
            before = "" if nominal is None else f"{format_ohms(nominal)} "
            text = f"{before}{_span(format_ohms(low), format_ohms(high))}"
    if text == expectation.text or (low, high) == expectation.bounds(whole):
        return expectation
    # What is shown is what is asked for, to the digit.
    return parse_expectation(text)


def _span(low: str, high: str) -> str:
    """Return a span as a chart has it, its unit once where both have the same."""
    number, _, unit = low.partition(" ")
    return f"{number if high.endswith(f' {unit}') else low}..{high}"
