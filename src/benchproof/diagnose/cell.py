"""What the readings and edges of one cell say of every explanation: its factor of the posterior."""

from dataclasses import dataclass, replace
from functools import cached_property
from math import log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.evidence.edge import CellEdges
from benchproof.diagnose.evidence.reading import Observed, against_chart, says_conducts
from benchproof.diagnose.grid import window
from benchproof.diagnose.latent import Words, against, in_each, value_of, words
from benchproof.diagnose.mixtures import Categories
from benchproof.diagnose.predict import Predicted, predict
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.twofaults import Together
from benchproof.network.resistance import Floats, Ints


@dataclass(frozen=True)
class CellFactor:
    """What the readings of one cell say, and the edges found there.

    Attributes
    ----------
    tables : Tables
        The hypotheses.
    pair, position : int
        The cell.
    readings : tuple of Observed
        All the readings of the cell; none if only edges were found there.
    edges : CellEdges or None
        What the edges found there say, None without any. All below is given these.
    rows : array of int
        The causes that touch the cell; the first is no fault.
    log : array, shape (rows, offsets)
        Log probability of the readings.
    log_defect : array, shape (bins,)
        Log probability of a defect of the cell itself in each bin, and of the readings.
    log_wanders : float, or array of shape (rows, offsets) where it was watched
        Log probability that it wanders, and of the readings; of edges, over what they are else.
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
    healthy_deviation : array, shape (offsets, deviations)
        `deviation` without fault; empty unless the cell shares a site.
    """

    tables: Tables
    pair: int
    position: int
    readings: tuple[Observed, ...]
    edges: CellEdges | None
    rows: Ints
    log: Floats
    log_defect: Floats
    log_wanders: Floats | float
    good: Floats
    sound: Floats
    read_good: Floats
    misplaced: Floats
    conducts: Floats
    healthy_deviation: Floats

    @cached_property
    def log_all(self) -> Floats:
        """Log probability of readings and edges, shape (rows, offsets)."""
        return self.log if self.edges is None else self.log + self.edges.log

    @cached_property
    def relative(self) -> Floats:
        """Log of how much likelier each cause makes readings and edges than no fault does.

        Shape (rows, offsets).
        """
        relative: Floats = self.log_all - self.log_all[0]
        return relative

    @property
    def together(self) -> Together | None:
        """The pairs of faults that both touch the cell, None if it is charted."""
        if self.pair < self.tables.charted:
            return None
        return self.tables.together[self.pair, self.position]

    @cached_property
    def _told_together(self) -> "_Told":
        assert self.together is not None, "no two faults share a charted cell"
        return _told(self._heard, self.together.category, None)

    @property
    def log_together(self) -> Floats:
        """Log probability of the readings for these pairs, shape (pairs, offsets)."""
        return self._told_together.log

    @property
    def deviation(self) -> Floats:
        """Probability given the readings that the cell is sound, by its deviation.

        Shape (rows, offsets, deviations); not kept, for it is large.
        """
        return _told_of_causes(self._heard).deviation

    @property
    def known_deviation(self) -> Floats:
        """How much likelier the edges make each deviation, shape (rows, offsets, deviations)."""
        if self.edges is not None:
            return self.edges.known
        grid = self.tables.grid
        return np.ones((len(self.rows), len(grid.offsets), len(grid.spread)))

    @property
    def _heard(self) -> "_Heard":
        return _Heard(self.tables, self.pair, self.position, self.readings, self.edges)

    @cached_property
    def against(self) -> bool:
        """Whether it is charted and every reading in its detent, at least one, is against it."""
        detent = [one for one in self.readings if not one.lean]
        return bool(detent) and all(against_chart(self.tables, one) for one in detent)

    @cached_property
    def misread(self) -> bool:
        """Whether it may meet the chart though every reading in its detent is against it."""
        return bool((self.read_good < self.good).any())

    @cached_property
    def log_safe(self) -> Floats:
        """Log of the probability that a hazard cell does not conduct, shape (rows, offsets)."""
        return log_safe_of(self.conducts)

    @cached_property
    def conducts_alone(self) -> float:
        """How likely the cell conducts by what the meter says alone, all its readings together."""
        told = [t for one in self.readings if (t := says_conducts(self.tables, one)) is not None]
        return float(np.prod(told)) if told else 0.0

    @property
    def seen_conducting(self) -> bool:
        """Whether some reading in the detent says that the cell conducts."""
        return any((says_conducts(self.tables, one) or 0.0) > 0.5 for one in self.readings)

    def expected(self, value: Floats) -> Floats:
        """Return the expectation of a value by angle if the cell is sound, else zero.

        Parameters
        ----------
        value : array, shape (rows, angles)
            The value, for the causes that touch the cell.

        Returns
        -------
        array, shape (rows, offsets)
        """
        return _told_of_causes(self._heard).expected(value)

    @cached_property
    def predicted(self) -> Predicted:
        """What a further reading of the cell would find if it is sound."""
        both = self._told_together.deviation if self.together is not None else None
        return predict(
            self.tables, self.pair, self.position, self.deviation, self.told_detent, both
        )

    @cached_property
    def told_detent(self) -> Floats:
        """What the readings in the detent say of each pure category, on any scale."""
        says = words(self.tables.latents, self.tables.pure_channel, self.readings).detent
        told: Floats = np.exp(says - says.max())
        return told

    def value(self, value: NDArray[Any]) -> Floats:
        """Return the expectation of a value of the pure categories in each category."""
        return value_of(self.tables.parts, self.told_detent, value)


