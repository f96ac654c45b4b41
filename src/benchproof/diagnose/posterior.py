"""What the readings say of every hypothesis: Bayes' rule, cell by cell.

Cells are independent given the hypothesis (`tables.py`), so each cell contributes one factor for
each cause and offset, in which its deviation is summed out; for causes that do not touch the cell
the factor is that of no fault. Two faults touch different cells, so their factor is the product of
each one's over no fault's, and sums over all pairs of faults become one matrix product.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log
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

    @property
    def together(self) -> Together | None:
        """The pairs of faults that both touch the cell, None if it is charted."""
        first = self.readings[0]
        if first.pair < self.tables.charted:
            return None
        return self.tables.together[first.pair, first.position]

    @cached_property
    def _told_together(self) -> tuple[Floats, Floats]:
        tables, together = self.tables, self.together
        assert together is not None, "no two faults share a charted cell"

        def outlook_of(one: Observed) -> Floats:
            by_angle = (tables.channel @ one.seen)[together.category]
            return _leaned(tables, by_angle, one.position, one.lean)

        return _told(tables, self.readings, outlook_of)

    @property
    def log_together(self) -> Floats:
        """Log probability of the readings for these pairs, shape (pairs, offsets)."""
        return self._told_together[0]

    @property
    def deviation(self) -> Floats:
        """Probability of each deviation of the cell given its readings.

        Shape (rows, offsets, deviations); not kept, for it is large.
        """
        return _told_apart(self.tables, self.readings)[1]

    @cached_property
    def predicted(self) -> Predicted:
        """What a further reading of the cell would find."""
        both = self._told_together[1] if self.together is not None else None
        first = self.readings[0]
        return predict(self.tables, first.pair, first.position, self.deviation, both)


LEAST = 1e-250
"""What an explanation keeps of a cell that others explain far better."""
RESCALE_EVERY = 16
"""Readings of a cell after which their product is scaled, before it is too small for a number."""


def _told(
    tables: Tables, readings: Sequence[Observed], outlook_of: Callable[[Observed], Floats]
) -> tuple[Floats, Floats]:
    """Return what the readings of a cell say of each explanation.

    Returns
    -------
    tuple of arrays
        The log probability of the readings, shape (rows, offsets), and the probability of each
        deviation of the cell given them, shape (rows, offsets, deviations).
    """
    weighted: Floats = tables.grid.spread
    log_scale = 0.0
    for turn, one in enumerate(readings, 1):
        weighted = weighted * outlook_of(one)
        if turn % RESCALE_EVERY == 0:
            peak = float(weighted.max())
            weighted /= peak
            log_scale += log(peak)
    total = np.maximum(weighted.sum(axis=-1), LEAST)
    return np.log(total) + log_scale, weighted / total[..., None]


def _told_apart(tables: Tables, readings: Sequence[Observed]) -> tuple[Floats, Floats]:
    """Return what the readings of a cell say of each cause that touches it; see `_told`."""

    def outlook_of(one: Observed) -> Floats:
        shown = tables.channel @ one.seen
        return outlook(tables, one.pair, one.position, one.lean, shown)

    return _told(tables, readings, outlook_of)


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
    log_read, deviation = _told_apart(tables, readings)
    good = np.ones(log_read.shape[1])
    conducts = np.zeros((0, log_read.shape[1]))
    if k < tables.charted:
        mask = window(tables.grid, tables.good[k, p][tables.category[0, k, p]])
        good = (deviation[0] * mask).sum(axis=-1)
        if tables.hazard[k, p]:
            mask = window(tables.grid, tables.conducting[tables.part_category(rows, k, p)])
            conducts = (deviation * mask).sum(axis=-1)
    return CellFactor(tables, readings, rows, log_read, good, conducts)


MOST_REMEMBERED = 2_000
"""Factors of cells kept by a family's tables, some tens of kilobytes each; then it begins anew."""


