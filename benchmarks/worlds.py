"""Worlds that the diagnosis was not tuned on: parts, people and sheets that it does not believe in.

A world is what it makes of a part that was drawn as believed, how its leaks drift from reading to
reading, and what becomes of the sheet. Parts stay physical: whatever is added is a branch of the
network that is solved for each reading.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.branches import BranchLike
from benchproof.family.model import same_pair
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading
from benchproof.simulate.part import SimulatedPart, bridge, charted_ohms
from benchproof.simulate.reader import Reader

Rng = np.random.Generator
Alter = Callable[[SimulatedPart, Tables, Rng], SimulatedPart]
Spoil = Callable[[list[Reading], Tables, Rng], list[Reading]]
BRIDGE_OHM = 1.0, 9000.0
"""Sizes of a bridge, log-uniform, ohms: all below the limit of open."""


@dataclass(frozen=True)
class World:
    """What a world makes of a part and of its sheet.

    Attributes
    ----------
    factors : mapping of str to float
        What the believed rates and spreads are multiplied by.
    size_spread : float
        How far sizes of faults lie off those believed, relative.
    alter : callable or None
        What it makes of a part.
    drifts : bool
        Whether leaks drift from reading to reading.
    spoil : callable or None
        What becomes of the sheet; then the right verdict is to check the hook-up.
    """

    factors: Mapping[str, float] = field(default_factory=dict)
    size_spread: float = 0.0
    alter: Alter | None = None
    drifts: bool = False
    spoil: Spoil | None = None


def _with(
    part: SimulatedPart, tables: Tables, branches: Sequence[BranchLike], verdict: PartVerdict
) -> SimulatedPart:
    """Return a part with other branches and the truth about it, its hazard computed anew."""
    family = replace(part.family, branches=tuple(branches))
    ohms = charted_ohms(tables, family, part.offset)
    open_ohm = tables.family.limits.open_at_least_ohm
    hazard = bool((np.less(ohms.T, open_ohm) & tables.hazard).any())
    shape = replace(part.shape, family=family)
    return replace(part, shape=shape, hazard=hazard, verdict=verdict)


def bad_cells(tables: Tables, part: SimulatedPart) -> frozenset[tuple[int, int]]:
    """Return the charted cells of a part that are against the chart."""
    there = tables.bins.of(charted_ohms(tables, part.family, part.offset))
    cells = ((k, p) for k in range(tables.charted) for p in range(len(there)))
    return frozenset((k, p) for k, p in cells if not tables.good[k, p, there[p, k]])


def bridged_permit(part: SimulatedPart, tables: Tables, rng: Rng) -> SimulatedPart:
    """Bridge a start permit in one to all of the positions in which it must be open."""
    guarded = [k for k in range(tables.charted) if tables.hazard[k].any()]
    return _bridged(part, tables, rng, int(rng.choice(guarded)))


def bridged_elsewhere(part: SimulatedPart, tables: Tables, rng: Rng) -> SimulatedPart:
    """Bridge any charted pair in one to all of the positions in which it is open."""
    last = tables.bins.count - 1
    healthy = tables.parts.argmax(axis=1)[tables.healthy[: tables.charted, :, tables.grid.half]]
    opens = [k for k in range(tables.charted) if (healthy[k] == last).any()]
    return _bridged(part, tables, rng, int(rng.choice(opens)))


def _bridged(part: SimulatedPart, tables: Tables, rng: Rng, k: int) -> SimulatedPart:
    if tables.hazard[k].any():
        able = np.flatnonzero(tables.hazard[k])
    else:
        last = tables.bins.count - 1
        healthy = tables.parts.argmax(axis=1)[tables.healthy[k, :, tables.grid.half]]
        able = np.flatnonzero(healthy == last)
    where = rng.permutation(able)[: int(rng.integers(1, len(able) + 1))].tolist()
    ohm = float(np.exp(rng.uniform(*np.log(BRIDGE_OHM))))
    across = bridge((part.shape, part.offset), tables.pairs[k], where, ohm, rng)
    return _with(part, tables, (*part.family.branches, across), PartVerdict.REPAIR)


def leaking(part: SimulatedPart, tables: Tables, rng: Rng) -> SimulatedPart:
    """Leak across a charted pair; `Drifting` lets the leak wander from reading to reading."""
    pair = tables.pairs[int(rng.integers(tables.charted))]
    ohm = float(np.exp(rng.uniform(np.log(50.0), np.log(5000.0))))
    leaks = (*part.family.branches, Resistor(pair, ohm))
    return _with(part, tables, leaks, PartVerdict.REPAIR)


def lognormal(part: SimulatedPart, tables: Tables, rng: Rng) -> SimulatedPart:
    """Draw every contact's resistance log-normally: tens of milliohms, some ohms, some more."""
    branches = [
        replace(b, closed_ohm=float(np.exp(rng.normal(np.log(0.06), 1.1))))
        if isinstance(b, Contact)
        else b
        for b in part.family.branches
    ]
    if part.faults or not part.explained:
        return part
    found = _with(part, tables, branches, part.verdict)
    # What is bad of it beyond what its offset makes bad asks for repair.
    more = bad_cells(tables, found) - bad_cells(tables, part)
    return replace(found, verdict=PartVerdict.REPAIR) if more else found


