"""Edges, dwells and bursts of dropouts of one pair, all the passes put together."""

from dataclasses import dataclass

import numpy as np

from benchproof.align.sweepsettle import Crossing, Found, Glitch, Settled, weighted
from benchproof.align.sweepturns import Pass

BURST_DEG = 2.0
"""Dropouts no farther apart are one burst."""
BURST_COUNT = 3
"""So many dropouts make a burst of chatter."""
ONE_WAY_U_DEG = 0.3
"""What is not known of an edge that was crossed in one direction only: half the play it may have.
Common practice, no source."""


@dataclass(frozen=True)
class Edge:
    """An edge as all the passes show it.

    Attributes
    ----------
    below, above : int
        The bands at smaller and at larger angles.
    at_deg, u_deg : float
        Where, midway between the directions, and its standard uncertainty, degrees.
    rising_deg, falling_deg : float or None
        Where it is crossed in either direction, degrees; None if it was not.
    seen, of : int
        In how many passes it was crossed, of those that went over the place.
    """

    below: int
    above: int
    at_deg: float
    u_deg: float
    rising_deg: float | None
    falling_deg: float | None
    seen: int
    of: int

    @property
    def hysteresis_deg(self) -> float | None:
        """How much later it is crossed with the angle rising, degrees; None from one direction."""
        if self.rising_deg is None or self.falling_deg is None:
            return None
        return self.rising_deg - self.falling_deg


def edges_of(found: Found, passes: tuple[Pass, ...], apart_deg: float) -> tuple[Edge, ...]:
    """Return the edges that at least half the passes over them show, by angle.

    Parameters
    ----------
    found : Found
        What was found of one pair.
    passes : tuple of Pass
        The passes.
    apart_deg : float
        Crossings of one kind farther apart are of two edges, degrees.
    """
    kinds: dict[tuple[int, int], list[Crossing]] = {}
    for crossing in found.crossings:
        kinds.setdefault((crossing.below, crossing.above), []).append(crossing)
    edges = []
    for alike in kinds.values():
        groups: list[list[Crossing]] = []
        for crossing in sorted(alike, key=lambda c: c.at_deg):
            if groups and crossing.at_deg - groups[-1][-1].at_deg <= apart_deg:
                groups[-1].append(crossing)
            else:
                groups.append([crossing])
        edges += [edge for edge in (_edge(g, passes) for g in groups) if 2 * edge.seen >= edge.of]
    return tuple(sorted(edges, key=lambda e: e.at_deg))


def _edge(group: list[Crossing], passes: tuple[Pass, ...]) -> Edge:
    ways = [[c.at_deg for c in group if c.rising is rising] for rising in (True, False)]
    rising, falling = (float(np.mean(way)) if way else None for way in ways)
    means = [mean for mean in (rising, falling) if mean is not None]
    at = float(np.mean(means))
    spread = [at_deg - float(np.mean(way)) for way in ways for at_deg in way]
    u2 = (np.mean([c.u_deg**2 for c in group]) + np.mean(np.square(spread))) / len(group)
    if len(means) == 1:
        u2 += ONE_WAY_U_DEG**2
    over = sum(
        min(p.from_deg, p.to_deg) < min(c.at_deg for c in group)
        and max(p.from_deg, p.to_deg) > max(c.at_deg for c in group)
        for p in passes
    )
    seen = len({c.number for c in group})
    one = group[0]
    return Edge(
        one.below, one.above, at, float(np.sqrt(u2)), rising, falling, seen, max(over, seen)
    )


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


@dataclass(frozen=True)
class DwellFound:
    """A dwell as all the passes show it.

    Attributes
    ----------
    band : int
        Its band.
    low_deg, high_deg : float
        The farthest that any pass shows it, degrees on the trace's scale.
    worst_ohm, median_ohm : float
        The most it reads, and about the median, ohms.
    noise_ohm : float
        Standard deviation of a sample about those next to it, ohms.
    """

    band: int
    low_deg: float
    high_deg: float
    worst_ohm: float
    median_ohm: float
    noise_ohm: float


def dwells_of(found: Found, open_band: int) -> tuple[DwellFound, ...]:
    """Return the dwells of one pair by angle: settled runs that conduct, passes put together."""
    groups: list[list[Settled]] = []
    top = -np.inf
    conducting = (s for s in found.settled if s.band < open_band)
    for one in sorted(conducting, key=lambda s: (s.band, s.low_deg)):
        if groups and groups[-1][0].band == one.band and one.low_deg <= top:
            groups[-1].append(one)
            top = max(top, one.high_deg)
        else:
            groups.append([one])
            top = one.high_deg
    dwells = []
    for group in groups:
        samples = np.array([s.samples for s in group])
        noise2 = sum(s.noise_ohm2 for s in group)
        changes = max(int(samples.sum()) - len(group), 1)
        dwells.append(
            DwellFound(
                group[0].band,
                min(s.low_deg for s in group),
                max(s.high_deg for s in group),
                max(s.worst_ohm for s in group),
                weighted(np.array([s.median_ohm for s in group]), samples),
                # Two samples next to each other differ by the noise of both.
                float(np.sqrt(noise2 / (2.0 * changes))),
            )
        )
    return tuple(sorted(dwells, key=lambda d: d.low_deg))