LEAST_SAFE = 1e-12
"""No cell is surer to conduct than this leaves."""


def log_safe_of(conducts: Floats) -> Floats:
    """Return the log of how surely a cell does not conduct, from how likely it does."""
    safe: Floats = np.log(np.maximum(1.0 - conducts, LEAST_SAFE))
    return safe


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
class _Heard:
    """A cell with what was read and found of it: see `CellFactor`."""

    tables: Tables
    pair: int
    position: int
    readings: tuple[Observed, ...]
    edges: CellEdges | None


@dataclass(frozen=True)
class _Told:
    """What the readings of a cell say of some explanations: see `CellFactor`."""

    tables: Tables
    log: Floats
    log_defect: Floats
    log_wanders: Floats | float
    by_angle: Floats
    sideways: Floats | None
    total: Floats

    @property
    def deviation(self) -> Floats:
        """Probability that the cell is sound, by its deviation, (rows, offsets, deviations)."""
        return self.deviation_of(slice(None))

    def deviation_of(self, rows: slice) -> Floats:
        """Return that probability for some of the rows."""
        grid = self.tables.grid
        weighted = grid.spread * window(grid, self.by_angle[rows])
        if self.sideways is not None:
            weighted *= self.sideways[rows]
        weighted /= self.total[rows, :, None]
        share: Floats = weighted
        return share

    def expected(self, value: Floats) -> Floats:
        """Return the expectation of a value by angle if the cell is sound, else zero.

        Parameters
        ----------
        value : array, shape (rows, angles)
            The value; of the first rows, if of fewer.
        """
        rows = slice(0, len(value))
        if self.sideways is None:
            found: Floats = (self.by_angle[rows] * value) @ self.tables.onto.T / self.total[rows]
            return found
        weighted = self.tables.grid.spread * self.sideways[rows]
        weighted = weighted * window(self.tables.grid, self.by_angle[rows] * value)
        leaned: Floats = weighted.sum(axis=-1) / self.total[rows]
        return leaned

    def defective(self, of_bin: NDArray[Any]) -> Floats:
        """Return the probability of a defect of the cell itself, times a value of its bin."""
        return share_of(self.log_defect, self.log, of_bin)

    @property
    def wanders(self) -> Floats:
        """Probability that the cell wanders, shape (rows, offsets)."""
        wanders: Floats = np.exp(self.log_wanders - self.log)
        return wanders


