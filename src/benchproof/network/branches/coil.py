"""A coil of copper wire, such as a solenoid's: its ohms grow with its temperature."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from benchproof.family.familyshape import BranchFile, BranchRow
from benchproof.family.model import Pair
from benchproof.family.tomlfile import Ohms
from benchproof.network.branches.base import USUAL_C, Bools, Branch, Gone, States
from benchproof.network.faultkind import FaultKind, Sizes, SizeUnit
from benchproof.network.resistance import Floats

COPPER_PER_K = 0.00393
"""What each kelvin adds to the ohms of annealed copper, of those at 20 degC (IEC 60028)."""
GOOD_SD = 0.01
"""Spread of a healthy coil, relative (invented)."""


class CoilFile(BranchFile, tag="coil"):
    """A coil of copper wire; `value` is at 20 degrees Celsius."""

    value: Ohms

    def branch(self, ends: Pair, row: BranchRow) -> "Coil":
        """Return the coil, noting what does not fit together."""
        ohm = row.ohm(self.value, "value")
        if ohm == float("inf"):
            row.problem("is a coil that is open; give its ohms at 20 degrees Celsius.", "value")
        return Coil(ends, ohm)


class CoilFault(FaultKind):
    """What may be wrong with a coil; the usual rates and sizes are those of priors.toml."""

    OPEN = "coil open", "coil_open_rate", None, 0.008
    SHORTED = (
        "coil turns shorted",
        "coil_shorted_rate",
        Sizes(SizeUnit.FACTOR, "coil_shorted_factor", tried=(0.6,), usual=(0.05, 0.93)),
        0.004,
    )
    HIGH = (
        "coil high",
        "coil_high_rate",
        Sizes(SizeUnit.FACTOR, "coil_high_factor", tried=(1.6,), usual=(1.07, 100.0)),
        0.004,
    )


@dataclass(frozen=True)
class Coil(Branch):
    """A coil of copper wire.

    Attributes
    ----------
    ends : tuple of str
        The two nodes it joins; a coil that returns through its body has one on `CASE`.
    ohm : float
        Its resistance at 20 degrees Celsius, ohms, above zero.

    References
    ----------
    IEC 60028, International standard of resistance for copper: the temperature coefficient of
    annealed copper at 20 degC is 0.00393 per kelvin (read in works that quote it).
    """

    FILE = CoilFile
    FAULTS = CoilFault

    ohm: float

    @property
    def warms(self) -> bool:
        """Whether its conductance depends on its temperature: it does."""
        return True

    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return its conductance in each state, siemens, by the temperature there.

        Raises
        ------
        ValueError
            If a temperature is so low that the linear law leaves no ohms.
        """
        return 1.0 / self._ohms(states)

    def _ohms(self, states: States) -> Floats:
        """Return its ohms in each state."""
        growth = 1.0 + COPPER_PER_K * (states.celsius - USUAL_C)
        if (growth <= 0.0).any():
            raise ValueError("a coil so cold is beyond the law of its ohms")
        found: Floats = self.ohm * growth
        return found

    def with_fault(self, kind: FaultKind, size: float) -> Branch:
        """Return it as a fault leaves it; the size is a factor of its ohms."""
        return Gone(self.ends) if kind is CoilFault.OPEN else replace(self, ohm=self.ohm * size)

    def of_size(self, states: States, positions: Sequence[str]) -> tuple[float, Bools]:
        """Return its ohms, and that shorted turns and a high coil show in every state.

        Raises
        ------
        ValueError
            If the states are not of one temperature.
        """
        ohms = self._ohms(states)
        if (ohms != ohms[0]).any():
            raise ValueError("the size of a coil's fault is told at one temperature")
        return float(ohms[0]), np.ones(len(ohms), dtype=np.bool_)

    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return one with ohms of its own."""
        return replace(self, ohm=self.ohm * float(1.0 + rng.normal(0.0, GOOD_SD)))
