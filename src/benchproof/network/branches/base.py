"""What every kind of branch answers, and the states it is asked in."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from benchproof.family.familyshape import BranchFile
from benchproof.family.model import Family, Pair
from benchproof.network.faultkind import FaultKind
from benchproof.network.resistance import Floats

Bools = NDArray[np.bool_]

USUAL_C = 20.0
"""The temperature where none is told, degrees Celsius: what makers tell ohms at."""


@dataclass(frozen=True)
class States:
    """Many states of a part.

    Attributes
    ----------
    position : array of int, shape (states,)
        Number of the lever position each state belongs to.
    angle_deg : array of float, shape (states,), or None
        Shaft angle, degrees; None if the family does not tell its detents.
    temperature_c : array of float, shape (states,), or None
        Temperature of the part, degrees Celsius; None if it is not told.
    """

    position: NDArray[np.intp]
    angle_deg: Floats | None
    temperature_c: Floats | None = None

    @property
    def celsius(self) -> Floats:
        """The temperature, degrees Celsius, 20 where none is told; shape (states,)."""
        if self.temperature_c is None:
            return np.full(len(self.position), USUAL_C)
        return self.temperature_c


@dataclass(frozen=True)
class Dwell:
    """An arc of shaft angle over which a contact is closed, ends included; degrees."""

    from_deg: float
    to_deg: float


@dataclass(frozen=True)
class Branch(ABC):
    """One thing between two nodes of a part.

    Attributes
    ----------
    ends : tuple of str
        The two nodes it joins: pins, `CASE` or inner nodes of the family.
    FILE : type of BranchFile
        Its shape in a family file.
    FAULTS : type of FaultKind
        What may be wrong with one of its kind.
    """

    FILE: ClassVar[type[BranchFile]]
    FAULTS: ClassVar[type[FaultKind]]

    ends: Pair

    @property
    def warms(self) -> bool:
        """Whether its conductance depends on its temperature."""
        return False

    @property
    def dwells(self) -> tuple[Dwell, ...]:
        """Where the lever closes it, by shaft angle: its edges are all that changes with angle."""
        return ()

    @property
    def closed_in(self) -> tuple[str, ...]:
        """The positions in which the lever closes it, where no more is known than these."""
        return ()

    @property
    def leads(self) -> bool:
        """Whether it only leads from place to place, as a wire does.

        What lies at one end is then seen at the other, and it can have been put where another one
        belongs.
        """
        return False

    def at_angles(self, dwells: tuple[Dwell, ...]) -> "Branch":
        """Return it with dwells in place of positions."""
        return self

    @abstractmethod
    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return its conductance in each state, siemens.

        Parameters
        ----------
        states : States
            The states of the part.
        positions : sequence of str
            Names of the family's positions.

        Raises
        ------
        ValueError
            If it needs something that the states do not tell.
        """

    @property
    def fault_kinds(self) -> tuple[FaultKind, ...]:
        """What may be wrong with this one."""
        return tuple(self.FAULTS)

    @abstractmethod
    def with_fault(self, kind: FaultKind, size: float) -> "Branch":
        """Return it as a fault of one of its kinds leaves it; a size counts if the kind has one.

        A fault that comes by turns leaves it as it is.
        """

    @abstractmethod
    def of_size(self, states: States, positions: Sequence[str]) -> tuple[float, Bools]:
        """Return its ohms with a fault of a size of 1, and in which states that shows.

        The states are of one temperature.
        """

    @abstractmethod
    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return a good one of its kind as it may come from the maker.

        Parameters
        ----------
        rng : numpy Generator
            Where all chance comes from.
        edge_shift : callable
            Draws how far an edge lies off its place, degrees or gaps.
        """


@dataclass(frozen=True)
class Gone(Branch):
    """A branch that conducts no more, whatever else befalls it."""

    FAULTS = FaultKind

    def conductance_s(self, states: States, positions: Sequence[str]) -> Floats:
        """Return zero for each state."""
        return np.zeros(len(states.position))

    def with_fault(self, kind: FaultKind, size: float) -> "Gone":
        """Return it as it is."""
        return self

    def of_size(
        self,
        states: States,
        positions: Sequence[str],
    ) -> tuple[float, Bools]:
        """Return no state in which a size shows."""
        return 1.0, np.zeros(len(states.position), dtype=np.bool_)

    def drawn(self, rng: np.random.Generator, edge_shift: Callable[[], float]) -> Self:
        """Return it as it is."""
        return self


def branches_of(family: Family) -> tuple[Branch, ...]:
    """Return a family's branches as the network knows them.

    Raises
    ------
    TypeError
        If one is of no kind that the network knows.
    """
    for branch in family.branches:
        if not isinstance(branch, Branch):
            raise TypeError(f"{branch} is no kind of branch")
    return family.branches  # type: ignore[return-value]
