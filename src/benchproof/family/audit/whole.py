"""The audit of a whole chart: every rule, then the likeliest misprints."""

from collections.abc import Iterable

from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.audit.misprint import misprints
from benchproof.family.audit.rules import RULES
from benchproof.family.model import Family


def audit(family: Family) -> list[Finding]:
    """Return everything found in a family's chart by itself, errors first, hazards before others.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    found = [finding for rule in RULES for finding in rule.findings(family)]
    return in_order([*found, *misprints(family)])


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings with the worst first, otherwise as they came."""
    order = list(Severity)
    return sorted(findings, key=lambda finding: order.index(finding.severity))
