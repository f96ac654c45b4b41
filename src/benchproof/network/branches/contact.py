"""A contact that the lever moves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Self

import numpy as np
from msgspec import Meta

from benchproof.family.familyshape import Angle, BranchFile, BranchRow
from benchproof.family.model import Pair
from benchproof.family.tomlfile import Ohms, Text
from benchproof.network.branches.base import Bools, Branch, Dwell, Gone, States
from benchproof.network.faultkind import FaultKind, Sizes, SizeUnit
from benchproof.network.resistance import Floats

ALWAYS = Dwell(-1e6, 1e6)
NEW_OHM = 0.02, 0.15
"""Contact resistance of a healthy contact lies between these, ohms (common practice, no source)."""

DwellFile = Annotated[
    list[Angle], Meta(min_length=2, max_length=2, description="[from, to], in degrees")
]


class ContactFile(BranchFile, tag="contact"):
    """A contact that the lever moves: closed over dwells of shaft angle, or in named positions."""

    dwells_deg: Annotated[list[DwellFile], Meta(min_length=1, max_length=100)] | None = None
    closed_in: Annotated[list[Text], Meta(min_length=1)] | None = None
    closed: Ohms = "0.05 ohm"
    open: Ohms = "open"

    def branch(self, ends: Pair, row: BranchRow) -> "Contact":
        """Return the contact, noting what does not fit together."""
        if not row.has_lever:
            row.problem(
                "is a contact that a lever moves, but the file has no 'positions'; give the "
                "positions, or what is there instead."
            )
            return Contact(ends)
        if (self.dwells_deg is None) == (self.closed_in is None):
            row.problem("needs 'dwells_deg' or 'closed_in', and not both.")
        if self.dwells_deg is not None and not row.has_detents:
            row.problem(
                "gives dwells in degrees, but the file has no 'detents_deg'; "
                "give that too, or 'closed_in' here.",
                "dwells_deg",
            )
        closed_ohm = row.ohm(self.closed, "closed")
        open_ohm = row.ohm(self.open, "open")
        if not closed_ohm < open_ohm:
            row.problem("is a contact no better closed than open; swap the two.", "closed")
        dwells = enumerate(self.dwells_deg or [])
        named = enumerate(self.closed_in or [])
        return Contact(
            ends,
            tuple(_dwell(low, high, row, i) for i, (low, high) in dwells),
            tuple(row.position(name, "closed_in", i) for i, name in named),
            closed_ohm,
            open_ohm,
        )


def _dwell(low: float, high: float, row: BranchRow, number: int) -> Dwell:
    if not low < high:
        row.problem(
            f"has a dwell from {low:g} to {high:g}; put the lower angle first.",
            "dwells_deg",
            number,
        )
    return Dwell(low, high)


class ContactFault(FaultKind):
    """What may be wrong with a contact."""

    OPEN = "contact open", "contact_open_rate"
    HIGH = (
        "contact high",
        "contact_high_rate",
        Sizes(SizeUnit.OHMS, "contact_high_ohm", tried=(6.0, 40.0, 300.0)),
    )
    STUCK = "contact stuck closed", "contact_stuck_rate"
    CHATTERS = "contact chatters", "contact_chatters_rate"

    @property
    def never_closes(self) -> bool:
        """Whether what the lever closes stays open."""
        return self is ContactFault.OPEN

    @property
    def by_turns(self) -> "ContactFault | None":
        """What it is by turns with no fault: a contact that chatters is open by turns."""
        return ContactFault.OPEN if self is ContactFault.CHATTERS else None


@dataclass(frozen=True)
class Contact(Branch):
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

    FILE = ContactFile
    FAULTS = ContactFault

    dwells: tuple[Dwell, ...] = ()
    closed_in: tuple[str, ...] = ()
    closed_ohm: float = 0.05
    open_ohm: float = float("inf")

    def at_angles(self, dwells: tuple[Dwell, ...]) -> "Contact":
        """Return it with dwells in place of positions."""
        return replace(self, dwells=dwells, closed_in=())

    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return its conductance in each state, siemens.

        Raises
        ------
        ValueError
            If its dwells need angles and the states have none.
        """
        closed = self._closed(states, positions)
        return np.where(closed, 1.0 / self.closed_ohm, 1.0 / self.open_ohm)

    def _closed(self, states: States, positions: Sequence[str]) -> Bools:
        """Return whether it is closed in each state."""
        if not self.dwells:
            numbers = [positions.index(name) for name in self.closed_in]
            return np.isin(states.position, numbers)
        if self.dwells == (ALWAYS,):
            return np.ones(len(states.position), dtype=np.bool_)
        if states.angle_deg is None:
            raise ValueError("the contact's dwells are angles, and the states have none")
        closed = np.zeros(len(states.angle_deg), dtype=np.bool_)
        for dwell in self.dwells:
            closed |= (states.angle_deg >= dwell.from_deg) & (states.angle_deg <= dwell.to_deg)
        return closed

    def with_fault(self, kind: FaultKind, size: float) -> Branch:
        """Return it as a fault leaves it; the size is its ohms when closed."""
        match kind:
            case ContactFault.OPEN:
                return Gone(self.ends)
            case ContactFault.HIGH:
                return replace(self, closed_ohm=size)
            case ContactFault.STUCK:
                return replace(self, dwells=(ALWAYS,), closed_in=())
            case _:
                return self

    def of_size(self, states: States, positions: Sequence[str]) -> tuple[float, Bools]:
        """Return 1 ohm, and the states in which it is closed: a high contact shows there alone."""
        return 1.0, self._closed(states, positions)

    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return one with edges and contact resistance of its own."""
        return replace(
            self,
            dwells=tuple(
                Dwell(d.from_deg + edge_shift(), d.to_deg + edge_shift()) for d in self.dwells
            ),
            closed_ohm=float(np.exp(rng.uniform(*np.log(NEW_OHM)))),
        )
