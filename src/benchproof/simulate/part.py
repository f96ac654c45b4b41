"""A part drawn from the spreads and rates of a set of priors, with the truth about it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchproof.diagnose.grid import OFFSET_REACH_SD, REACH_SD, edge_sd_of, offset_sds_of
from benchproof.diagnose.solver import IN_PLACES
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import VERDICT_OF_KIND, PartVerdict
from benchproof.family.model import Family, Pair
from benchproof.network.branches.base import Branch, Dwell, States, branches_of
from benchproof.network.branches.contact import Contact
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats
from benchproof.network.states import pair_ohms


@dataclass(frozen=True)
class SimulatedPart:
    """One part and the truth about it.

    Attributes
    ----------
    shape : Geometry
        What it was made as; its family's branches have this part's own values and faults.
    offset : float
        Where its moving part stands, degrees or gaps; zero without a lever.
    faults : tuple of Fault
        What is wrong with it or with its hook-up.
    explained : bool
        False for a part whose readings follow no hypothesis.
    verdict : PartVerdict
        What should be said of it.
    hazard : bool
        Whether its start permit conducts where the starter must not turn.
    """

    shape: Geometry
    offset: float
    faults: tuple[Fault, ...]
    explained: bool
    verdict: PartVerdict
    hazard: bool

    @property
    def family(self) -> Family:
        """The part's own network."""
        return self.shape.family

    def has(self, kind: FaultKind) -> bool:
        """Return whether it has a fault of a kind."""
        return any(fault.kind is kind for fault in self.faults)


class PartSource:
    """Draws parts of a family.

    Parameters
    ----------
    tables : Tables
        The family's hypotheses: which faults there are and how often.
    library : sequence of Geometry
        The other families that a part may turn out to be of, by the names that the tables know.
    size_spread : float
        How far sizes of faults lie off those of the priors, relative.
    """

    def __init__(
        self, tables: Tables, library: Sequence[Geometry] = (), size_spread: float = 0.0
    ) -> None:
        self._tables = tables
        self._size_spread = size_spread
        self._library = {shape.family.name: shape for shape in library}
        odds = np.exp(tables.log_cause - tables.log_cause[0])
        self._rates = odds / (1.0 + odds)

    def draw(self, rng: np.random.Generator) -> SimulatedPart:
        """Return a part."""
        tables = self._tables
        offset = self._offset(rng)
        if rng.random() < tables.priors.not_explained_rate:
            return SimulatedPart(tables.shape, offset, (), False, PartVerdict.UNEXPLAINED, False)
        faults = self._faults(rng)
        shape = tables.shape
        for fault in faults:
            if fault.kind is PartFault.OTHER_FAMILY:
                shape = self._library[fault.at[0]]
        made = replace(shape.family, branches=tuple(self._made(shape, rng)))
        own = made
        hook_up = (PartFault.LEVER_OFF, PartFault.PINS_SWAPPED)
        for fault in faults:
            if fault.kind is PartFault.BRIDGED:
                pair = fault.at[0], fault.at[1]
                where = self._bridged_in(pair, rng)
                across = bridge((shape, offset), pair, where, fault.size, rng)
                made, own = (replace(f, branches=(*f.branches, across)) for f in (made, own))
                continue
            made = faulty(made, fault)
            if fault.kind not in hook_up:
                own = faulty(own, fault)
        part_shape = replace(shape, family=made)
        ohms = charted_ohms(tables, own, offset)
        verdict = self._verdict(ohms, faults)
        return SimulatedPart(part_shape, offset, faults, True, verdict, self._hazard(ohms))

    def _offset(self, rng: np.random.Generator) -> float:
        if not self._tables.family.lever:
            return 0.0
        priors = self._tables.priors
        small, large = offset_sds_of(self._tables.shape, priors)
        while True:
            sd = large if rng.random() < priors.misaligned_rate else small
            offset = rng.normal(0.0, sd)
            if abs(offset) <= OFFSET_REACH_SD * large:
                return float(offset)

    def _faults(self, rng: np.random.Generator) -> tuple[Fault, ...]:
        """Return faults drawn each at its rate, none or one or two that can be together."""
        tables = self._tables
        while True:
            drawn = np.flatnonzero(rng.random(len(self._rates)) < self._rates)
            drawn = drawn[drawn > 0]
            if len(drawn) < 2 or (len(drawn) == 2 and tables.twofold.allows(*drawn.tolist())):
                return tuple(self._sized(n, rng) for n in drawn.tolist())

    def _bridged_in(self, pair: Pair, rng: np.random.Generator) -> list[int]:
        """Return positions in which a pair is bridged: at least one of those where it is open."""
        tables = self._tables
        k = tables.pairs.index(pair)
        healthy = tables.main[tables.healthy[k, :, tables.grid.half]]
        able = np.flatnonzero(healthy == tables.bins.count - 1)
        while len(able):
            where = able[rng.random(len(able)) < IN_PLACES]
            if len(where):
                return [*where.tolist()]
        return []

    def _sized(self, number: int, rng: np.random.Generator) -> Fault:
        """Return a cause, in one of the sizes that it stands for."""
        fault, spans = self._tables.causes[number], self._tables.spans[number]
        assert fault is not None, "no fault is not drawn"
        if not spans:
            return fault
        width = np.array([np.log(high / low) if high > low else 1.0 for low, high in spans])
        low, high = spans[int(rng.choice(len(spans), p=width / width.sum()))]
        size = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        return replace(fault, size=size * (1.0 + rng.uniform(-1.0, 1.0) * self._size_spread))

    def _made(self, shape: Geometry, rng: np.random.Generator) -> list[Branch]:
        """Return the branches with values of their own."""
        sd = edge_sd_of(shape, self._tables.priors)
        return [
            branch.drawn(rng, lambda: cut_normal(rng, sd)) for branch in branches_of(shape.family)
        ]

    def _verdict(self, ohms: Floats, faults: Sequence[Fault]) -> PartVerdict:
        verdicts = [VERDICT_OF_KIND.get(fault.kind, PartVerdict.REPAIR) for fault in faults]
        if verdicts:
            return PartVerdict.REPAIR if PartVerdict.REPAIR in verdicts else verdicts[0]
        tables = self._tables
        there = tables.bins.of(ohms)
        positions = len(tables.family.positions)
        good = all(
            tables.good[k, p, there[p, k]] for k in range(tables.charted) for p in range(positions)
        )
        if good:
            return PartVerdict.ACCEPT
        return PartVerdict.REALIGN if tables.family.lever else PartVerdict.CHART

    def _hazard(self, ohms: Floats) -> bool:
        conducts = ohms < self._tables.family.limits.open_at_least_ohm
        return bool((conducts.T & self._tables.hazard).any())


