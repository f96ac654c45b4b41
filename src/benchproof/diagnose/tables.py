"""The hypotheses about a part, and what each would read, tabulated once a family.

A hypothesis is an offset on a grid and at most two faults. Each cell's edge deviates from the
family's by a spread of its own, alike for all readings of that cell: an edge lies between two
detents and, for a given offset, decides a reading at one of them only, so nothing is lost by giving
each cell its own deviation. Angle by angle the tables hold the *category* (`outcome.py`) that each
single fault makes of each cell; the posterior only looks things up.

Two faults are a hypothesis together if both are of the part's contacts, resistors or pins and no
charted cell depends on both; where one cell would, one fault masks the other.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.cells import CellCauses, Cells, cells_of
from benchproof.diagnose.grid import Grid, grid_of, kernel, window
from benchproof.diagnose.latent import Latents, latents_of
from benchproof.diagnose.mixtures import Categories
from benchproof.diagnose.outcome import Bins, bins_of, channel, usual_bins
from benchproof.diagnose.pairs import pairs_of
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.sizes import Span
from benchproof.diagnose.solver import Made, Solver
from benchproof.diagnose.twofaults import (
    Everywhere,
    Together,
    Twofold,
    together_in,
    twofold_of,
)
from benchproof.diagnose.verdict import VERDICT_OF_KIND, PartVerdict
from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair, same_pair
from benchproof.family.problems import TooLarge
from benchproof.family.safety import assumed, safety_of
from benchproof.network.faultkind import FaultKind, SizeUnit
from benchproof.network.faults import Fault, PartFault, single_faults
from benchproof.network.geometry import Geometry, Margins, geometry
from benchproof.network.resistance import Floats, Ints

Bools = NDArray[np.bool_]

NO_CAUSE = -1
"""The number of no cause at all."""
FactorKey = tuple[int, int, tuple[tuple[int, int, bytes], ...]]
"""Pair and position of a cell; visit, lean and settled bins of each of its readings."""

HOOK_UP_KINDS = frozenset(
    {PartFault.PINS_SWAPPED, PartFault.LEVER_OFF, PartFault.DETENT_PLAY, PartFault.OTHER_FAMILY}
)
"""The kinds that are not of the part but of how it is held, wired or looked up."""


@dataclass(frozen=True, eq=False)
class Tables:
    """Everything the posterior looks up.

    Attributes
    ----------
    shape : Geometry
        The family with its detents, branches and dwells.
    priors : Priors
        What was taken for granted.
    grid : Grid
        Offsets and spreads.
    bins : Bins
        Bins of ohms.
    pairs : tuple of pair
        The charted pairs in chart order, each once, then compound and crossed ones; see `pairs.py`.
    charted : int
        How many of `pairs` are charted.
    causes : tuple of (Fault or None)
        The single hypotheses; the first, None, is a part without fault.
    log_cause : array, shape (causes,)
        Log prior probability of each, no second fault with it.
    twofold : Twofold
        Which two causes can be there together; see `twofaults.py`.
    log_unexplained : float
        Log prior probability of none of these.
    spans : tuple of tuples of (float, float), one a cause
        The sizes that a cause stands for, from and to; empty for one without a size.
    cells : Cells
        What is there in each cell, for the causes that touch it; see `cells.py`.
    parts : array, shape (categories, pure categories)
        What each category is made of; see `mixtures.py`.
    channel : array, shape (categories, bins)
        Probability of reading each bin given what is there.
    usual : array, shape (bins,)
        Probability of each bin when nothing explains the readings.
    good : array of bool, shape (charted, positions, pure categories)
        Whether a bin meets the chart.
    hazard : array of bool, shape (charted, positions)
        Whether conducting in this cell lets the starter turn in gear.
    conducting : array of bool, shape (pure categories,)
        Whether it conducts: below the ohms where open begins.
    latents : Latents
        What befalls single cells.
    untested : tuple of Fault
        Single faults that no charted cell would reveal; they are no hypotheses.
    """

    shape: Geometry
    priors: Priors
    grid: Grid
    bins: Bins
    pairs: tuple[Pair, ...]
    charted: int
    causes: tuple[Fault | None, ...]
    log_cause: Floats
    twofold: Twofold
    log_unexplained: float
    spans: tuple[tuple[Span, ...], ...]
    cells: Cells
    parts: Floats
    channel: Floats
    usual: Floats
    good: Bools
    hazard: Bools
    conducting: Bools
    latents: Latents
    untested: tuple[Fault, ...]

    def cell(self, k: int, p: int) -> CellCauses:
        """Return what is there in one cell, pair by position, for the causes that touch it."""
        return self.cells.cell(k, p)

    @property
    def affected(self) -> tuple[tuple[Ints, ...], ...]:
        """The causes that touch each cell, [pair][position]; the first, always, is no fault."""
        return self.cells.affected

    @property
    def healthy(self) -> Categories:
        """What is there without fault, shape (pairs, positions, angles)."""
        return self.cells.healthy

    def part_category(self, k: int, p: int) -> Categories:
        """Return what is there of the part itself, shape (rows, angles): no matter the hook-up."""
        cell = self.cell(k, p)
        category = cell.category
        category[self.hook_up[cell.rows]] = category[0]
        return category

    @cached_property
    def local_good(self) -> Floats:
        """Probability that a cell not read is defective and meets the chart all the same.

        Shape (charted, positions).
        """
        good = self.good[:, :, : self.bins.count]
        found: Floats = self.latents.local[: self.charted] * (good @ self.latents.defect)
        return found

    @cached_property
    def unread_sound(self) -> Floats:
        """Probability that a cell not read has no defect of its own that is against the chart.

        Shape (charted, positions).
        """
        rates = self.latents.local[: self.charted] + self.latents.wandering[: self.charted]
        found: Floats = 1.0 - rates + self.local_good
        return found

    @cached_property
    def unread_good(self) -> Floats:
        """Probability that a cell not read meets the chart, no fault.

        Shape (charted, positions, offsets).
        """
        there = self.healthy[: self.charted].astype(np.intp)
        met = np.take_along_axis(self.good @ self.parts.T, there, axis=2)
        rates = self.latents.local[: self.charted] + self.latents.wandering[: self.charted]
        good: Floats = window(self.grid, met) @ self.grid.spread
        good *= (1.0 - rates)[:, :, None]
        return good + self.local_good[:, :, None]

    @cached_property
    def unread_conducts(self) -> Mapping[tuple[int, int], Floats]:
        """Probability that a hazard cell not read conducts, for the causes that touch it.

        By pair and position, shape (rows, offsets). A defect of its own counts once it is read: a
        proof reads every cell, and until then nothing but the whole part speaks of it.
        """
        found = {}
        conducting = self.parts @ self.conducting
        for k, p in np.argwhere(self.hazard).tolist():
            sound = 1.0 - self.latents.local[k, p] - self.latents.wandering[k, p]
            category = self.part_category(k, p)
            found[k, p] = sound * window(self.grid, conducting[category]) @ self.grid.spread
        return found

    @cached_property
    def hazard_cells(self) -> tuple[tuple[int, int], ...]:
        """The cells where conducting lets the starter turn in gear, pair and position."""
        return tuple((k, p) for k, p in np.argwhere(self.hazard).tolist())

    @cached_property
    def touch_hazard(self) -> Ints:
        """The causes that touch one of them; the first, always, is no fault."""
        rows = [self.affected[k][p] for k, p in self.hazard_cells]
        return np.unique(np.concatenate([np.zeros(1, dtype=np.intp), *rows]))

    @cached_property
    def charted_hazard(self) -> Bools:
        """Which cells the chart lets conduct though the starter must not turn there.

        Shape (charted, positions).
        """
        there = self.main[self.healthy[: self.charted, :, self.grid.half]]
        found: Bools = self.hazard & self.conducting[there]
        return found

    @cached_property
    def pure_channel(self) -> Floats:
        """Probability of reading each bin given each pure category."""
        channel: Floats = self.channel[: 2 * self.bins.count]
        return channel

    @cached_property
    def together(self) -> Mapping[tuple[int, int], Together]:
        """The pairs of faults that both touch a cell not charted, by pair and position."""
        return Everywhere(
            [
                (k, p)
                for k in range(self.charted, len(self.pairs))
                for p in range(len(self.family.positions))
            ],
            lambda k, p: together_in(self.cell(k, p), self.twofold, self.main, self.bins.count),
        )

    @cached_property
    def main(self) -> Ints:
        """The likeliest bin of each category."""
        likeliest: Ints = self.parts.argmax(axis=1) % self.bins.count
        return likeliest

    @cached_property
    def sites(self) -> tuple[tuple[tuple[int, int], ...], ...]:
        """The charted cells, pair and position, that hang on the same contacts, two or more.

        A cell hangs on the contacts that change it if they never close.
        """
        branch = [c.branch if c is not None and c.kind.never_closes else None for c in self.causes]
        found: dict[object, list[tuple[int, int]]] = {}
        for k in range(self.charted):
            for p, rows in enumerate(self.affected[k]):
                on = frozenset(b for row in rows.tolist() if (b := branch[row]) is not None)
                found.setdefault((p, on) if on else (p, k), []).append((k, p))
        return tuple(tuple(cells) for cells in found.values() if len(cells) > 1)

    @cached_property
    def site_of(self) -> Mapping[tuple[int, int], int]:
        """The number of the site of each cell that shares one."""
        return {cell: n for n, cells in enumerate(self.sites) for cell in cells}

    @cached_property
    def onto(self) -> Floats:
        """Probability of each angle of a cell not read, given the offset, (offsets, angles)."""
        grid = self.grid
        onto = np.zeros((len(grid.offsets), len(grid.angles)))
        for x, row in enumerate(onto):
            row[grid.start(0) + x : grid.start(0) + x + len(grid.spread)] = grid.spread
        return onto

    @cached_property
    def playing(self) -> Floats:
        """Probability of a reading's angle given the cell's, with play, (angles, angles)."""
        return kernel(self.grid, self.grid.play_spread)

    @cached_property
    def leaning(self) -> Floats:
        """The same for a lean, about the angle it is meant to be."""
        return kernel(self.grid, self.grid.lean_spread)

    @cached_property
    def factors(self) -> dict[FactorKey, object]:
        """The factors of cells that were read before; `update.py` fills it and knows what they are.

        They hold these tables, and so nothing else may keep them.
        """
        return {}

    @cached_property
    def log_usual(self) -> dict[bytes, float]:
        """Log probability when nothing explains them of readings that leave no doubt, once seen.

        By the bins that they agree with; there are few such.
        """
        return {}

    @cached_property
    def hook_up(self) -> Bools:
        """Which causes are of how the part is held or wired, shape (causes,)."""
        return np.array([c is not None and c.kind in HOOK_UP_KINDS for c in self.causes])

    @cached_property
    def asking_for(self) -> Mapping[PartVerdict, tuple[int, ...]]:
        """The causes, by number, that ask for each verdict."""
        found: dict[PartVerdict, list[int]] = {}
        for number, cause in enumerate(self.causes):
            if cause is not None:
                verdict = VERDICT_OF_KIND.get(cause.kind, PartVerdict.REPAIR)
                found.setdefault(verdict, []).append(number)
        return {verdict: tuple(numbers) for verdict, numbers in found.items()}

    @cached_property
    def number(self) -> Mapping[frozenset[str], int]:
        """The number of each pair, by its two pins."""
        return {same_pair(pair): k for k, pair in enumerate(self.pairs)}

    @cached_property
    def play_cause(self) -> int:
        """Number of the cause that is detent play, `NO_CAUSE` for a part without a lever."""
        return _play_among(self.causes)

    @cached_property
    def untested_pairs(self) -> tuple[str, ...]:
        """The pins between which a leak or a swap would be revealed by no charted cell."""
        # The two pins of a charted pair read the same either way.
        charted = {same_pair(pair) for pair in self.pairs[: self.charted]}
        pairs = dict.fromkeys(
            f.where
            for f in self.untested
            if f.kind is PartFault.LEAK
            or (f.kind is PartFault.PINS_SWAPPED and frozenset(f.at) not in charted)
        )
        return tuple(pairs)

    @cached_property
    def family(self) -> Family:
        """The family with its geometry."""
        return self.shape.family

    @property
    def hypotheses(self) -> int:
        """How many hypotheses there are: causes and pairs of them, at every offset, and none."""
        return (len(self.causes) + self.twofold.count) * len(self.grid.offsets) + 1


MOST_WORK = 1e8
"""Pins squared times pairs times positions: about a minute, and half a gigabyte."""
MOST_PAIRS = 400
"""All pairs of two faults at once take memory with the square of the pairs."""


def _check_size(family: Family) -> None:
    pairs, pins, positions = len(family.chart), len(family.pins), len(family.positions)
    if pins**2 * pairs * positions > MOST_WORK or pairs > MOST_PAIRS:
        raise TooLarge(
            f"{pairs} pairs of {pins} pins in {positions} positions are too many for a diagnosis; "
            "split the chart by connector"
        )


def tables_of(family: Family, priors: Priors, library: Sequence[Family] = ()) -> Tables:
    """Tabulate a family's hypotheses.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    priors : Priors
        What is known beforehand.
    library : sequence of Family
        Other families, completed; those with the same positions and pins are hypotheses too.


    Raises
    ------
    TooLarge
        If the chart is beyond any part that we know of.
    """
    _check_size(family)
    margins = Margins(priors.single_margin_gaps, priors.run_margin_gaps)
    told, shape = family, geometry(assumed(family), margins)
    family = shape.family
    grid, bins = grid_of(shape, priors), bins_of(family)
    known = pairs_of(family)
    pairs, charted = known.worth_reading(family), len(known.charted)
    solver = Solver(family, bins, pairs, charted, grid.angles)
    every = [*single_faults(family, lambda _: (1.0,))]
    faults = [fault for fault in every if not fault.kind.sizes]
    sized = [fault for fault in every if fault.kind.sizes]
    others = [other for other in library if _comparable(other, family)]
    made: list[_Made] = [_Made(None, solver.nothing())]
    made += [_Made(fault, touched) for fault, touched in solver.made_by(faults)]
    for one, touched in solver.made_in_sizes(sized, _spans(sized, priors)):
        made.append(_Made(one.fault, touched, one.spans, one.weight))
    for other in others:
        else_shape = geometry(other, margins)
        if else_shape.unit == shape.unit:
            fault = Fault(PartFault.OTHER_FAMILY, (other.name,))
            made.append(_Made(fault, solver.other(else_shape)))
    kept = [
        one
        for one in made
        if one.fault is None
        or one.fault.kind is PartFault.DETENT_PLAY
        or (one.touched.pairs < charted).any()
    ]
    causes = tuple(one.fault for one in kept)
    # Play, like no fault, counts as touching every cell.
    everywhere = max(0, _play_among(causes))
    cells = cells_of(
        solver.healthy, solver.placed([one.touched for one in kept]), everywhere, solver.patterns
    )
    able = [c is not None and c.kind.twofold for c in causes]
    twofold = twofold_of(np.flatnonzero(able), cells, charted)
    log_cause, log_unexplained = _prior(kept, twofold, priors, family)
    parts = solver.mixtures.parts
    main = parts.argmax(axis=1) % bins.count
    in_chart = main[cells.healthy[:charted, :, grid.half].ravel()].tolist()
    usual = usual_bins(bins, in_chart)
    # What must not conduct goes by what was said, not by what we propose.
    good, hazard = _chart_masks(told, bins, pairs, charted)
    low = np.concatenate([[0.0], bins.edges_ohm])
    conducting = np.tile(low < family.limits.open_at_least_ohm, 2)
    return Tables(
        shape=shape,
        priors=priors,
        grid=grid,
        bins=bins,
        pairs=pairs,
        charted=charted,
        causes=causes,
        log_cause=log_cause,
        twofold=twofold,
        log_unexplained=log_unexplained,
        spans=tuple(one.spans for one in kept),
        cells=cells,
        parts=parts,
        channel=parts @ channel(bins, usual, priors),
        usual=usual,
        good=good,
        hazard=hazard,
        conducting=conducting,
        latents=latents_of(bins, in_chart, hazard, len(pairs), priors),
        untested=_untested([*faults, *sized], causes),
    )


@dataclass(frozen=True)
class _Made:
    """A hypothesis and what it makes of every cell; see `Tables` and `sizes.py`."""

    fault: Fault | None
    touched: Made
    spans: tuple[Span, ...] = ()
    weight: float = 1.0


SOUND_FACTOR = 0.07
"""What is this far off its value, relative, is still sound (invented)."""


def _play_among(causes: Sequence[Fault | None]) -> int:
    kinds = [cause is not None and cause.kind is PartFault.DETENT_PLAY for cause in causes]
    return kinds.index(True) if True in kinds else NO_CAUSE


def _spans(sized: Iterable[Fault], priors: Priors) -> dict[FaultKind, tuple[Span, ...]]:
    """Return the sizes that each kind of fault comes in, of those that do."""
    found: dict[FaultKind, tuple[Span, ...]] = {}
    for kind in dict.fromkeys(fault.kind for fault in sized):
        assert kind.sizes is not None, "only those that come in sizes are asked for"
        told = getattr(priors, kind.sizes.key)
        spans = [(min(told), max(told))]
        if kind.sizes.unit is SizeUnit.FACTOR:
            (low, high) = spans[0]
            spans = [(low, min(high, 1.0 - SOUND_FACTOR)), (max(low, 1.0 + SOUND_FACTOR), high)]
        found[kind] = tuple(span for span in spans if span[0] <= span[1])
    return found


def _untested(faults: Sequence[Fault], causes: Sequence[Fault | None]) -> tuple[Fault, ...]:
    """Return the faults that are no hypothesis in any size."""
    known = {(c.kind, c.at, c.branch, _lever(c)) for c in causes if c is not None}
    return tuple(f for f in faults if (f.kind, f.at, f.branch, _lever(f)) not in known)


def _lever(fault: Fault) -> float:
    return 0.0 if fault.at else fault.size


def _comparable(other: Family, family: Family) -> bool:
    return (
        other.name != family.name
        and other.positions == family.positions
        and set(other.pin_names) == set(family.pin_names)
        and [(row.pair, row.expect) for row in other.chart]
        != [(row.pair, row.expect) for row in family.chart]
    )


def _prior(
    made: Sequence[_Made], twofold: Twofold, priors: Priors, family: Family
) -> tuple[Floats, float]:
    """Return the log prior of each single cause and of none of these; twofold ones follow."""
    odds = np.ones(len(made))
    places: dict[tuple[FaultKind, tuple[str, ...], int | None, float], list[int]] = {}
    for number, one in enumerate(made):
        if one.fault is not None:
            key = one.fault.kind, one.fault.at, one.fault.branch, _lever(one.fault)
            places.setdefault(key, []).append(number)
    sharing = {key: _sharing(made[numbers[0]].fault, family) for key, numbers in places.items()}
    alike = Counter(sharing.values())
    for key, numbers in places.items():
        kind, _ = sharing[key]
        rate = float(getattr(priors, kind.rate))
        if kind.shared:
            rate /= alike[sharing[key]]
        whole = sum(made[number].weight for number in numbers)
        for number in numbers:
            share = rate * made[number].weight / whole
            odds[number] = share / (1.0 - share)
    twofold_mass = 0.5 * float(odds[twofold.able] @ twofold.apart @ odds[twofold.able])
    total = (odds.sum() + twofold_mass) / (1.0 - priors.not_explained_rate)
    with np.errstate(divide="ignore"):
        return np.log(odds / total), float(np.log(priors.not_explained_rate))


def _sharing(fault: Fault | None, family: Family) -> tuple[FaultKind, frozenset[str]]:
    """Return the kind of a fault and the parts of an assembly at which it is: they share a rate.

    A fault between two parts is at none of them, and so is every fault of a part by itself.
    """
    assert fault is not None, "no fault has no rate"
    if not fault.kind.of_member:
        return fault.kind, frozenset()
    pins = frozenset(fault.at) - {CASE}
    return fault.kind, frozenset(name for name, own in family.members.items() if pins <= own)


def _chart_masks(
    family: Family, bins: Bins, pairs: Sequence[Pair], charted: int
) -> tuple[Bools, Bools]:
    """Return which categories meet the chart, and which cells are a hazard if they conduct."""
    low = np.concatenate([[0.0], bins.edges_ohm])
    high = np.concatenate([bins.edges_ohm, [np.inf]])
    good = np.zeros((charted, len(family.positions), 2 * bins.count), dtype=np.bool_)
    hazard = np.zeros((charted, len(family.positions)), dtype=np.bool_)
    rows = {same_pair(row.pair): row for row in family.chart}
    safety = safety_of(family)
    for k in range(charted):
        row = rows[same_pair(pairs[k])]
        for p, position in enumerate(family.positions):
            asked = safety.expectation(position, row, row.expect[p])
            bounds = asked.bounds(family.limits)
            good[k, p, : bins.count] = (low >= bounds[0]) & (high <= bounds[1])
            hazard[k, p] = safety.guards(position, row.pair)
    return good, hazard
