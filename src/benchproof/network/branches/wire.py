"""A wire of a harness with its joints: from a connector's pin to a part, or from part to part."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Self

import numpy as np
from msgspec import Meta

from benchproof.family.familyshape import BranchFile, BranchRow
from benchproof.family.model import Pair
from benchproof.family.tomlfile import Ohms
from benchproof.network.branches.base import Bools, Branch, Gone, States
from benchproof.network.faultkind import FaultKind, Sizes, SizeUnit
from benchproof.network.resistance import Floats

COPPER_OHM_MM2_PER_M = 1.0 / 58.0
"""Resistivity of annealed copper at 20 degC (IEC 60028)."""
GOOD_SD = 0.1
"""Spread of a healthy wire with its joints, relative (invented)."""


class WireFile(BranchFile, tag="wire"):
    """A wire with its joints: `value`, or `length_m` and `gauge_awg` or `area_mm2` of copper."""

    value: Ohms | None = None
    length_m: Annotated[float, Meta(gt=0, le=1000)] | None = None
    gauge_awg: Annotated[int, Meta(ge=0, le=40)] | None = None
    area_mm2: Annotated[float, Meta(gt=0, le=1000)] | None = None

    def branch(self, ends: Pair, row: BranchRow) -> "Wire":
        """Return the wire, noting what does not fit together."""
        by_length = [self.length_m, self.gauge_awg, self.area_mm2]
        if self.value is not None:
            if by_length != [None, None, None]:
                row.problem("gives a wire's 'value' and its length or gauge; keep one.", "value")
            ohm = row.ohm(self.value, "value")
            if ohm == float("inf"):
                row.problem("is a wire that is open; leave it out.", "value")
            return Wire(ends, ohm)
        if self.length_m is None or (self.gauge_awg is None) == (self.area_mm2 is None):
            row.problem("is a wire without ohms; give 'value', or 'length_m' and 'gauge_awg'.")
            return Wire(ends)
        area_mm2 = self.area_mm2 if self.gauge_awg is None else area_of_gauge(self.gauge_awg)
        assert area_mm2 is not None, "one of the two is given"
        return Wire(ends, copper_ohm(self.length_m, area_mm2))


def area_of_gauge(gauge_awg: int) -> float:
    """Return the cross-section of a solid wire of a gauge, square millimeters.

    References
    ----------
    American wire gauge: diameters are 5 * 92 ** ((36 - n) / 39) thousandths of an inch (from
    memory; it reproduces a table of ohms, HyperPhysics, read).

    Examples
    --------
    >>> round(area_of_gauge(18), 3)
    0.823
    """
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge_awg) / 39)
    area: float = np.pi / 4.0 * diameter_mm**2
    return area


def copper_ohm(length_m: float, area_mm2: float) -> float:
    """Return the ohms of a copper wire at 20 degrees Celsius.

    Examples
    --------
    >>> round(copper_ohm(1.0, 1.0), 5)
    0.01724
    """
    return COPPER_OHM_MM2_PER_M * length_m / area_mm2


class WireFault(FaultKind):
    """What may be wrong with a wire; the usual rates and sizes are those of priors.toml."""

    OPEN = "wire open", "wire_open_rate", None, 0.004
    HIGH = (
        "wire joint high",
        "wire_high_rate",
        Sizes(SizeUnit.OHMS, "wire_high_ohm", tried=(6.0, 40.0, 300.0), usual=(2.0, 10_000.0)),
        0.004,
    )


@dataclass(frozen=True)
class Wire(Branch):
    """A wire with its joints.

    Attributes
    ----------
    ends : tuple of str
        The two nodes it joins.
    ohm : float
        Its resistance, ohms, above zero. The default, tens of milliohms for some feet of wire, is
        common practice, no source.
    """

    FILE = WireFile
    FAULTS = WireFault

    ohm: float = 0.05

    @property
    def leads(self) -> bool:
        """Whether it only leads from place to place: it does."""
        return True

    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return its conductance, siemens, alike in each state."""
        return np.full(len(states.position), 1.0 / self.ohm)

    def with_fault(self, kind: FaultKind, size: float) -> Branch:
        """Return it as a fault leaves it; the size is its ohms, the high joint's with them."""
        return Gone(self.ends) if kind is WireFault.OPEN else replace(self, ohm=size)

    def of_size(self, states: States, positions: Sequence[str]) -> tuple[float, Bools]:
        """Return 1 ohm, and that a high joint shows in every state."""
        return 1.0, np.ones(len(states.position), dtype=np.bool_)

    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return one with ohms of its own."""
        return replace(self, ohm=self.ohm * float(np.exp(rng.normal(0.0, GOOD_SD))))
