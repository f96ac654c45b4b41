"""A family with dwells for every contact: its own where given, else those its chart implies.

Where only the chart is known, a closed run of it is one dwell that covers its detents; each edge
lies between two neighbouring detents. Start and reverse contacts that serve a single position are
the narrowest (common practice, no source); what tells the range runs on wide tracks, in however few
positions it is closed. A row of no known role is taken for such a track if it hangs on a common pin
with others, as range tracks do, and for a circuit of its own, narrow, if not. Without detent angles
the detents are taken one unit apart, so that angles are fractions of a detent gap.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchproof.family.expectation import FamilyLimits, Kind
from benchproof.family.model import ChartRow, Family, Pair, Role, same_pair
from benchproof.network.branches.base import Branch, Dwell, branches_of
from benchproof.network.branches.contact import ALWAYS, Contact
from benchproof.network.branches.resistor import Resistor


@dataclass(frozen=True)
class Margins:
    """How far an implied dwell reaches beyond its outer detents, in parts of the gap there.

    `single_gaps` is that of a narrow contact closed in one position, `run_gaps` that of all others.
    """

    single_gaps: float = 0.27
    run_gaps: float = 0.45


@dataclass(frozen=True)
class Geometry:
    """A family with detents, branches and a dwell for every contact.

    Attributes
    ----------
    family : Family
        The family so completed.
    unit : str
        ``deg``, or ``gap`` where angles are fractions of a detent gap.
    implied : bool
        Whether any edge is implied rather than given.
    """

    family: Family
    unit: str
    implied: bool


def geometry(family: Family, margins: Margins) -> Geometry:
    """Return a family's geometry, implied where its file does not give it.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    margins : Margins
        How far implied dwells reach.
    """
    unit = "deg" if family.detents_deg is not None else "gap"
    detents = family.detents_deg or tuple(float(n) for n in range(len(family.positions)))
    family = replace(family, detents_deg=detents)
    whole = with_branches(family)
    placed = [_with_dwells(branch, whole, margins) for branch in branches_of(whole)]
    implied = any(a is not b for a, b in zip(placed, whole.branches, strict=True))
    return Geometry(replace(whole, branches=tuple(placed)), unit, implied or whole is not family)


def with_branches(family: Family) -> Family:
    """Return a family with the branches that its chart implies, if it has none of its own.

    Each row has a contact for its closed positions, and a contact and a resistor for each value; in
    a part without a lever nothing moves: what is closed stays so, a value is there by itself.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    if family.branches:
        return family
    branches: list[Branch] = []
    seen_as: dict[str, str] = {}
    for number, row in enumerate(family.chart):
        if not family.lever:
            branches += _at_rest(row, family.limits)
            continue
        kinds = zip(family.positions, row.expect, strict=True)
        if closed := tuple(p for p, expectation in kinds if expectation.kind is Kind.CLOSED):
            branches.append(Contact(row.pair, closed_in=closed))
        values: dict[tuple[float, float], list[str]] = {}
        for position, expectation in zip(family.positions, row.expect, strict=True):
            if expectation.kind is Kind.OHMS:
                values.setdefault(expectation.bounds(family.limits), []).append(position)
        for which, ((low, high), here) in enumerate(values.items()):
            node = f"row {number + 1} resistor {which + 1}"
            # Its contact is as wide as the row's.
            seen_as[node] = row.pair[1]
            branches.append(Contact((row.pair[0], node), closed_in=tuple(here)))
            branches.append(Resistor((node, row.pair[1]), (low + high) / 2.0))
    return replace(
        family,
        branches=tuple(branches),
        inner=(*family.inner, *seen_as),
        seen_as={**family.seen_as, **seen_as},
    )


def _at_rest(row: ChartRow, limits: FamilyLimits) -> Iterator[Branch]:
    """Yield what lies between the pins of a row of a part without a lever."""
    (expectation,) = row.expect
    if expectation.kind is Kind.CLOSED:
        yield Contact(row.pair, (ALWAYS,))
    elif expectation.kind is Kind.OHMS:
        low, high = expectation.bounds(limits)
        yield Resistor(row.pair, (low + high) / 2.0)


def mean_gap(shape: Geometry) -> float:
    """Return the mean gap between detents, in the family's unit of angle; 1 for a single detent."""
    detents = np.asarray(shape.family.detents_deg)
    return float(np.diff(detents).mean()) if len(detents) > 1 else 1.0


def _with_dwells(branch: Branch, family: Family, margins: Margins) -> Branch:
    if not branch.closed_in:
        return branch
    closed = [name in branch.closed_in for name in family.positions]
    single = margins.run_gaps if _wide(branch.ends, family) else margins.single_gaps
    dwells = tuple(_dwells(closed, family, single, margins.run_gaps))
    return branch.at_angles(dwells)


NARROW = frozenset({Role.START_PERMIT, Role.REVERSE_LAMP})
WIDE = frozenset({Role.RANGE_BIT, Role.RANGE_LEVEL})


def _wide(ends: Pair, family: Family) -> bool:
    """Return whether a contact is taken for a wide track, in however few positions it is closed."""
    seen = [family.seen_as.get(node, node) for node in ends]
    if any(node in family.inner for node in seen):
        # A tap of a ladder tells the range by its ohms.
        return True
    pair = frozenset(seen)
    roles = {row.role for row in family.chart if same_pair(row.pair) == pair}
    if roles & (NARROW | WIDE):
        return not roles & NARROW
    others = [row for row in family.chart if same_pair(row.pair) & pair and row.role not in NARROW]
    return len({same_pair(row.pair) for row in others} - {pair}) >= 2


def _dwells(
    closed: Sequence[bool], family: Family, single_gaps: float, run_gaps: float
) -> Iterator[Dwell]:
    """Yield a dwell for each run of closed positions, its margin by whether it is of one."""
    detents = family.detents_deg
    assert detents is not None, "the caller has set the detents"
    last = len(closed) - 1
    start = 0
    for number, here in enumerate(closed):
        if not here:
            start = number + 1
        elif number == last or not closed[number + 1]:
            margin = single_gaps if start == number else run_gaps
            before = detents[start] - detents[start - 1] if start else _end_gap(detents)
            after = detents[number + 1] - detents[number] if number < last else _end_gap(detents)
            yield Dwell(detents[start] - margin * before, detents[number] + margin * after)


def _end_gap(detents: Sequence[float]) -> float:
    """Return the gap assumed beyond the end positions: the mean gap."""
    return (detents[-1] - detents[0]) / (len(detents) - 1) if len(detents) > 1 else 1.0