def bridge(
    part: tuple[Geometry, float],
    pair: Pair,
    positions: Sequence[int],
    ohm: float,
    rng: np.random.Generator,
) -> Contact:
    """Return a bridge across a pair that conducts in some positions alone.

    Parameters
    ----------
    part : tuple of (Geometry, float)
        The part, with detents, and the offset at which its moving part stands: the bridge lies
        where each detent then is.
    pair : pair
        What it bridges.
    positions : sequence of int
        In which of the lever positions.
    ohm : float
        Its resistance.
    rng : Generator
        Draws how wide it is: a lean may leave it or not.
    """
    (shape, offset), wide = part, float(rng.uniform(0.1, 0.25))
    detents = np.asarray(shape.family.detents_deg)
    reach = wide * float(np.diff(detents).min())
    at = (detents[[*positions]] + offset).tolist()
    return Contact(pair, tuple(Dwell(x - reach, x + reach) for x in at), closed_ohm=ohm)


def cut_normal(rng: np.random.Generator, sd: float) -> float:
    """Return a normal deviation within the reach that the grid has too."""
    while True:
        value = float(rng.normal(0.0, sd))
        if abs(value) <= REACH_SD * sd:
            return value


def charted_ohms(tables: Tables, family: Family, offset: float) -> Floats:
    """Return the ohms of every charted pair in every detent, shape (positions, charted)."""
    return ohms_at(family, tables.pairs[: tables.charted], np.asarray(family.detents_deg) + offset)


def ohms_at(family: Family, pairs: Sequence[Pair], angles: Floats) -> Floats:
    """Return the ohms of pairs at shaft angles, shape (angles, pairs)."""
    return pair_ohms(family, pairs, States(np.zeros(len(angles), dtype=np.intp), angles))
