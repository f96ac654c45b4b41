"""All hypotheses of a small part spelt out one by one, to hold the diagnosis against.

The reference takes from the tables what each cause makes of each cell at each angle, and the rates;
all else are plain sums over hypotheses, offsets, deviations, states of the cell and visits.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from math import prod

import msgspec
import numpy as np

from benchproof.diagnose.evidence.edge import ObservedEdge
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.grid import edge_sd_of
from benchproof.diagnose.sheets import SheetMistake, rewritten
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.update import Posterior, prior_of, tell
from benchproof.network.branches.contact import Contact
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.geometry import mean_gap
from benchproof.network.resistance import Floats
from benchproof.reading.value import Reading, parse_value
from benchproof.shipped.read import shipped_meter, shipped_priors

METER = shipped_meter("ordinary-handheld")
CHART = (
    "pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    "B-E,open,closed,open,closed,range bit\nG-H,closed,open,closed,{gear},start permit\n"
)


@cache
def tables(gear: str = "open") -> Tables:
    """Return the tables of a small family on a coarse grid, mistakes of all kinds made frequent."""
    priors = msgspec.structs.replace(
        shipped_priors("invented"),
        aligned_sd_gaps=0.06,
        misaligned_sd_gaps=0.12,
        edge_sd_gaps=0.1,
        play_gaps=0.05,
        contact_high_ohm=(2.0, 10_000.0),
        leak_ohm=(20.0,),
        bridged_ohm=(20.0,),
        local_defect_rate=2e-3,
        start_permit_bridged_rate=1e-3,
        wandering_rate=5e-4,
        start_permit_wandering_rate=2e-4,
        misread_visit_rate=4e-3,
    )
    return tables_of(completed(read_family(CHART.format(gear=gear).encode(), "small.csv")), priors)


Told = Sequence[tuple[str, str, str, str, int]]
"""Pair, position, what was read, lean, visit."""


def observed(known: Tables, told: Told) -> list[Observed]:
    readings = [
        Reading(at, (pair[0], pair[2]), parse_value(text), lean=lean, visit=visit)
        for pair, at, text, lean, visit in told
    ]
    return observe(known, readings, METER)


def sheet_of(values: Mapping[str, str]) -> list[tuple[str, str, str, str, int]]:
    """Return a whole sheet, a row of texts a pair."""
    return [
        (pair, at, text, "", 0)
        for pair, row in values.items()
        for at, text in zip("PRND", row.split(), strict=True)
    ]


GOOD = {"A-E": "0.2 OL OL 0.2", "B-E": "OL 0.2 OL 0.2", "G-H": "0.2 OL 0.2 OL"}


Cause = int | tuple[int, int]
"""A cause, or two that one reading across two contacts sees both of."""


@dataclass(eq=False)
class Cell:
    """One cell's readings and edges, and what each explanation makes of them."""

    known: Tables
    k: int
    p: int
    readings: Sequence[Observed]
    edges: Sequence[ObservedEdge] = ()

    def heard(self, one: Observed, keep: Floats) -> Floats:
        """Return the chance of a reading in the bins kept, by what is there."""
        found: Floats = self.known.pure_channel @ (one.seen * keep)
        return found

    def visits(self) -> list[list[Observed]]:
        """Return the readings in the detent, visit by visit."""
        alone = [[one] for one in self.readings if not one.lean and not one.visit]
        numbers = sorted({one.visit for one in self.readings if not one.lean and one.visit})
        return alone + [
            [one for one in self.readings if not one.lean and one.visit == n] for n in numbers
        ]

    def wrong(self, visit: Sequence[Observed], keep: Floats) -> float:
        """Return the chance of a visit at a wrong place, and of what it read."""
        at = self.known.latents.elsewhere
        each = [prod(float(self.heard(one, keep)[b]) for one in visit) for b in range(len(at))]
        return self.known.latents.misread * sum(float(a) * e for a, e in zip(at, each, strict=True))

    @cached_property
    def whole(self) -> Floats:
        """The chance of all readings in the detent, whatever they read, by what is there."""
        return self.detent(self.all)

    def detent(self, keep: Floats) -> Floats:
        """Return the chance of all readings in the detent, by what is there."""
        r, found = self.known.latents.misread, np.ones(len(self.known.pure_channel))
        for visit in self.visits():
            right = (1.0 - r) * np.prod([self.heard(one, keep) for one in visit], axis=0)
            found = found * (right + self.wrong(visit, keep))
        return found

    @property
    def all(self) -> Floats:
        return np.ones(self.known.bins.count)

    @cached_property
    def leaned(self) -> list[tuple[int, Floats]]:
        """Each leaned reading: its lean, and its chance by what is there."""
        r = self.known.latents.misread
        return [
            (one.lean, (1.0 - r) * self.heard(one, self.all) + self.wrong([one], self.all))
            for one in self.readings
            if one.lean
        ]

    def there(self, cause: Cause, angle: int) -> Floats:
        """Return the share of each pure category at an angle of the tables."""
        known = self.known
        if isinstance(cause, tuple):
            both, rows = known.together[self.k, self.p], known.affected[self.k][self.p]
            at = [*zip(rows[both.first], rows[both.second], strict=True)].index(cause)
            category = both.category[at, angle]
        else:
            category = known.cells.there(cause, self.k, self.p)[angle]
        found: Floats = known.parts[category]
        return found

    def sound(self, cause: Cause, told: Callable[[int], float]) -> Floats:
        """Return the chance of what is told at an angle and of the leans, by offset."""
        known, grid = self.known, self.known.grid
        offsets, deviations = len(grid.offsets), len(grid.spread)
        reach = offsets // 2 + deviations // 2
        by_angle = []
        for angle in range(grid.half - reach, grid.half + reach + 1):
            by_angle.append(told(angle))
            for lean, chance in self.leaned:
                own = grid.lean_spread
                if cause == known.play_cause:
                    own = np.convolve(own, grid.play_spread)
                at = angle + int(grid.lean_steps[self.p, (lean + 1) // 2]) - len(own) // 2
                by_angle[-1] *= sum(
                    float(s * (self.there(cause, at + n) @ chance)) for n, s in enumerate(own)
                )
        rate = known.latents.local[self.k, self.p] + known.latents.wandering[self.k, self.p]
        found = np.zeros(offsets)
        for x in range(offsets):
            for d in range(deviations):
                found[x] += (1.0 - rate) * self.by_edges(cause)[x, d] * by_angle[x + d]
        return found

    def boundaries(self, row: int) -> list[tuple[float, int, int]]:
        """Return where a row changes, and from which category to which."""
        known, angles = self.known, self.known.grid.angles.tolist()
        detents = known.family.detents_deg
        assert detents is not None
        ends = [
            end
            for branch in known.family.branches
            if isinstance(branch, Contact)
            for dwell in branch.dwells
            for end in (dwell.from_deg, dwell.to_deg)
        ]
        found = []
        category = known.cells.there(row, self.k, self.p).tolist()
        for i in range(len(angles) - 1):
            if category[i] != category[i + 1]:
                middle = (angles[i] + angles[i + 1]) / 2.0
                near = [middle]
                for at in ([detents[self.p]], [d for d in detents if d != detents[self.p]]):
                    inside = [
                        e - d for d in at for e in ends if angles[i] <= e - d <= angles[i + 1]
                    ]
                    near = inside or near
                    if inside:
                        break
                found.append((min(near, key=lambda j: abs(j - middle)), *category[i : i + 2]))
        return found

    def density(self, edge: ObservedEdge, row: int, j: float) -> Floats:
        """Return the density of an edge of a boundary, by angle."""
        return _density(self.known, edge, j, plays=row == self.known.play_cause)

    def agreement(self, seen: Floats, category: int) -> float:
        """Return how well one side of an edge agrees with a category."""
        bins, caught = self.known.bins.count, self.known.priors.chatter_open
        parts = self.known.parts[category]
        steady = float(parts[:bins] @ seen)
        chattering = float(parts[bins:] @ seen) * (1.0 - caught)
        return steady + chattering + float(parts[bins:].sum() * seen[-1]) * caught

    def by_edges(self, cause: Cause) -> Floats:
        """Return the chance of each deviation and of the edges, shape (offsets, deviations).

        The deviations of boundaries that do not decide the reading are summed out.
        """
        row = cause if isinstance(cause, int) else 0
        if row not in self._by_edges:
            self._by_edges[row] = self._of_edges(row)
        return self._by_edges[row]

    def whichever(self, cause: Cause) -> Floats:
        """Return the chance of the edges, whatever the deviation, by offset."""
        found: Floats = self.by_edges(cause).sum(axis=1)
        return found

    @cached_property
    def _by_edges(self) -> dict[int, Floats]:
        return {}

    def _of_edges(self, row: int) -> Floats:
        grid, priors = self.known.grid, self.known.priors
        sd = edge_sd_of(self.known.shape, priors)
        play = priors.play_gaps * mean_gap(self.known.shape) * (row == self.known.play_cause)
        offsets, deviations = grid.offsets.tolist(), len(grid.spread)
        found = np.ones((len(offsets), deviations)) * grid.spread
        if not self.edges:
            return found
        boundaries = self.boundaries(row)
        for x, offset in enumerate(offsets):
            own = min(boundaries, key=lambda b: abs(b[0] - offset), default=None)
            of_other: dict[float, Floats] = {}
            for edge in self.edges:
                stray = priors.stray_rate * stray_density(self.known, edge)
                fitting = [
                    (share, j)
                    for j, before, after in boundaries
                    if (
                        share := self.agreement(edge.below, before)
                        * self.agreement(edge.above, after)
                    )
                    > 0.0
                ]
                if not fitting:
                    found[x] *= stray
                    continue
                u = float(np.hypot(sd, np.hypot(edge.u, play)))
                share, j = max(
                    fitting,
                    key=lambda f: np.log(f[0]) - 0.5 * ((f[1] - edge.at - offset) / u) ** 2,
                )
                start = grid.half - len(offsets) // 2 - deviations // 2 + x
                by_angle = self.density(edge, row, j)[start : start + deviations]
                told = stray + (1.0 - priors.stray_rate) * share * by_angle
                assert own is not None
                if j == own[0]:
                    found[x] *= told
                else:
                    of_other[j] = of_other.get(j, np.ones(deviations)) * told
            for told in of_other.values():
                found[x] *= float(told @ grid.spread)
        return found

    def sound_with(self, cause: Cause, value: Floats, keep: Floats | None = None) -> Floats:
        """Return the chance of a sound cell's readings, times a value of what is there."""
        says = (self.whole if keep is None else self.detent(keep)) * value
        return self.sound(cause, lambda angle: float(self.there(cause, angle) @ says))

    def played(self, angle: int) -> float:
        """Return the chance of the readings in a detent with play, each at an angle of its own."""
        play, r = self.known.grid.play_spread, self.known.latents.misread
        cause, found = self.known.play_cause, 1.0
        for visit in self.visits():
            right = 1.0 - r
            for one in visit:
                heard = self.heard(one, self.all)
                right *= sum(
                    float(share * (self.there(cause, angle + n - len(play) // 2) @ heard))
                    for n, share in enumerate(play)
                )
            found *= right + self.wrong(visit, self.all)
        return found

    @cached_property
    def defects(self) -> Floats:
        """The chance of a defect in each bin and of the readings."""
        latents, count = self.known.latents, self.known.bins.count
        leans = prod((chance[:count] for _, chance in self.leaned), start=np.ones(count))
        found: Floats = latents.local[self.k, self.p] * latents.defect * self.whole[:count] * leans
        return found

    @cached_property
    def wanders(self) -> float:
        """The chance that it wanders and of the readings."""
        latents, count = self.known.latents, self.known.bins.count
        found = float(latents.wandering[self.k, self.p])
        for visit in [*self.visits(), *([one] for one in self.readings if one.lean)]:
            drawn = prod(float(latents.wander @ self.heard(o, self.all)[:count]) for o in visit)
            found *= (1.0 - latents.misread) * drawn + self.wrong(visit, self.all)
        return found

    @cached_property
    def _totals(self) -> dict[Cause, Floats]:
        return {}

    def row(self, cause: Cause) -> Cause:
        """Return a cause if it touches the cell, else no fault."""
        touches = isinstance(cause, tuple) or cause in self.known.affected[self.k][self.p]
        return cause if touches else 0

    def total(self, cause: Cause) -> Floats:
        """Return the chance of the readings, by offset; one cause after the other."""
        row = self.row(cause)
        if row not in self._totals:
            sound = (
                self.sound(row, self.played)
                if row == self.known.play_cause
                else self.sound_with(row, np.ones(len(self.known.pure_channel)))
            )
            own = float(self.defects.sum()) + self.wanders
            self._totals[row] = sound + own * self.whichever(row)
        return self._totals[row]

    @property
    def met(self) -> Floats:
        """Whether each pure category meets the chart."""
        met: Floats = self.known.good[self.k, self.p].astype(np.float64)
        return met

    def good(self) -> Floats:
        """Return the chance of the readings and of meeting the chart, no fault."""
        own = float(self.defects @ self.met[: self.known.bins.count])
        return self.sound_with(0, self.met) + own * self.whichever(0)

    def unharmed(self) -> Floats:
        """Return the chance of the readings and of no defect against the chart, no fault."""
        bad = 1.0 - self.met[: self.known.bins.count]
        own = float(self.defects @ bad) + self.wanders
        return self.total(0) - own * self.whichever(0)

    def misread(self) -> Floats:
        """Return the chance that a sound cell meets the chart and no reading in the detent does."""
        bad = 1.0 - self.met[: self.known.bins.count]
        some = any(not one.lean for one in self.readings)
        return self.sound_with(0, self.met, bad) if some else 0.0 * self.total(0)

    def misplaced(self) -> Floats:
        """Return the chance that all that was misread was so because it was at a wrong place."""
        bad = 1.0 - self.met[: self.known.bins.count]
        wrong = prod(self.wrong(visit, bad) for visit in self.visits())
        some = any(not one.lean for one in self.readings)
        return self.sound(0, lambda angle: wrong * float(self.there(0, angle) @ self.met)) * some

    def conducts(self, cause: Cause) -> Floats:
        """Return the chance of the readings and that the part conducts here, by offset.

        A defect of its own counts once it is read; one that wanders, once it was seen to conduct.
        """
        row = self.row(cause)
        assert isinstance(row, int), "no two faults share a charted cell"
        if row not in self._conducting:
            self._conducting[row] = self._conducts(row)
        return self._conducting[row]

    @cached_property
    def _conducting(self) -> dict[int, Floats]:
        return {}

    def _conducts(self, row: int) -> Floats:
        known, count = self.known, self.known.bins.count
        shown = known.conducting.astype(float)
        if known.hook_up[row]:
            # The part is sound; what is read is of a hook-up that tells nothing of this cell.
            says = self.whole

            def told(angle: int) -> float:
                read = (
                    self.played(angle)
                    if row == known.play_cause
                    else float(self.there(row, angle) @ says)
                )
                return read * float(self.there(0, angle) @ shown)

            found = self.sound(row, told)
        else:
            found = self.sound_with(row, shown)
        if not self.readings:
            return found
        own = float(self.defects @ shown[:count])
        met = [float(one.seen @ shown[:count]) for one in self.readings if not one.lean]
        own += self.wanders * any(share > 0.5 for share in met)
        return found + own * self.whichever(row)


_CELLS: dict[tuple[object, ...], Cell] = {}


def cell_of(
    known: Tables, at: tuple[int, int], readings: Sequence[Observed], edges: Sequence[ObservedEdge]
) -> Cell:
    """Return a cell, the same one for the same readings: sheets differ in a few only."""
    told = [(one.lean, one.visit, one.seen.tobytes()) for one in readings]
    found = [one.key for one in edges]
    return _CELLS.setdefault((id(known), *at, *told, *found), Cell(known, *at, readings, edges))


def stray_density(known: Tables, edge: ObservedEdge) -> float:
    """Return the density of an edge that has nothing to do with the part: within two gaps."""
    sides = float(known.usual @ edge.below) * float(known.usual @ edge.above)
    return sides / (2.0 * mean_gap(known.shape))


_DENSITIES: dict[tuple[object, ...], Floats] = {}


def _density(known: Tables, edge: ObservedEdge, j: float, *, plays: bool) -> Floats:
    """Return the density of an edge of a boundary, by angle, integrated numerically.

    An angle of the grid stands for those about it with the weights of linear interpolation.
    """
    step = known.grid.step
    u = float(np.hypot(edge.u, known.priors.play_gaps * mean_gap(known.shape) * plays))
    key = id(known), edge.at, u, j
    if key not in _DENSITIES:
        nodes, weights = np.polynomial.legendre.leggauss(400)
        t = (nodes + 1.0) * 0.5 * step
        found = []
        for angle in known.grid.angles.tolist():
            both = 0.0
            for side in (t, -t):
                off = angle + side - (j - edge.at)
                normal = np.exp(-0.5 * (off / u) ** 2) / (u * np.sqrt(2.0 * np.pi))
                both += float(weights @ (normal * (1.0 - t / step))) * 0.5
            found.append(both)
        _DENSITIES[key] = np.array(found)
    return _DENSITIES[key]


@dataclass(eq=False)
class Spelt:
    """All hypotheses of a part, and what they make of readings."""

    known: Tables
    told: Sequence[Observed]
    edges: Sequence[ObservedEdge] = ()
    log_besides: Floats | float = 0.0
    """Log of the chance of all else, by offset."""
    times: Mapping[int, float] = field(default_factory=dict)
    """How many times likelier each cause is by what was seen."""
    cells: dict[tuple[int, int], Cell] = field(default_factory=dict)

    def __post_init__(self) -> None:
        read = [(one.pair, one.position) for one in self.told]
        charted = [(k, p) for k in range(self.known.charted) for p in range(4)]
        for at in dict.fromkeys([*charted, *read]):
            here = [one for one, of in zip(self.told, read, strict=True) if of == at]
            edges = [edge for edge in self.edges if (edge.pair, edge.position) == at]
            self.cells[at] = cell_of(self.known, at, here, edges)

    @property
    def charted(self) -> dict[tuple[int, int], Cell]:
        """The cells of the chart."""
        return {at: cell for at, cell in self.cells.items() if at[0] < self.known.charted}

    @property
    def hazards(self) -> list[tuple[int, int]]:
        """The cells that must not conduct."""
        return [at for at in self.charted if self.known.hazard[at]]

    @cached_property
    def weights(self) -> dict[tuple[int, ...], Floats]:
        """Prior times chance of the readings of each hypothesis, by offset."""
        known, causes = self.known, range(len(self.known.causes))
        pairs = [(i, j) for i in causes for j in causes if i < j and known.twofold.allows(i, j)]
        found = {}
        for causes_ in [*((i,) for i in causes), *pairs]:
            log_odds = known.log_cause[list(causes_)] - known.log_cause[0]
            log_prior = known.log_cause[0] + float(log_odds.sum())
            log_prior += sum(float(np.log(self.times.get(cause, 1.0))) for cause in causes_)
            log_each = log_prior + known.grid.log_offset + self.log_besides
            found[causes_] = np.exp(log_each) * prod(
                cell.total(self.touching(causes_, at)) for at, cell in self.cells.items()
            )
        return found

    def touching(self, causes: tuple[int, ...], at: tuple[int, int]) -> Cause:
        """Return which of some causes touch a cell; no fault if none does."""
        rows = self.known.affected[at[0]][at[1]]
        touch = [c for c in causes if c in rows]
        if len(touch) == 2:
            return touch[0], touch[1]
        return touch[0] if touch else 0

    @cached_property
    def unexplained(self) -> float:
        """Prior times chance of the readings if nothing explains them."""
        usual = prod(float(self.known.usual @ one.seen) for one in self.told)
        usual *= prod(stray_density(self.known, edge) for edge in self.edges)
        usual *= float(np.exp(self.known.grid.log_offset + self.log_besides).sum())
        return float(np.exp(self.known.log_unexplained)) * usual

    @cached_property
    def explained(self) -> float:
        return float(sum(weight.sum() for weight in self.weights.values()))

    def no_fault(self, change: Mapping[tuple[int, int], Floats]) -> float:
        """Return the chance of no fault with some cells' chances others than all in all."""
        weight = self.weights[0,].copy()
        for at, chance in change.items():
            weight = weight * chance / self.cells[at].total(0)
        return float(weight.sum())

    def safe(self, causes: tuple[int, ...]) -> Floats:
        """Return the chance given a hypothesis that no start permit conducts in gear."""
        found = np.ones(len(self.known.grid.offsets))
        for at in self.hazards:
            cell, cause = self.cells[at], self.touching(causes, at)
            all_of = cell.total(cause) if cell.readings or cell.edges else 1.0
            found = found * np.maximum(1.0 - cell.conducts(cause) / all_of, 1e-12)
        return found

    def unsafe(self) -> float:
        """Return the chance that one does, whatever the hypothesis."""
        return float(sum((w * (1.0 - self.safe(h))).sum() for h, w in self.weights.items()))

    def gate(self) -> float:
        """Return how likely some cell that must not conduct does, by the meter alone."""
        shown = self.known.conducting[: self.known.bins.count]
        found = [0.0]
        for at in self.hazards:
            each = [
                float(one.seen[shown].sum() / one.seen.sum())
                for one in self.cells[at].readings
                if not one.lean
            ]
            found.append(prod(each) if each else 0.0)
        return max(found)


def moved(told: Sequence[Observed], mistake: SheetMistake) -> list[Observed]:
    """Return readings where a mistake of the sheet has them; each cell's visits stay its own."""
    found = []
    for one in told:
        charted = one.pair < len(mistake.pair)
        pair = int(mistake.pair[one.pair]) if charted else one.pair
        at = pair, int(mistake.position[one.position])
        visit = one.visit and 1000 * (one.pair * 100 + one.position + 1) + one.visit
        found.append(replace(one, pair=at[0], position=at[1], visit=visit))
    return found


SHEETS: dict[str, Told] = {
    "nothing": [],
    "good": sheet_of(GOOD),
    "in gear": sheet_of({**GOOD, "G-H": "0.2 OL 0.2 0.2"}),
    "two cells": [("A-E", "P", "OL", "", 0), ("A-E", "R", "0.2", "", 0), ("G-H", "R", "OL", "", 0)],
    "leaned": [
        ("A-E", "P", "OL", "", 0),
        ("A-E", "R", "0.2", "", 0),
        ("A-E", "R", "OL", "N", 0),
        ("B-E", "R", "300", "P", 0),
        ("G-H", "N", "0.2", "", 2),
        ("G-H", "N", "300", "R", 0),
    ],
    "read again": [
        *sheet_of({**GOOD, "A-E": "0.2 300 OL 0.2"}),
        ("A-E", "R", "300", "", 0),
        ("A-E", "R", "OL", "N", 0),
        ("G-H", "N", "0.2", "D", 0),
    ],
    "one visit": [
        ("G-H", "R", "0.2", "", 1),
        ("G-H", "R", "0.2", "", 1),
        ("G-H", "R", "OL", "", 2),
        ("G-H", "D", "OL", "", 3),
        ("A-E", "P", "OL", "", 4),
        ("A-E", "P", "OL", "", 4),
    ],
    "wanders": [("B-E", "R", text, "", 0) for text in ("OL", "300", "0.2", "5000")],
    "out of line": sheet_of({**GOOD, "G-H": "OL OL OL OL"}),
    "lost": 2 * sheet_of({**GOOD, "A-E": "OL OL OL OL"}),
    "across two": [
        *sheet_of({**GOOD, "A-E": "OL OL OL OL"}),
        ("A-B", "D", "OL", "", 0),
        ("A-B", "D", "0.2", "N", 0),
        ("A-B", "N", "300", "", 0),
    ],
    "columns": [
        *sheet_of({"A-E": "OL 0.2 OL 0.2", "B-E": "0.2 OL OL 0.2", "G-H": "OL 0.2 0.2 OL"}),
        ("A-B", "D", "0.2", "", 0),
        ("A-B", "P", "OL", "", 0),
    ],
    "rows": 2 * sheet_of({"A-E": "OL 0.2 OL 0.2", "B-E": "0.2 OL OL 0.2", "G-H": "0.2 OL 0.2 OL"}),
    "too soon": [
        (pair, at, text, "", visit)
        for visit in (1, 1, 2)
        for pair, at, text, _, _ in sheet_of(
            {"A-E": "0.2 OL 0.2 0.2", "B-E": "OL OL 0.2 0.2", "G-H": "0.2 0.2 OL OL"}
        )
    ],
}


@dataclass(eq=False)
class Case:
    """A sheet told to both."""

    spelt: Spelt
    posterior: Posterior
    sheets: Sequence[tuple[float, Spelt]]
    """Of each mistake that is weighed: prior times evidence, and its readings put right."""

    @cached_property
    def total(self) -> float:
        of_sheets = sum(prior * right.explained for prior, right in self.sheets)
        return self.spelt.explained + self.spelt.unexplained + of_sheets


@cache
def case(name: str, gear: str = "open") -> Case:
    known = tables(gear)
    told = observed(known, SHEETS[name])
    posterior = tell(prior_of(known), told)
    sheets = [
        (float(np.exp(one.log_prior)), Spelt(known, moved(told, one.mistake)))
        for one in rewritten(posterior)
    ]
    return Case(Spelt(known, told), posterior, sheets)


EVERY = [(name, "open") for name in SHEETS] + [("good", "closed"), ("in gear", "closed")]
"""Each sheet, and two of a chart that lets the start permit conduct in D."""