def _told(heard: _Heard, category: Categories, plays: int | None) -> _Told:
    """Return what the readings of a cell say of each explanation.

    Parameters
    ----------
    heard : _Heard
        The cell; edges only if the explanations are the causes that touch it.
    category : array, shape (rows, angles)
        What is there.
    plays : int or None
        Which row is detent play, if any.
    """
    tables, k, p = heard.tables, heard.pair, heard.position
    grid, latents = tables.grid, tables.latents
    says = words(latents, tables.pure_channel, heard.readings)
    by_angle = in_each(tables.parts, says.detent).take(category)
    if plays is not None:
        by_angle[plays] = _played(tables, says, category[plays])
    top = float(by_angle.max()) if by_angle.size else 0.0
    peak_of_detent = top
    sideways = None if heard.edges is None else heard.edges.known
    for lean, of_category in says.leaned:
        peak = float(of_category.max())
        top += log(peak)
        leaned = (tables.parts @ of_category).take(category) / peak
        if plays is not None:
            leaned[plays] = np.convolve(leaned[plays], grid.play_spread, mode="same")
        seen = _leaned(tables, leaned, p, lean)
        sideways = seen if sideways is None else sideways * seen
    local, wandering = float(latents.local[k, p]), float(latents.wandering[k, p])
    with np.errstate(divide="ignore"):
        log_defect = np.log(local) + says.local
        log_wanders: Floats | float = float(np.log(wandering)) + says.wander
    sound = (1.0 - local - wandering) * np.exp(by_angle - peak_of_detent)
    if sideways is None:
        total = sound @ tables.onto.T
    elif heard.edges is None:
        total = (grid.spread * window(grid, sound) * sideways).sum(axis=-1)
    else:
        total = np.einsum("rxd,rxd->rx", window(grid, sound), sideways * grid.spread)
    if heard.edges is not None and heard.edges.watched:
        # A cell that reads another thing each time was seen to change anywhere.
        log_wanders = log_wanders + heard.edges.log_strange - heard.edges.log
        own = np.exp(np.minimum(log_defect - top, MOST_LOG)).sum()
        own = own + np.exp(np.minimum(log_wanders - top, MOST_LOG))
    else:
        own = np.exp(np.minimum(np.append(log_defect, log_wanders) - top, MOST_LOG)).sum()
    total = np.maximum(total + own, LEAST)
    log_all = np.log(total) + top
    return _Told(tables, log_all, log_defect, log_wanders, sound, sideways, total)


MOST_LOG = 600.0
"""What explains a cell better than this, as a log, leaves nothing to the rest."""


def _played(tables: Tables, says: Words, category: Categories) -> Floats:
    """Return the log of what the readings in a detent say by angle, each moved by play."""
    found = np.zeros(len(category))
    for visit, wrong in zip(says.visits, says.misread, strict=True):
        right = np.full(len(category), float(np.log1p(-tables.latents.misread)))
        for one in visit:
            at = (tables.parts @ one)[category]
            right += np.log(np.convolve(at, tables.grid.play_spread, mode="same"))
        found += np.logaddexp(right, wrong)
    return found


def _told_of_causes(heard: _Heard) -> _Told:
    """Return what the readings of a cell say of each cause that touches it; see `_told`."""
    tables = heard.tables
    cell = tables.cell(heard.pair, heard.position)
    plays = np.flatnonzero(cell.rows == tables.play_cause)
    return _told(heard, cell.category, int(plays[0]) if len(plays) else None)


