"""Which single cell, if it were printed otherwise, would make the chart consistent."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.audit.rules import RULES
from benchproof.family.expectation import CLOSED, OPEN, Expectation, Kind
from benchproof.family.model import Family, cell_text

RULE = "misprint"
MOST_TOLD = 6
_CONSISTENCY = [rule for rule in RULES if rule.consistency]
_WEAKNESSES = [rule for rule in RULES if rule.severity is not Severity.NOTE]


@dataclass(frozen=True)
class Correction:
    """A single cell, printed otherwise.

    Attributes
    ----------
    row, position : int
        Which cell, by number in the chart.
    instead : Expectation
        What it would be.
    left : frozenset of Finding
        The inconsistencies that would be left.
    weaknesses : int
        How many findings of any kind would be left.
    """

    row: int
    position: int
    instead: Expectation
    left: frozenset[Finding]
    weaknesses: int


def misprints(family: Family) -> list[Finding]:
    """Return the likeliest single misprints of a chart that is not consistent.

    Every cell is tried with every other expectation of its row, closed and open; the corrections
    that leave the fewest inconsistencies are told, and among these those that leave the fewest
    findings of any kind.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    found = _inconsistencies(family)
    best = _best(family, found)
    return [_finding(family, c, found, len(best)) for c in best[:MOST_TOLD]]


def corrections(family: Family) -> list[Correction]:
    """Return what would correct each of the `misprints`, in their order."""
    return _best(family, _inconsistencies(family))[:MOST_TOLD]


def corrected(family: Family, correction: Correction) -> Family:
    """Return the family with one cell printed otherwise."""
    return _with_cell(family, correction.row, correction.position, correction.instead)


def _best(family: Family, found: frozenset[Finding]) -> list[Correction]:
    """Return the corrections that leave least, of those that clear some and bring none."""
    if not found:
        return []
    useful = [correction for correction in _corrections(family) if correction.left < found]
    least = min(((len(c.left), c.weaknesses) for c in useful), default=None)
    return [c for c in useful if (len(c.left), c.weaknesses) == least]


def _inconsistencies(family: Family) -> frozenset[Finding]:
    return frozenset(found for rule in _CONSISTENCY for found in rule.findings(family))


def _corrections(family: Family) -> Iterator[Correction]:
    for number, row in enumerate(family.chart):
        for position, printed in enumerate(row.expect):
            if printed.kind is Kind.ANY:
                continue
            for instead in dict.fromkeys((CLOSED, OPEN, *row.expect)):
                if instead.kind in (Kind.ANY, printed.kind) and instead.kind is not Kind.OHMS:
                    continue
                if instead == printed:
                    continue
                tried = _with_cell(family, number, position, instead)
                weaknesses = sum(len(rule.findings(tried)) for rule in _WEAKNESSES)
                left = _inconsistencies(tried)
                yield Correction(number, position, instead, left, weaknesses)


def _with_cell(family: Family, number: int, position: int, instead: Expectation) -> Family:
    row = family.chart[number]
    expect = (*row.expect[:position], instead, *row.expect[position + 1 :])
    chart = (*family.chart[:number], replace(row, expect=expect), *family.chart[number + 1 :])
    return replace(family, chart=chart)


def _finding(
    family: Family, correction: Correction, found: frozenset[Finding], ways: int
) -> Finding:
    row = family.chart[correction.row]
    cell = cell_text(row.pair, family.positions[correction.position])
    left = len(correction.left)
    effect = (
        f"would leave {left} of {len(found)} inconsistencies"
        if left
        else "would make the chart consistent"
    )
    cleared = sorted({finding.rule for finding in found - correction.left})
    alone = "the only single change that does" if ways == 1 else f"one of {ways} that do"
    sentence = (
        f"{cell} may be a misprint: {correction.instead} instead of "
        f"{row.expect[correction.position]} {effect} (clears {', '.join(cleared)}; {alone}). "
        "Compare with another copy of the chart before changing it."
    )
    return Finding(RULE, Severity.WARNING, row.place, sentence)
