"""One thing that an audit found."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How bad a finding is."""

    ERROR = "error"
    """The chart contradicts itself or its roles: it has a mistake."""
    WARNING = "warning"
    """Worth a look before the chart is trusted, or a weakness of the part's design."""
    NOTE = "note"
    """Good to know."""


@dataclass(frozen=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    rule : str
        Name of the rule that found it.
    severity : Severity
        How bad it is.
    place : str
        Where in the file, as "line 12"; empty for the chart as a whole.
    sentence : str
        What was found and what it means.
    """

    rule: str
    severity: Severity
    place: str
    sentence: str
