"""The chart that a family's branches make, and where the printed chart disagrees with it."""

from dataclasses import replace

from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.expectation import CLOSED, OPEN, Expectation, FamilyLimits, Kind
from benchproof.family.model import ChartRow, Family, cell_text
from benchproof.family.ohms import format_ohms
from benchproof.network.states import at_detents, pair_ohms


def completed(family: Family) -> Family:
    """Return the family with every chart row filled in from the branches where it was left out."""
    if all(row.expect for row in family.chart):
        return family
    ohms = pair_ohms(family, [row.pair for row in family.chart], at_detents(family))
    chart = tuple(
        row
        if row.expect
        else replace(row, expect=tuple(_expectation(float(ohm), family.limits) for ohm in column))
        for row, column in zip(family.chart, ohms.T, strict=True)
    )
    return replace(family, chart=chart)


def _expectation(ohm: float, limits: FamilyLimits) -> Expectation:
    if ohm <= limits.closed_at_most_ohm:
        return CLOSED
    if ohm >= limits.open_at_least_ohm:
        return OPEN
    return Expectation(Kind.OHMS, nominal_ohm=ohm, text=format_ohms(ohm, digits=3))


def disagreements(family: Family) -> tuple[Finding, ...]:
    """Return a finding for each cell whose charted limits exclude what the branches make of it.

    Parameters
    ----------
    family : Family
        A family with a completed chart; without branches there is nothing to compare.
    """
    if not family.branches:
        return ()
    ohms = pair_ohms(family, [row.pair for row in family.chart], at_detents(family))
    return tuple(
        _disagreement(family, row, number, float(ohms[number, column]))
        for column, row in enumerate(family.chart)
        for number in range(len(family.positions))
        if not _agrees(family, row, number, float(ohms[number, column]))
    )


def _agrees(family: Family, row: ChartRow, position: int, ohm: float) -> bool:
    low, high = row.expect[position].bounds(family.limits)
    return low <= ohm <= high


def _disagreement(family: Family, row: ChartRow, position: int, ohm: float) -> Finding:
    computed = _expectation(ohm, family.limits)
    sentence = (
        f"{cell_text(row.pair, family.positions[position])} is charted "
        f"{row.expect[position]}, but the branches make it {computed}; one of the two is wrong."
    )
    return Finding("chart-against-branches", Severity.ERROR, row.place, sentence)
