"""What a plan asks for: typed requests that a person, a meter and a simulator answer alike."""

from dataclasses import dataclass
from enum import StrEnum

from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.model import Pair


class Mode(StrEnum):
    """What a proof is for."""

    FIND = "find"
    """To find what is wrong, in as little time as possible; it passes nothing."""
    PROVE = "prove"
    """To read every cell; only this can accept a part."""


@dataclass(frozen=True)
class BenchPlace:
    """Where the lever and the meter stand.

    Attributes
    ----------
    position : str
        Lever position, by the family's name.
    pair : tuple of str or None
        The pair the meter is across; None if it is across none yet.
    """

    position: str
    pair: Pair | None = None


@dataclass(frozen=True)
class TakeReading:
    """A reading to take.

    Attributes
    ----------
    position : str
        Lever position, by the family's name.
    pair : tuple of str
        The two pins.
    lean : str
        The neighbouring position toward which the lever is held off its detent; empty if it
        rests in it.
    again : bool
        Whether the probes are to be lifted and set again first, as the same cell was just read.
    """

    position: str
    pair: Pair
    lean: str = ""
    again: bool = False


@dataclass(frozen=True)
class Stop:
    """No more readings.

    Attributes
    ----------
    verdict : PartVerdict or None
        What is decided; None if nothing is.
    reason : str
        Why, in a sentence.
    """

    verdict: PartVerdict | None
    reason: str
