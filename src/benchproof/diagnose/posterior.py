"""What the readings say of every hypothesis: Bayes' rule, cell by cell.

Cells are independent given the hypothesis (`tables.py`), so each cell contributes one factor for
each cause and offset, in which its deviation is summed out; for causes that do not touch the cell
the factor is that of no fault. Two faults touch different cells, so their factor is the product of
each one's over no fault's, and sums over all pairs of faults become one matrix product.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.grid import window
from benchproof.diagnose.latent import Words, against, words
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
    visit : int
        Readings of a cell with the same number, not zero, are of one visit.
    """

    pair: int
    position: int
    lean: int
    seen: Floats
    visit: int = 0


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
            observed.append(Observed(k, p, int(lean), seen, reading.visit))
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
    log_defect : array, shape (bins,)
        Log probability of a defect of the cell itself in each bin, and of the readings.
    log_wanders : float
        Log probability that it wanders, and of the readings.
    good : array, shape (offsets,)
        Probability that the cell meets the chart, no fault; one for a pair not charted.
    sound : array, shape (offsets,)
        Probability that it has no defect of its own that is against the chart, no fault.
    read_good : array, shape (offsets,)
        Probability that it meets the chart and some reading in its detent does, no fault.
    misplaced : array, shape (offsets,)
        Probability that it meets the chart and every visit was at a wrong place that does not.
    conducts : array, shape (rows, offsets)
        Probability that the cell in its detent conducts; empty unless that is a hazard.
    """

    tables: Tables
    readings: tuple[Observed, ...]
    rows: Ints
    log: Floats
    log_defect: Floats
    log_wanders: float
    good: Floats
    sound: Floats
    read_good: Floats
    misplaced: Floats
    conducts: Floats

    @property
    def together(self) -> Together | None:
        """The pairs of faults that both touch the cell, None if it is charted."""
        first = self.readings[0]
        if first.pair < self.tables.charted:
            return None
        return self.tables.together[first.pair, first.position]

    @cached_property
    def _told_together(self) -> "_Told":
        assert self.together is not None, "no two faults share a charted cell"
        return _told(self.tables, self.readings, self.together.category, None)

    @property
    def log_together(self) -> Floats:
        """Log probability of the readings for these pairs, shape (pairs, offsets)."""
        return self._told_together.log

    @property
    def deviation(self) -> Floats:
        """Probability given the readings that the cell is sound, by its deviation.

        Shape (rows, offsets, deviations); not kept, for it is large.
        """
        return _told_of_causes(self.tables, self.readings).deviation

    @property
    def seen_conducting(self) -> bool:
        """Whether some reading in the detent says that the cell conducts."""
        return any((says_conducts(self.tables, one) or 0.0) > 0.5 for one in self.readings)

    @cached_property
    def predicted(self) -> Predicted:
        """What a further reading of the cell would find if it is sound."""
        both = self._told_together.deviation if self.together is not None else None
        first = self.readings[0]
        return predict(self.tables, first.pair, first.position, self.deviation, both)


LEAST = 1e-250
"""What an explanation keeps of a cell that others explain far better."""


def share_of(log_parts: Floats, log_all: Floats, value: NDArray[Any]) -> Floats:
    """Return the share of some parts in all, each times a value of its own.

    Parameters
    ----------
    log_parts, value : array, shape (parts,)
        Log of each part, and its value.
    log_all : array, any shape
        Log of all, the parts included.
    """
    top = max(float(log_parts.max()), -1e300)
    share: Floats = np.exp(top - log_all) * float(np.exp(log_parts - top) @ value)
    return share


@dataclass(frozen=True)
class _Told:
    """What the readings of a cell say of some explanations: see `CellFactor`."""

    log: Floats
    deviation: Floats
    log_defect: Floats
    log_wanders: float

    def defective(self, of_bin: NDArray[Any]) -> Floats:
        """Return the probability of a defect of the cell itself, times a value of its bin."""
        return share_of(self.log_defect, self.log, of_bin)

    @property
    def wanders(self) -> Floats:
        """Probability that the cell wanders, shape (rows, offsets)."""
        wanders: Floats = np.exp(self.log_wanders - self.log)
        return wanders


def _told(
    tables: Tables, readings: Sequence[Observed], category: NDArray[np.uint8], plays: int | None
) -> _Told:
    """Return what the readings of a cell say of each explanation.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    readings : sequence of Observed
        The readings.
    category : array, shape (rows, angles)
        What is there.
    plays : int or None
        Which row is detent play, if any.
    """
    grid, latents = tables.grid, tables.latents
    k, p = readings[0].pair, readings[0].position
    says = words(latents, tables.channel, readings)
    by_angle = says.detent[category]
    if plays is not None:
        by_angle[plays] = _played(tables, says, category[plays])
    top = float(by_angle.max()) if by_angle.size else 0.0
    weighted = grid.spread * window(grid, np.exp(by_angle - top))
    for lean, of_category in says.leaned:
        peak = float(of_category.max())
        top += log(peak)
        leaned = of_category[category] / peak
        if plays is not None:
            leaned[plays] = np.convolve(leaned[plays], grid.play_spread, mode="same")
        weighted = weighted * _leaned(tables, leaned, p, lean)
    local, wandering = float(latents.local[k, p]), float(latents.wandering[k, p])
    with np.errstate(divide="ignore"):
        log_defect = np.log(local) + says.local
        log_wanders = float(np.log(wandering)) + says.wander
    weighted *= 1.0 - local - wandering
    own = float(np.exp(np.minimum(np.append(log_defect, log_wanders) - top, MOST_LOG)).sum())
    total = np.maximum(weighted.sum(axis=-1) + own, LEAST)
    return _Told(np.log(total) + top, weighted / total[..., None], log_defect, log_wanders)


MOST_LOG = 600.0
"""What explains a cell better than this, as a log, leaves nothing to the rest."""


def _played(tables: Tables, says: Words, category: NDArray[np.uint8]) -> Floats:
    """Return the log of what the readings in a detent say by angle, each moved by play."""
    found = np.zeros(len(category))
    for visit, wrong in zip(says.visits, says.misread, strict=True):
        right = np.full(len(category), float(np.log1p(-tables.latents.misread)))
        for one in visit:
            right += np.log(np.convolve(one[category], tables.grid.play_spread, mode="same"))
        found += np.logaddexp(right, wrong)
    return found


def _told_of_causes(tables: Tables, readings: Sequence[Observed]) -> _Told:
    """Return what the readings of a cell say of each cause that touches it; see `_told`."""
    k, p = readings[0].pair, readings[0].position
    rows = tables.affected[k][p]
    plays = np.flatnonzero(rows == tables.play_cause)
    return _told(
        tables, readings, tables.category[rows, k, p], int(plays[0]) if len(plays) else None
    )


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
    told = _told_of_causes(tables, readings)
    good = sound = read_good = np.ones(told.log.shape[1])
    misplaced = np.zeros_like(good)
    conducts = np.zeros((0, len(good)))
    if k < tables.charted:
        bins = tables.bins.count
        met = tables.good[k, p]
        there = told.deviation[0] * window(tables.grid, met[tables.category[0, k, p]])
        good = there.sum(axis=-1) + told.defective(met[:bins])[0]
        sound = 1.0 - told.defective(~met[:bins])[0] - told.wanders[0]
        read_good, misplaced = _as_read(tables, readings, there, good)
        if tables.hazard[k, p]:
            conducts = _conducts(tables, readings, told)
    return CellFactor(
        tables, readings, rows, told.log, told.log_defect, told.log_wanders,
        good, sound, read_good, misplaced, conducts,
    )  # fmt: skip


def _as_read(
    tables: Tables, readings: Sequence[Observed], there: Floats, good: Floats
) -> tuple[Floats, Floats]:
    """Return `CellFactor.read_good` and `misplaced`.

    Parameters
    ----------
    tables, readings
        As for `cell_factor`.
    there : array, shape (offsets, deviations)
        Probability that the cell is sound and meets the chart, no fault.
    good : array, shape (offsets,)
        The same, defects that meet the chart included.
    """
    k, p = readings[0].pair, readings[0].position
    bad = ~tables.good[k, p, : tables.bins.count]
    detent = [one for one in readings if not one.lean]
    if not detent or min(float(one.seen[bad].max(initial=0.0)) for one in detent) < 1e-6:
        return good, np.zeros_like(good)
    says = words(tables.latents, tables.channel, detent).detent
    all_bad, elsewhere = against(tables.latents, tables.channel, bad, detent)
    category = tables.category[0, k, p]
    misread = there * window(tables.grid, np.exp(all_bad - says)[category])
    misplaced = there * window(tables.grid, np.exp(elsewhere - says)[category])
    return np.maximum(good - misread.sum(axis=-1), 0.0), misplaced.sum(axis=-1)


def _conducts(tables: Tables, readings: Sequence[Observed], told: _Told) -> Floats:
    """Return the probability that a cell conducts, shape (rows, offsets)."""
    k, p = readings[0].pair, readings[0].position
    category = tables.part_category(tables.affected[k][p], k, p)
    found = (told.deviation * window(tables.grid, tables.conducting[category])).sum(axis=-1)
    found += told.defective(tables.conducting[: tables.bins.count])
    if any((says_conducts(tables, one) or 0.0) > 0.5 for one in readings):
        found += told.wanders
    conducts: Floats = found
    return conducts


def bad_share(factor: CellFactor) -> Floats:
    """Return the probability that a charted cell is against the chart, shape (rows, offsets)."""
    tables = factor.tables
    k, p = factor.readings[0].pair, factor.readings[0].position
    bad = ~tables.good[k, p]
    there = window(tables.grid, bad[tables.category[factor.rows, k, p]])
    share: Floats = (factor.deviation * there).sum(axis=-1)
    share += share_of(factor.log_defect, factor.log, bad[: tables.bins.count])
    return share + np.exp(factor.log_wanders - factor.log)


def says_conducts(tables: Tables, one: Observed) -> float | None:
    """Return the probability that a cell conducts by what the meter read alone.

    None for a reading leaned or of something else, and for one that leaves it open: a buzzer is
    silent at anything above some tens of ohms.
    """
    if one.lean:
        return None
    conducting = tables.conducting[: tables.bins.count]
    both = min(float(one.seen[conducting].max()), float(one.seen[~conducting].max(initial=0.0)))
    if both > 0.5 and one.seen.sum() > 1.0 + 1e-9:
        return None
    return float(one.seen[conducting].sum() / one.seen.sum())


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


def of_part(posterior: Posterior, k: int, p: int, of_category: Floats) -> Floats:
    """Return the expectation of a value of what a cell of the part is, in its detent.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    k, p : int
        A charted pair and a position.
    of_category : array, shape (categories,)
        The value.

    Returns
    -------
    array, shape (rows, offsets)
        For the causes that touch the cell. That a cell not read may be defective by itself is left
        out: it is the same everywhere and tells nothing of this part.
    """
    tables = posterior.tables
    rows = tables.affected[k][p]
    shown = window(tables.grid, of_category[tables.part_category(rows, k, p)])
    factor = posterior.factors.get((k, p))
    if factor is None:
        unread: Floats = shown @ tables.grid.spread
        return unread
    share: Floats = (factor.deviation * shown).sum(axis=-1)
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
