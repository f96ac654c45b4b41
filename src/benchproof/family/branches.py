"""The branches of a part's network: what lies between two nodes.

A node is a pin, `CASE`, or an inner node that the family file declares.
"""

from dataclasses import dataclass

CASE = "case"
"""The housing as a terminal."""


@dataclass(frozen=True)
class Dwell:
    """An arc of shaft angle over which a contact is closed, ends included; degrees."""

    from_deg: float
    to_deg: float


@dataclass(frozen=True)
class Contact:
    """A contact moved by the lever.

    Attributes
    ----------
    ends : tuple of str
        The two nodes it joins.
    dwells : tuple of Dwell
        Where it is closed by shaft angle; empty if only the positions are known.
    closed_in : tuple of str
        Where it is closed by position; empty if dwells are given.
    closed_ohm : float
        Contact resistance when closed, ohms, above zero. The default, tens of milliohms for
        a new contact, is common practice, no source.
    open_ohm : float
        Leakage when open, ohms; may be infinite.
    """

    ends: tuple[str, str]
    dwells: tuple[Dwell, ...] = ()
    closed_in: tuple[str, ...] = ()
    closed_ohm: float = 0.05
    open_ohm: float = float("inf")


@dataclass(frozen=True)
class Resistor:
    """A fixed resistance between two nodes, ohms, above zero.

    Insulation to the case is one of these with an end on `CASE`.
    """

    ends: tuple[str, str]
    ohm: float


Branch = Contact | Resistor
"""Every kind of branch; a new kind is added here (see CONTRIBUTING.md)."""