def cell_factor(
    tables: Tables,
    cell: tuple[int, int],
    readings: tuple[Observed, ...],
    edges: CellEdges | None = None,
) -> CellFactor:
    """Return the factor of what was read and found of one cell.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    cell : tuple of int
        Pair and position.
    readings : tuple of Observed
        All its readings; there may be none if edges were found.
    edges : CellEdges or None
        What the edges found there say; of a charted pair only.
    """
    k, p = cell
    told = _told_of_causes(_Heard(tables, k, p, readings, edges))
    ones = np.ones(told.log.shape[1])
    factor = CellFactor(
        tables, k, p, readings, edges, tables.affected[k][p],
        told.log, told.log_defect, told.log_wanders,
        ones, ones, ones, np.zeros_like(ones), np.zeros((0, len(ones))), np.zeros((0, 0)),
    )  # fmt: skip
    if k >= tables.charted:
        return factor
    met = tables.good[k, p]
    bins = tables.bins.count
    there = factor.value(met)[tables.healthy[k, p][None]]
    good = told.expected(there)[0] + told.defective(met[:bins])[0]
    sound = 1.0 - told.defective(~met[:bins])[0] - told.wanders[0]
    read_good, misplaced = _as_read(factor, told, good)
    conducts = _conducts(factor, told) if tables.hazard[k, p] else factor.conducts
    return replace(
        factor,
        good=good,
        sound=sound,
        read_good=read_good,
        misplaced=misplaced,
        conducts=conducts,
        healthy_deviation=(
            told.deviation_of(slice(1))[0] if cell in tables.site_of else factor.healthy_deviation
        ),
    )


def _as_read(factor: CellFactor, told: _Told, good: Floats) -> tuple[Floats, Floats]:
    """Return `CellFactor.read_good` and `misplaced`.

    Parameters
    ----------
    factor : CellFactor
        The factor as far as it is known.
    told : _Told
        What the readings say.
    good : array, shape (offsets,)
        Probability that the cell meets the chart, no fault.
    """
    tables, k, p = factor.tables, factor.pair, factor.position
    met = tables.good[k, p]
    bad = ~met[: tables.bins.count]
    detent = [one for one in factor.readings if not one.lean]
    if not detent or min(float(one.seen[bad].max(initial=0.0)) for one in detent) < 1e-6:
        return good, np.zeros_like(good)
    says = words(tables.latents, tables.pure_channel, detent).detent
    all_bad, elsewhere = against(tables.latents, tables.pure_channel, bad, detent)
    category = tables.healthy[k, p][None]

    def share(log_value: Floats) -> Floats:
        found: Floats = told.expected(factor.value(met * np.exp(log_value - says))[category])[0]
        return found

    return np.maximum(good - share(all_bad), 0.0), share(np.full_like(says, elsewhere))


def _conducts(factor: CellFactor, told: _Told) -> Floats:
    """Return the probability that a cell conducts, shape (rows, offsets)."""
    tables = factor.tables
    category = tables.part_category(factor.pair, factor.position)
    shown = factor.value(tables.conducting)[category]
    # What is read of a part hooked up wrong says nothing of this cell of the part.
    held = tables.hook_up[factor.rows]
    shown[held] = (tables.parts @ tables.conducting)[category[held]]
    found = told.expected(shown)
    if not factor.readings:
        # As in a cell of which nothing is known, a defect of its own counts once it is read.
        return found
    found += told.defective(tables.conducting[: tables.bins.count])
    return found + told.wanders if factor.seen_conducting else found


def bad_share(factor: CellFactor) -> Floats:
    """Return the probability that a charted cell is against the chart, shape (rows, offsets)."""
    tables, k, p = factor.tables, factor.pair, factor.position
    bad = ~tables.good[k, p]
    category = tables.cell(k, p).category
    share = factor.expected(factor.value(bad)[category])
    share += share_of(factor.log_defect, factor.log, bad[: tables.bins.count])
    return share + np.exp(factor.log_wanders - factor.log)


def _leaned(tables: Tables, by_angle: Floats, p: int, lean: int) -> Floats:
    """Return values by angle as a reading with a lean shows them, by offset and deviation."""
    grid = tables.grid
    if not lean:
        return window(grid, by_angle)
    leaned = np.empty_like(by_angle)
    for i, row in enumerate(by_angle):
        leaned[i] = np.convolve(row, grid.lean_spread, mode="same")
    return window(grid, leaned, int(grid.lean_steps[p, (lean + 1) // 2]))