def _remembered_factor(tables: Tables, readings: tuple[Observed, ...]) -> CellFactor:
    """Return the factor of a cell, remembered where no reading leaves a doubt about any bin.

    An archive has the same few readings of a cell again and again. The factor is computed from what
    it is remembered by, so that its last digit does not depend on which readings came first.
    """
    agreeing = [one.seen > 0.5 for one in readings]
    if any(np.abs(one.seen - a).max() > 1e-9 for one, a in zip(readings, agreeing, strict=True)):
        return cell_factor(tables, readings)
    k, p = readings[0].pair, readings[0].position
    of_readings = zip(readings, agreeing, strict=True)
    key = k, p, tuple(sorted((one.lean, tuple(bins.tolist())) for one, bins in of_readings))
    found = tables.remembered.get(key)
    if found is None:
        if len(tables.remembered) >= MOST_REMEMBERED:
            tables.remembered.clear()
        settled = tuple(Observed(k, p, lean, np.array(bins, dtype=float)) for lean, bins in key[2])
        found = tables.remembered[key] = cell_factor(tables, settled)
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
    log_odds : array, shape (pairs, offsets)
        Log of the odds of the two together over no fault.
    """

    first: Ints
    second: Ints
    log_odds: Floats


@dataclass(frozen=True)
class Masses:
    """Probabilities of the hypotheses, all on one scale; they sum to one.

    A lost common speaks in so many cells that its odds over no fault are beyond what a number
    holds; they are kept as logs, and only probabilities are not.

    Attributes
    ----------
    single : array, shape (causes, offsets)
        Of each single cause; the first is no fault.
    twofold : array, shape (causes, offsets)
        Of all pairs of faults that each cause is one of; half its sum is that of all pairs.
    unexplained : float
        Of none of these.
    log_none : array, shape (offsets,)
        Log probability of no fault.
    log_odds : array, shape (causes, offsets)
        Log of the odds of each cause over no fault.
    apart : array, shape (causes, causes)
        The pairs of faults whose odds are the product of each one's; 1 or 0, symmetrical.
    shared : Shared
        All other pairs.
    log_evidence : float
        Log probability of the readings under all hypotheses together.
    """

    single: Floats
    twofold: Floats
    unexplained: float
    log_none: Floats
    log_odds: Floats
    apart: Floats
    shared: Shared
    log_evidence: float

    @property
    def by_offset(self) -> Floats:
        """Probability of each offset together with any explanation, shape (offsets,)."""
        mass: Floats = self.single.sum(axis=0) + 0.5 * self.twofold.sum(axis=0)
        return mass

    def twofold_with(self, log_share: Floats) -> Floats:
        """Return the probability of all pairs that each cause is one of and of something more.

        Parameters
        ----------
        log_share : array, shape (causes, offsets)
            Log probability of it given each cause; given a pair, it is the product of its two.

        Returns
        -------
        array, shape (causes, offsets)
        """
        shared = self.shared
        both = shared.log_odds + log_share[shared.first] + log_share[shared.second]
        found: Floats = np.exp(
            self.log_none + _log_twofold(self.log_odds + log_share, self.apart, shared, both)
        )
        return found


def masses(posterior: Posterior) -> Masses:
    """Return the probabilities of all hypotheses."""
    tables = posterior.tables
    log_odds = (tables.log_cause - tables.log_cause[0])[:, None] + posterior.log_ratio
    log_none = tables.log_cause[0] + tables.grid.log_offset + posterior.log_healthy
    log_unexplained = tables.log_unexplained + posterior.log_unexplained
    apart, shared = _shared(posterior, log_odds)
    log_single = log_none + log_odds
    log_twofold = log_none + _log_twofold(log_odds, apart, shared, shared.log_odds)
    top = max(float(log_single.max()), float(log_twofold.max()), log_unexplained)
    total = np.exp(log_single - top).sum() + 0.5 * np.exp(log_twofold - top).sum()
    log_evidence = top + float(np.log(total + np.exp(log_unexplained - top)))
    return Masses(
        np.exp(log_single - log_evidence),
        np.exp(log_twofold - log_evidence),
        float(np.exp(log_unexplained - log_evidence)),
        log_none - log_evidence,
        log_odds,
        apart,
        shared,
        log_evidence,
    )


TIER = 600.0
"""Odds within e to this power are summed as numbers: well inside what a number holds."""


def _log_twofold(log_odds: Floats, apart: Floats, shared: Shared, log_shared: Floats) -> Floats:
    """Return the log of the odds over no fault of all pairs that each cause is one of.

    Parameters
    ----------
    log_odds : array, shape (causes, offsets)
        Log odds of each cause.
    apart : array, shape (causes, causes)
        The pairs whose odds are the product of each one's.
    shared, log_shared : Shared and array, shape (pairs, offsets)
        The other pairs, and their log odds.
    """
    found = np.full_like(log_odds, -np.inf)
    tier = np.maximum(log_odds, 0.0) // TIER
    with np.errstate(divide="ignore"):
        for number in np.unique(tier).tolist():
            base = TIER * number
            of_tier = np.where(tier == number, np.exp(np.minimum(log_odds - base, TIER)), 0.0)
            found = np.logaddexp(found, base + np.log(apart @ of_tier))
    found += log_odds
    for one in (shared.first, shared.second):
        np.logaddexp.at(found, one, log_shared)
    return found


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
    return apart, Shared(first, second, log_odds[first] + log_odds[second] + change)
