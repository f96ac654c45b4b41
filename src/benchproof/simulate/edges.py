"""Every edge of a part, as somebody finds it who sweeps the lever or turns the body."""

from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.tables import Tables
from benchproof.network.branches.base import branches_of
from benchproof.network.faults import PartFault
from benchproof.network.geometry import mean_gap
from benchproof.reading.evidence import FoundEdge
from benchproof.reading.ideal import shown
from benchproof.reading.meter import Meter
from benchproof.simulate.part import SimulatedPart, cut_normal, ohms_at

END_GAPS = 0.45
"""So far beyond the first and the last detent a lever goes, in parts of a gap (invented)."""


@dataclass(frozen=True)
class EdgeSpread:
    """How well edges are found, in parts of a mean detent gap.

    `noise` is that of each edge by itself, `zero` that of the scale they are all told on; a share
    of `stray` of them is anywhere instead.
    """

    noise: float = 0.01
    zero: float = 0.0
    stray: float = 0.0


def edges_of(
    part: SimulatedPart, tables: Tables, meter: Meter, found: EdgeSpread, rng: np.random.Generator
) -> tuple[FoundEdge, ...]:
    """Return every edge of the charted pairs of a part between the ends of its travel.

    None for a part that nothing explains.

    Parameters
    ----------
    part : SimulatedPart
        The part.
    tables : Tables
        Its family's hypotheses.
    meter : Meter
        What is read on either side.
    found : EdgeSpread
        How well edges are found.
    rng : numpy Generator
        Where all chance comes from.
    """
    if not part.explained:
        return ()
    detents = np.asarray(part.family.detents_deg, dtype=np.float64)
    gap = mean_gap(part.shape)
    low, high = detents[0] - END_GAPS * gap, detents[-1] + END_GAPS * gap
    # The moving part is so much further on than the lever says.
    ends = [
        end
        for branch in branches_of(part.family)
        for dwell in branch.dwells
        for end in (dwell.from_deg, dwell.to_deg)
        if low < end - part.offset < high
    ]
    if not ends:
        return ()
    angles = np.unique(ends)
    pairs = tables.pairs[: tables.charted]
    before, after = (ohms_at(part.family, pairs, angles + side * 1e-6) for side in (-1, 1))
    zero = float(rng.normal(0.0, found.zero * gap)) if found.zero else 0.0
    play = found.noise
    if part.has(PartFault.DETENT_PLAY):
        play = float(np.hypot(play, tables.priors.play_gaps))
    told = []
    for n, k in np.argwhere(tables.bins.of(before) != tables.bins.of(after)).tolist():
        theta = float(angles[n]) - part.offset
        if rng.random() < found.stray:
            theta = float(rng.uniform(low, high))
        p = int(np.abs(detents - theta).argmin())
        at = theta - float(detents[p]) + zero + cut_normal(rng, play * gap)
        below, above = (shown(float(ohm[n, k]), meter) for ohm in (before, after))
        position, u = tables.family.positions[p], found.noise * gap
        told.append(
            FoundEdge(position, pairs[k], at, u, below, above, series=1, zero_u=found.zero * gap)
        )
    return tuple(told)
