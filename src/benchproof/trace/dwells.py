"""The dwells of one pair, all the passes put together: where it conducts, and how well."""

from dataclasses import dataclass

import numpy as np

from benchproof.trace.settledruns import SettledPair, SettledRun, weighted


@dataclass(frozen=True)
class SweptDwell:
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


def dwells_of(found: SettledPair, open_band: int) -> tuple[SweptDwell, ...]:
    """Return the dwells of one pair by angle: settled runs that conduct, passes put together."""
    groups: list[list[SettledRun]] = []
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
            SweptDwell(
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
