"""What the readings say of every hypothesis: Bayes' rule, cell by cell.

Cells are independent given the hypothesis (`tables.py`), so each cell contributes one factor for
each cause and offset, in which its deviation is summed out; for causes that do not touch the cell
the factor is that of no fault. Two faults touch different cells, so their factor is the product of
each one's over no fault's, and sums over all pairs of faults become one matrix product.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np

from benchproof.diagnose.grid import window
from benchproof.diagnose.outcome import evidence
from benchproof.diagnose.predict import Predicted, predict
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.together import Together, same_pairs
from benchproof.family.model import same_pair
from benchproof.network.resistance import Floats, Ints
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading


@dataclass(frozen=True)
class Observed:
    """One reading as the tables know it.

    Attributes
    ----------
    pair, position : int
        Numbers of the pair and position.
    lean : int
        -1 toward the position before, 1 toward the one after, 0 in the detent.
    seen : array, shape (bins,)
        How well it agrees with the meter having read each bin.
    """

    pair: int
    position: int
    lean: int
    seen: Floats


def observe(
    tables: Tables, readings: Iterable[Reading], meter: Meter, ambient_c: float | None = None
) -> list[Observed]:
    """Return the readings of pairs that the tables know; others tell nothing and are left out."""
    number = {same_pair(pair): k for k, pair in enumerate(tables.pairs)}
    positions = tables.family.positions
    observed = []
    for reading in readings:
        k = number.get(same_pair(reading.pair))
        if k is not None:
            p = positions.index(reading.position)
            lean = np.sign(positions.index(reading.lean) - p) if reading.lean else 0
            seen = evidence(reading.value, tables.bins, meter, ambient_c)
            observed.append(Observed(k, p, int(lean), seen))
    return observed


def against_chart(tables: Tables, one: Observed) -> bool:
    """Return whether a reading in the detent of a charted pair speaks against the chart.

    Its best agreement with a bin that meets the chart is then under half of its best with any: a
    mark that says open agrees with every bin that a buzzer is silent at.
    """
    if one.lean or one.pair >= tables.charted:
        return False
    good = tables.good[one.pair, one.position, : tables.bins.count]
    return float(one.seen[good].max(initial=0.0)) < 0.5 * float(one.seen.max())


@dataclass(frozen=True)
class CellFactor:
    """What the readings of one cell say.

    Attributes
    ----------
    tables : Tables
        The hypotheses.
    readings : tuple of Observed
        All the readings of the cell, at least one.
    rows : array of int
        The causes that touch the cell; the first is no fault.
    log : array, shape (rows, offsets)
        Log probability of the readings.
    good : array, shape (offsets,)
        Probability that the cell meets the chart, no fault; one for a pair not charted.
    conducts : array, shape (rows, offsets)
        Probability that the cell in its detent conducts; empty unless that is a hazard.
    """

    tables: Tables
    readings: tuple[Observed, ...]
    rows: Ints
    log: Floats
    good: Floats
    conducts: Floats

    @cached_property
    def deviation(self) -> Floats:
        """Probability of the readings given each deviation of the cell, times its prior.

        Shape (rows, offsets, deviations).
        """
        return _deviation(self.tables, self.readings)

    @property
    def together(self) -> Together | None:
        """The pairs of faults that both touch the cell, None if it is charted."""
        first = self.readings[0]
        if first.pair < self.tables.charted:
            return None
        return self.tables.together[first.pair, first.position]

    @cached_property
    def deviation_together(self) -> Floats:
        """As `deviation`, for the pairs of faults that both touch the cell."""
        tables = self.tables
        together = self.together
        assert together is not None, "no two faults share a charted cell"
        weighted: Floats = tables.grid.spread
        for one in self.readings:
            by_angle = (tables.channel @ one.seen)[together.category]
            weighted = weighted * _leaned(tables, by_angle, one.position, one.lean)
        return weighted

    @cached_property
    def log_together(self) -> Floats:
        """Log probability of the readings for these pairs, shape (pairs, offsets)."""
        log: Floats = np.log(self.deviation_together.sum(axis=-1))
        return log

    @cached_property
    def predicted(self) -> Predicted:
        """What a further reading of the cell would find."""
        deviation = self.deviation * np.exp(-self.log)[..., None]
        both = None
        if self.together is not None:
            both = self.deviation_together * np.exp(-self.log_together)[..., None]
        first = self.readings[0]
        return predict(self.tables, first.pair, first.position, deviation, both)


def _deviation(tables: Tables, readings: Sequence[Observed]) -> Floats:
    first = readings[0]
    weighted: Floats = tables.grid.spread
    for one in readings:
        shown = tables.channel @ one.seen
        weighted = weighted * outlook(tables, first.pair, first.position, one.lean, shown)
    return weighted


def cell_factor(tables: Tables, readings: tuple[Observed, ...]) -> CellFactor:
    """Return the factor of the readings of one cell.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    readings : tuple of Observed
        All the readings of one pair in one position, at least one.
    """
    k, p = readings[0].pair, readings[0].position
    rows = tables.affected[k][p]
    weighted = _deviation(tables, readings)
    total = weighted.sum(axis=-1)
    good = np.ones(total.shape[1])
    conducts = np.zeros((0, total.shape[1]))
    if k < tables.charted:
        mask = window(tables.grid, tables.good[k, p][tables.category[0, k, p]])
        good = (weighted[0] * mask).sum(axis=-1) / total[0]
        if tables.hazard[k, p]:
            mask = window(tables.grid, tables.conducting[tables.part_category(rows, k, p)])
            conducts = (weighted * mask).sum(axis=-1) / total
    return CellFactor(tables, readings, rows, np.log(total), good, conducts)


def _remembered_factor(tables: Tables, readings: tuple[Observed, ...]) -> CellFactor:
    """Return the factor of a cell, remembered where every reading is of one bin beyond doubt.

    An archive has the same few readings of a cell again and again.
    """
    bins = tuple((one.lean, int(one.seen.argmax())) for one in readings)
    if any(one.seen[b] < 1.0 - 1e-9 for one, (_, b) in zip(readings, bins, strict=True)):
        return cell_factor(tables, readings)
    key = readings[0].pair, readings[0].position, tuple(sorted(bins))
    found = tables.remembered.get(key)
    if found is None:
        found = tables.remembered[key] = cell_factor(tables, readings)
    return cast("CellFactor", found)


def outlook(tables: Tables, k: int, p: int, lean: int, of_category: Floats) -> Floats:
    """Return a value of the categories as each cause, offset and deviation shows it in a cell.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    k, p, lean : int
        Pair, position and lean.
    of_category : array, shape (categories,)
        The value, such as the probability of a reading.

    Returns
    -------
    array, shape (rows, offsets, deviations)
        For the causes that touch the cell.
    """
    grid = tables.grid
    rows = tables.affected[k][p]
    by_angle = of_category[tables.category[rows, k, p]]
    for i in np.flatnonzero(rows == tables.play_cause):
        by_angle[i] = np.convolve(by_angle[i], grid.play_spread, mode="same")
    return _leaned(tables, by_angle, p, lean)


def _leaned(tables: Tables, by_angle: Floats, p: int, lean: int) -> Floats:
    """Return values by angle as a reading with a lean shows them, by offset and deviation."""
    grid = tables.grid
    if not lean:
        return window(grid, by_angle)
    leaned = np.empty_like(by_angle)
    for i, row in enumerate(by_angle):
        leaned[i] = np.convolve(row, grid.lean_spread, mode="same")
    return window(grid, leaned, int(grid.lean_steps[p, (lean + 1) // 2]))


@dataclass(frozen=True)
class Posterior:
    """Everything known after some readings.

    Attributes
    ----------
    tables : Tables
        The hypotheses.
    cells : mapping of (pair, position) to tuple of Observed
        The readings of each cell, in order.
    factors : mapping of (pair, position) to CellFactor
        What each cell that was read says.
    log_ratio : array, shape (causes, offsets)
        Log of each cause's probability of the readings over that of no fault.
    log_healthy : array, shape (offsets,)
        Log probability of the readings without fault.
    log_unexplained : float
        Log probability of the readings if nothing explains them.
    """

    tables: Tables
    cells: Mapping[tuple[int, int], tuple[Observed, ...]]
    factors: Mapping[tuple[int, int], CellFactor]
    log_ratio: Floats
    log_healthy: Floats
    log_unexplained: float


def prior_of(tables: Tables) -> Posterior:
    """Return what is known before any reading."""
    offsets = len(tables.grid.offsets)
    ratio = np.zeros((len(tables.causes), offsets))
    return Posterior(tables, {}, {}, ratio, np.zeros(offsets), 0.0)


def tell(posterior: Posterior, readings: Iterable[Observed]) -> Posterior:
    """Return what is known after further readings; their order does not matter."""
    tables = posterior.tables
    cells, factors = dict(posterior.cells), dict(posterior.factors)
    ratio, healthy = posterior.log_ratio.copy(), posterior.log_healthy.copy()
    unexplained = posterior.log_unexplained
    touched: dict[tuple[int, int], None] = {}
    for one in readings:
        cell = one.pair, one.position
        cells[cell] = (*cells.get(cell, ()), one)
        touched[cell] = None
        unexplained += float(np.log(tables.usual @ one.seen))
    for cell in touched:
        if (old := factors.get(cell)) is not None:
            healthy -= old.log[0]
            ratio[old.rows] -= old.log - old.log[0]
        new = factors[cell] = _remembered_factor(tables, cells[cell])
        healthy += new.log[0]
        ratio[new.rows] += new.log - new.log[0]
    return Posterior(tables, cells, factors, ratio, healthy, unexplained)


@dataclass(frozen=True)
class Shared:
    """The pairs of faults that a reading already taken sees both of.

    Attributes
    ----------
    first, second : array of int, shape (pairs,)
        Their causes.
    odds : array, shape (pairs, offsets)
        Of the two together over no fault.
    """

    first: Ints
    second: Ints
    odds: Floats


@dataclass(frozen=True)
class Masses:
    """Probabilities of the hypotheses, all on one scale; they sum to one.

    Attributes
    ----------
    single : array, shape (causes, offsets)
        Of each single cause; the first is no fault.
    odds : array, shape (causes, offsets)
        Of each cause over no fault.
    twofold : array, shape (causes, offsets)
        Of all pairs of faults that each cause is one of; half its sum is that of all pairs.
    apart : array, shape (causes, causes)
        The pairs of faults whose odds are the product of each one's; 1 or 0, symmetrical.
    shared : Shared
        All other pairs.
    unexplained : float
        Of none of these.
    """

    single: Floats
    odds: Floats
    twofold: Floats
    apart: Floats
    shared: Shared
    unexplained: float

    @property
    def by_offset(self) -> Floats:
        """Probability of each offset together with any explanation, shape (offsets,)."""
        mass: Floats = self.single.sum(axis=0) + 0.5 * self.twofold.sum(axis=0)
        return mass

    def twofold_of(self, odds: Floats, shared_odds: Floats) -> Floats:
        """Return the probability of all pairs that each cause is one of, were their odds these.

        Parameters
        ----------
        odds : array, shape (causes, offsets)
            Of each cause over no fault.
        shared_odds : array, shape (pairs, offsets)
            Of the pairs of `shared`.

        Returns
        -------
        array, shape (causes, offsets)
        """
        sums = odds * (self.apart @ odds)
        np.add.at(sums, self.shared.first, shared_odds)
        np.add.at(sums, self.shared.second, shared_odds)
        found: Floats = np.asarray(self.single[0] * sums)
        return found


MOST_LOG_ODDS = 280.0
"""Odds are cut off here, far beyond doubt, so that products of two stay finite."""


def masses(posterior: Posterior) -> Masses:
    """Return the probabilities of all hypotheses."""
    tables = posterior.tables
    log_odds = (tables.log_cause - tables.log_cause[0])[:, None] + posterior.log_ratio
    log_odds = np.minimum(log_odds, MOST_LOG_ODDS)
    odds = np.exp(log_odds)
    log_none = tables.log_cause[0] + tables.grid.log_offset + posterior.log_healthy
    # Scaled to the likeliest of the single causes and of none of these.
    top = max(
        float((log_none + log_odds).max()),
        tables.log_unexplained + posterior.log_unexplained,
    )
    none = np.exp(log_none - top)
    unexplained = float(np.exp(tables.log_unexplained + posterior.log_unexplained - top))
    apart, shared = _shared(posterior, log_odds)
    scaled = Masses(none * odds, odds, np.zeros_like(odds), apart, shared, unexplained)
    twofold = scaled.twofold_of(odds, shared.odds)
    total = scaled.single.sum() + 0.5 * twofold.sum() + unexplained
    single = scaled.single / total
    return Masses(single, odds, twofold / total, apart, shared, unexplained / total)


def _shared(posterior: Posterior, log_odds: Floats) -> tuple[Floats, Shared]:
    """Return which causes go together without a reading that sees both, and those that do not."""
    tables = posterior.tables
    numbers, changes = [], []
    for factor in posterior.factors.values():
        if (both := factor.together) is not None:
            numbers.append((factor.rows[both.first], factor.rows[both.second]))
            # What the cell says of the two together, over what it says of one and of the other.
            apiece = factor.log[both.first] + factor.log[both.second] - factor.log[0]
            changes.append(factor.log_together - apiece)
    if not numbers:
        none = np.zeros(0, dtype=np.intp)
        return tables.twofold, Shared(none, none, np.zeros((0, log_odds.shape[1])))
    first, second, which = same_pairs(numbers, len(tables.causes))
    change = np.zeros((len(first), log_odds.shape[1]))
    np.add.at(change, which, np.concatenate(changes))
    apart = tables.twofold.copy()
    apart[first, second] = apart[second, first] = 0.0
    log_both = np.minimum(log_odds[first] + log_odds[second] + change, 2.0 * MOST_LOG_ODDS)
    return apart, Shared(first, second, np.exp(log_both))
