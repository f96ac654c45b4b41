"""What the readings say of every hypothesis: Bayes' rule, cell by cell.

Cells are independent given the hypothesis (`tables.py`), so each cell contributes one factor for
each cause and offset, in which its deviation is summed out; for causes that do not touch the cell
the factor is that of no fault. Two faults touch different cells, so their factor is the product of
each one's over no fault's, and sums over all pairs of faults become one matrix product.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from benchproof.diagnose.cell import CellFactor, cell_factor, share_of
from benchproof.diagnose.grid import window
from benchproof.diagnose.observed import Observed, against_chart, observe
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.together import same_pairs
from benchproof.network.resistance import Floats, Ints

__all__ = [
    "Masses", "Observed", "Posterior", "against_chart", "cell_factor", "masses", "observe",
    "of_part", "prior_of", "tell",
]  # fmt: skip

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
    visits = _numbered([one.visit for one in readings])
    of_readings = zip(readings, agreeing, visits, strict=True)
    told = sorted((visit, one.lean, tuple(bins.tolist())) for one, bins, visit in of_readings)
    key = k, p, tuple(told)
    found = tables.remembered.get(key)
    if found is None:
        if len(tables.remembered) >= MOST_REMEMBERED:
            tables.remembered.clear()
        settled = tuple(
            Observed(k, p, lean, np.array(bins, dtype=float), visit) for visit, lean, bins in told
        )
        found = tables.remembered[key] = cell_factor(tables, settled)
    return cast("CellFactor", found)


def _numbered(visits: Sequence[int]) -> list[int]:
    """Return numbers of visits so that equal ways to visit are equal: zero for one by itself."""
    several = [one for one in dict.fromkeys(visits) if one and visits.count(one) > 1]
    return [several.index(one) + 1 if one in several else 0 for one in visits]


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


def of_part(posterior: Posterior, k: int, p: int, of_category: Floats) -> Floats:
    """Return the expectation of a value of what a cell of the part is, in its detent.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    k, p : int
        A charted pair and a position.
    of_category : array, shape (pure categories,)
        The value.

    Returns
    -------
    array, shape (rows, offsets)
        For the causes that touch the cell. That a cell not read may be defective by itself is left
        out: it is the same everywhere and tells nothing of this part.
    """
    tables = posterior.tables
    rows = tables.affected[k][p]
    category = tables.part_category(rows, k, p)
    prior = tables.parts @ of_category
    factor = posterior.factors.get((k, p))
    if factor is None:
        unread: Floats = window(tables.grid, prior[category]) @ tables.grid.spread
        return unread
    shown = factor.value(of_category)[category]
    held = tables.hook_up[rows]
    shown[held] = prior[category[held]]
    share: Floats = (factor.deviation * window(tables.grid, shown)).sum(axis=-1)
    bins = tables.bins.count
    share += share_of(factor.log_defect, factor.log, of_category[:bins])
    wanders = float(tables.latents.wander @ of_category[:bins])
    return share + np.exp(factor.log_wanders - factor.log) * wanders


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
