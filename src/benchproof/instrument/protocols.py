"""What an instrument can do: one small protocol a capability.

Each raises `InstrumentProblem` with one sentence, after it has tried again as far as that is safe.
"""

from typing import Protocol

from benchproof.family.model import Pair
from benchproof.reading.value import Value


class Ohmmeter(Protocol):
    """Reads the ohms between its leads."""

    def read_ohm(self) -> Value:
        """Return what it reads now, never what it read before the call."""


class Selector(Protocol):
    """Puts the meter across one pair at a time."""

    def connect(self, pair: Pair) -> None:
        """Put the meter across a pair, and across nothing else."""

    def open_all(self) -> None:
        """Put the meter across nothing."""

    def confirm(self) -> None:
        """Check that the meter still stands where it was put."""


class LeverSensor(Protocol):
    """Knows where the lever stands."""

    def position(self) -> str:
        """Return the position, by the family's name; empty between two of them."""


class LeverMover(Protocol):
    """Moves the lever: a person who is asked to, or the simulated bench."""

    def move(self, position: str, lean: str = "") -> None:
        """Put the lever in a position, held off its detent toward a neighbour if one is named."""


class Lever(LeverSensor, LeverMover, Protocol):
    """A lever that can be moved and then asked for."""


class Link(Protocol):
    """Carries bytes to and from one instrument."""

    @property
    def name(self) -> str:
        """Where it leads, for messages."""

    def open(self) -> None:
        """Open it, or close it and open it anew.

        Raises
        ------
        Doubt
            If nothing is there.
        """

    def write(self, data: bytes) -> None:
        """Send bytes.

        Raises
        ------
        Doubt
            If it is gone.
        """

    def read(self, timeout_s: float) -> bytes:
        """Return the next bytes, or none if nothing came in time.

        Raises
        ------
        Doubt
            If it is gone.
        """

    def close(self) -> None:
        """Close it; no harm if it is closed."""
