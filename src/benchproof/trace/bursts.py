"""Dropouts and closings close together, gathered into bursts: a contact that chatters has many."""

from dataclasses import dataclass

from benchproof.trace.settledruns import Glitch

BURST_DEG = 2.0
"""Dropouts no farther apart are one burst."""
BURST_COUNT = 3
"""So many dropouts make a burst of chatter."""


@dataclass(frozen=True)
class Burst:
    """Glitches close together, in one pass.

    Attributes
    ----------
    number : int
        Number of the pass.
    low_deg, high_deg : float
        Where they are, degrees on the trace's scale.
    count : int
        How many they are.
    widest_deg : float
        The width of the widest, degrees.
    worst_ohm : float
        The most read in them, ohms.
    """

    number: int
    low_deg: float
    high_deg: float
    count: int
    widest_deg: float
    worst_ohm: float

    @property
    def chatters(self) -> bool:
        """Whether they are so many that the contact chatters."""
        return self.count >= BURST_COUNT


def bursts(glitches: list[Glitch]) -> tuple[Burst, ...]:
    """Return glitches gathered into bursts, in the order of passes and angle."""
    found: list[list[Glitch]] = []
    for one in sorted(glitches, key=lambda g: (g.number, g.at_deg)):
        last = found[-1][-1] if found else None
        if last and last.number == one.number and one.at_deg - last.at_deg <= BURST_DEG:
            found[-1].append(one)
        else:
            found.append([one])
    return tuple(
        Burst(
            group[0].number,
            group[0].at_deg - 0.5 * group[0].width_deg,
            group[-1].at_deg + 0.5 * group[-1].width_deg,
            len(group),
            max(g.width_deg for g in group),
            max(g.worst_ohm for g in group),
        )
        for group in found
    )
