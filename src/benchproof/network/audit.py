"""The audit of a family whole: its chart by itself, and its chart against its branches."""

from benchproof.family.audit.finding import Finding
from benchproof.family.audit.whole import audit, in_order
from benchproof.family.model import Family
from benchproof.network.chart import disagreements


def audit_family(family: Family) -> list[Finding]:
    """Return everything found in a family, errors first.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    return in_order([*audit(family), *disagreements(family)])