def _moved(offset_of: Callable[[Tables, Rng], float]) -> Alter:
    def alter(part: SimulatedPart, tables: Tables, rng: Rng) -> SimulatedPart:
        if part.faults or not part.explained:
            return part
        moved = replace(part, offset=offset_of(tables, rng))
        verdict = PartVerdict.REALIGN if bad_cells(tables, moved) else PartVerdict.ACCEPT
        return _with(moved, tables, moved.family.branches, verdict)

    return alter


def _biased(tables: Tables, rng: Rng) -> float:
    scale = 3.0 if tables.shape.unit == "deg" else 0.17
    return float(np.clip(rng.normal(scale, 0.4 * scale), *tables.grid.offsets[[0, -1]]))


def _uniform(tables: Tables, rng: Rng) -> float:
    return float(rng.uniform(*(0.8 * tables.grid.offsets[[0, -1]])))


def swapped_rows(readings: list[Reading], tables: Tables, rng: Rng) -> list[Reading]:
    """Exchange two rows of the sheet that do not read alike."""
    pairs = tables.pairs[: tables.charted]
    k, other = rng.choice(len(pairs), 2, replace=False).tolist()
    swap = {same_pair(pairs[k]): pairs[other], same_pair(pairs[other]): pairs[k]}
    return [replace(r, pair=swap.get(same_pair(r.pair), r.pair)) for r in readings]


def swapped_columns(readings: list[Reading], tables: Tables, rng: Rng) -> list[Reading]:
    """Exchange two columns of the sheet."""
    names = tables.family.positions
    p, other = rng.choice(len(names), 2, replace=False).tolist()
    swap = {names[p]: names[other], names[other]: names[p]}
    return [replace(r, position=swap.get(r.position, r.position)) for r in readings if not r.lean]


def _off_by(step: int) -> Spoil:
    """Return a sheet on which the lever stood a step before what was noted, from somewhere on."""

    def spoil(readings: list[Reading], tables: Tables, rng: Rng) -> list[Reading]:
        names = tables.family.positions
        # Late, the last position is read where it is: nothing would be wrong with it alone.
        begin = int(rng.integers(1, len(names) - (step < 0)))
        found = []
        for p, name in enumerate(names):
            stood = p if p < begin else int(np.clip(p - step, 0, len(names) - 1))
            read = (r for r in readings if r.position == names[stood] and not r.lean)
            found += [replace(reading, position=name) for reading in read]
        return found

    return spoil


class Drifting(Reader):
    """Reads a part whose last branch, a leak, wanders from reading to reading as a random walk."""

    def __init__(
        self, part: SimulatedPart, tables: Tables, meter: Meter, rng: Rng, priors: Priors
    ) -> None:
        super().__init__(part, tables, meter, rng, priors)
        self._walk, self._first = 0.0, part

    def read(self, k: int, p: int, lean: int = 0) -> Reading:
        """Return a reading, the leak somewhere else than at the last one."""
        self._walk += float(self._rng.normal(0.0, 0.5))
        *others, leak = self._first.family.branches
        assert isinstance(leak, Resistor), "the leak was put last"
        wandered = replace(leak, ohm=float(np.clip(leak.ohm * np.exp(self._walk), 5.0, 9000.0)))
        family = replace(self._first.family, branches=(*others, wandered))
        self._part = replace(self._first, shape=replace(self._first.shape, family=family))
        self._steady = self._opened = self._in_detents(family)
        return super().read(k, p, lean)


def reader_of(
    world: World, part: SimulatedPart, tables: Tables, meter: Meter, rng: Rng, priors: Priors
) -> Reader:
    """Return a person with a meter, as the world has them."""
    kind = Drifting if world.drifts else Reader
    return kind(part, tables, meter, rng, priors)


WORLDS: Mapping[str, World] = {
    "as believed": World(),
    "wider edges": World({"edge_sd_deg": 1.6}),
    "three times the slips": World(
        {"slip_rate": 3.0, "other_cell_rate": 3.0, "wrong_key_rate": 3.0}
    ),
    "other faults": World(
        {
            "contact_open_rate": 0.4,
            "contact_high_rate": 2.0,
            "contact_stuck_rate": 2.5,
            "pin_open_rate": 2.0,
            "leak_rate": 2.0,
            "not_explained_rate": 3.0,
        }
    ),
    "other sizes of fault": World(size_spread=0.3),
    "further out of line": World({"misaligned_rate": 1.6, "aligned_sd_deg": 1.5}),
    "start permit bridged": World(alter=bridged_permit),
    "another pair bridged": World(alter=bridged_elsewhere),
    "leaks that drift": World(alter=leaking, drifts=True),
    "log-normal contacts": World(alter=lognormal),
    "offset biased": World(alter=_moved(_biased)),
    "offset uniform": World(alter=_moved(_uniform)),
    "two faults": World(
        dict.fromkeys(("contact_open_rate", "contact_stuck_rate", "pin_open_rate"), 6.0)
    ),
}
SHEETS: Mapping[str, World] = {
    "two rows swapped": World(spoil=swapped_rows),
    "two columns swapped": World(spoil=swapped_columns),
    "one position early": World(spoil=_off_by(1)),
    "one position late": World(spoil=_off_by(-1)),
}
"""Mistakes with the sheet of a part, good or bad; two pins mixed up is a fault that is believed."""
