"""What a kind of fault is: its words, how often it comes and in which sizes."""

from dataclasses import dataclass
from enum import Enum, StrEnum
from typing import Self

from benchproof.family.ohms import format_ohms


class SizeUnit(Enum):
    """What the size of a fault is told in."""

    OHMS = "ohm"
    FACTOR = "of its value"


@dataclass(frozen=True)
class Sizes:
    """The sizes that a kind of fault comes in.

    Attributes
    ----------
    unit : SizeUnit
        What they are told in.
    key : str
        Key of the priors that tells them, from the least to the greatest.
    tried : tuple of float
        A few of them, for where each size is a fault of its own.
    usual : tuple of float
        What a file of priors without the key stands for; empty if it must have the key.
    """

    unit: SizeUnit
    key: str
    tried: tuple[float, ...]
    usual: tuple[float, ...] = ()

    def told(self, fault: str, size: float) -> str:
        """Return a fault with its size: "leak at A-B of about 50 ohm"."""
        if self.unit is SizeUnit.OHMS:
            return f"{fault} of about {format_ohms(size, 2)}"
        return f"{fault} to about {size:.2g} of its value"

    def between(self, fault: str, low: float, high: float) -> str:
        """Return a fault with the sizes between which it is: "leak at A-B, 50 ohm to 10 kohm"."""
        if self.unit is SizeUnit.OHMS:
            return f"{fault}, {format_ohms(low, 2)} to {format_ohms(high, 2)}"
        return f"{fault} to between {low:.2g} and {high:.2g} of its value"


class FaultKind(StrEnum):
    """A kind of fault; the value is how a person says it.

    Has no members: each kind of branch has its own, and the part as a whole.

    Attributes
    ----------
    rate : str
        Key of the priors that tells how often it comes.
    sizes : Sizes or None
        The sizes it comes in.
    usual_rate : float or None
        What a file of priors without the key stands for; None if it must have the key.
    """

    rate: str
    sizes: Sizes | None
    usual_rate: float | None

    def __new__(
        cls, words: str, rate: str, sizes: Sizes | None = None, usual_rate: float | None = None
    ) -> Self:
        """Return a kind by its words and what is known of it beforehand."""
        kind = str.__new__(cls, words)
        kind._value_ = words
        kind.rate, kind.sizes, kind.usual_rate = rate, sizes, usual_rate
        return kind

    @property
    def shared(self) -> bool:
        """Whether the rate is of the whole part; else it is of one place."""
        return False

    @property
    def of_member(self) -> bool:
        """Whether each part of an assembly has the rate for itself, and what lies between them."""
        return False

    @property
    def twofold(self) -> bool:
        """Whether it can come together with another fault."""
        return True

    @property
    def never_closes(self) -> bool:
        """Whether what the lever closes stays open."""
        return False

    @property
    def by_turns(self) -> "FaultKind | None":
        """What it is by turns with no fault; None if it is always there."""
        return None
