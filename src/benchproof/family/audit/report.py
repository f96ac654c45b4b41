"""The audit of a family's chart."""

from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.audit.misprint import misprints
from benchproof.family.audit.rules import RULES
from benchproof.family.model import Family

_ORDER = list(Severity)


def audit(family: Family) -> list[Finding]:
    """Return everything found in a family's chart, errors first, hazards before other errors.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    found = [finding for rule in RULES for finding in rule.findings(family)]
    return sorted([*found, *misprints(family)], key=lambda finding: _ORDER.index(finding.severity))
