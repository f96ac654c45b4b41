"""The edges of one pair, all the passes put together."""

from dataclasses import dataclass

import numpy as np

from benchproof.trace.passes import Pass
from benchproof.trace.settledruns import Crossing, SettledPair

ONE_WAY_U_DEG = 0.3
"""What is not known of an edge that was crossed in one direction only: half the play it may have.
Common practice, no source."""


@dataclass(frozen=True)
class SweptEdge:
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


def edges_of(
    found: SettledPair, passes: tuple[Pass, ...], apart_deg: float
) -> tuple[SweptEdge, ...]:
    """Return the edges that at least half the passes over them show, by angle.

    Parameters
    ----------
    found : SettledPair
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


def _edge(group: list[Crossing], passes: tuple[Pass, ...]) -> SweptEdge:
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
    return SweptEdge(
        one.below, one.above, at, float(np.sqrt(u2)), rising, falling, seen, max(over, seen)
    )
