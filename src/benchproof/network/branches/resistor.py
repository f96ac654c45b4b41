"""A fixed resistor, and insulation to the case."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from benchproof.family.branches import CASE
from benchproof.family.familyshape import BranchFile, BranchRow
from benchproof.family.model import Pair
from benchproof.family.tomlfile import Ohms
from benchproof.network.branches.base import Bools, Branch, Gone, States
from benchproof.network.faultkind import FaultKind, Sizes, SizeUnit
from benchproof.network.resistance import Floats

SHORT_OHM = 0.05
"""What a shorted resistor leaves, ohms."""
GOOD_SD = 0.005
"""Spread of a healthy resistor, relative."""


class ResistorFile(BranchFile, tag="resistor"):
    """A fixed resistor."""

    value: Ohms

    def branch(self, ends: Pair, row: BranchRow) -> "Resistor":
        """Return the resistor, noting what does not fit together."""
        ohm = row.ohm(self.value, "value")
        if ohm == float("inf"):
            row.problem("is a resistor that is open; leave it out.", "value")
        return Resistor(ends, ohm)


class ResistorFault(FaultKind):
    """What may be wrong with a resistor."""

    OPEN = "resistor open", "resistor_open_rate"
    SHORTED = "resistor shorted", "resistor_shorted_rate"
    DRIFTED = (
        "resistor drifted",
        "resistor_drifted_rate",
        Sizes(SizeUnit.FACTOR, "resistor_factor", tried=(0.6, 1.6)),
    )


@dataclass(frozen=True)
class Resistor(Branch):
    """A fixed resistance between two nodes, ohms, above zero.

    Insulation to the case is one of these with an end on `CASE`.
    """

    FILE = ResistorFile
    FAULTS = ResistorFault

    ohm: float

    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return its conductance, siemens, alike in each state."""
        return np.full(len(states.position), 1.0 / self.ohm)

    @property
    def fault_kinds(self) -> tuple[FaultKind, ...]:
        """What may be wrong with it: insulation to the case fails as a leak, not as a resistor."""
        return () if CASE in self.ends else super().fault_kinds

    def with_fault(self, kind: FaultKind, size: float) -> Branch:
        """Return it as a fault leaves it; the size is a factor of its ohms."""
        match kind:
            case ResistorFault.OPEN:
                return Gone(self.ends)
            case ResistorFault.SHORTED:
                return replace(self, ohm=SHORT_OHM)
            case _:
                return replace(self, ohm=self.ohm * size)

    def of_size(
        self,
        states: States,
        positions: Sequence[str],
    ) -> tuple[float, Bools]:
        """Return its ohms, and that a drift shows in every state."""
        return self.ohm, np.ones(len(states.position), dtype=np.bool_)

    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return one with ohms of its own."""
        return replace(self, ohm=self.ohm * float(1.0 + rng.normal(0.0, GOOD_SD)))
