"""What the readings say of every hypothesis: Bayes' rule, cell by cell.

Cells are independent given the hypothesis (`tables.py`), so each cell contributes one factor for
each cause and offset, in which its deviation is summed out; for causes that do not touch the cell
the factor is that of no fault. Two faults touch different cells, so their factor is the product of
each one's over no fault's, and sums over all pairs of faults become one matrix product.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchproof.diagnose.cell import cell_factor
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.evidence.reading import Observed, against_chart
from benchproof.diagnose.sheets import Rewritten, SheetMistake, rewritten
from benchproof.diagnose.twofaults import Twofold, same_pairs
from benchproof.diagnose.update import Posterior, of_part, prior_of, tell
from benchproof.family.remembered import once_each
from benchproof.network.resistance import Floats, Ints

__all__ = [
    "Masses", "Observed", "Posterior", "against_chart", "as_written", "cell_factor", "masses",
    "observe", "of_part", "prior_of", "tell",
]  # fmt: skip


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
    apart : Twofold
        The pairs of faults whose odds are the product of each one's.
    shared : Shared
        All other pairs.
    log_evidence : float
        Log probability of the readings under all hypotheses together.
    sheets : tuple of SheetMass
        Mistakes of the sheet that would explain it, the part then being whatever it is.
    nodes : tuple of NodeMass
        The same for each zero that a scale may have; they sum to these. Empty where none is in
        doubt.
    measured : bool
        Whether edges or an offset were measured, so that the offset may be known to a step or two.
    """

    single: Floats
    twofold: Floats
    unexplained: float
    log_none: Floats
    log_odds: Floats
    apart: Twofold
    shared: Shared
    log_evidence: float
    sheets: tuple["SheetMass", ...] = ()
    nodes: tuple["NodeMass", ...] = ()
    measured: bool = False

    @property
    def explained(self) -> Floats:
        """Probability of each offset and any explanation by the sheet as it is, (offsets,)."""
        mass: Floats = self.single.sum(axis=0) + 0.5 * self.twofold.sum(axis=0)
        return mass

    @property
    def by_offset(self) -> Floats:
        """Probability of each offset together with any explanation, shape (offsets,)."""
        mass = self.explained
        for sheet in self.sheets:
            share = sheet.found.explained
            mass = mass + sheet.probability * share / max(float(share.sum()), 1e-300)
        return mass

    @property
    def misread(self) -> float:
        """Probability that the sheet is mistaken."""
        return sum(sheet.probability for sheet in self.sheets)

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


@dataclass(frozen=True)
class NodeMass:
    """What is known if the zeros lie where they are taken to, and its part in the masses."""

    posterior: Posterior
    found: Masses


@dataclass(frozen=True)
class SheetMass:
    """A mistake of the sheet.

    Attributes
    ----------
    mistake : SheetMistake
        What was mistaken for what.
    probability : float
        Of it, together with any explanation of the part.
    posterior, found : Posterior and Masses
        What the readings say of the part once they are put where they belong.
    """

    mistake: SheetMistake
    probability: float
    posterior: Posterior
    found: Masses


@once_each
def masses(posterior: Posterior) -> Masses:
    """Return the probabilities of all hypotheses."""
    return _with_sheets(as_written(posterior), rewritten(posterior))


def _with_sheets(own: Masses, others: Sequence[Rewritten]) -> Masses:
    """Return the masses with those of mistaken sheets beside the sheet as it is."""
    if not others:
        return own
    each = [as_written(other.posterior) for other in others]
    # A sheet put right is explained by some part; one that is not explains nothing.
    logs = [
        other.log_prior + found.log_evidence + float(np.log(max(1.0 - found.unexplained, 1e-300)))
        for other, found in zip(others, each, strict=True)
    ]
    total = float(np.logaddexp.reduce([own.log_evidence, *logs]))
    sheets = tuple(
        SheetMass(other.mistake, float(np.exp(log - total)), other.posterior, found)
        for other, found, log in zip(others, each, logs, strict=True)
    )
    return replace(_in_part(own, own.log_evidence - total), log_evidence=total, sheets=sheets)


def _in_part(found: Masses, log_share: float) -> Masses:
    """Return masses as the share of more that they are."""
    share = float(np.exp(log_share))
    return replace(
        found,
        single=found.single * share,
        twofold=found.twofold * share,
        unexplained=found.unexplained * share,
        log_none=found.log_none + log_share,
        nodes=tuple(replace(node, found=_in_part(node.found, log_share)) for node in found.nodes),
    )


def as_written(posterior: Posterior) -> Masses:
    """Return the probabilities of all hypotheses if the sheet is as it should be."""
    return _over_zeros(posterior) if posterior.nodes else _given(posterior)


def _over_zeros(posterior: Posterior) -> Masses:
    """Return the probabilities whatever the zeros of the scales are."""
    each = [_given(node.posterior) for node in posterior.nodes]
    logs = [
        node.log_weight + found.log_evidence
        for node, found in zip(posterior.nodes, each, strict=True)
    ]
    total = float(np.logaddexp.reduce(logs))
    nodes = tuple(
        NodeMass(node.posterior, _in_part(found, log - total))
        for node, found, log in zip(posterior.nodes, each, logs, strict=True)
    )
    # Odds of pairs of faults are those of the mean; `twofold` has them for each zero.
    mean = _given(posterior)
    return replace(
        mean,
        single=np.sum([node.found.single for node in nodes], axis=0),
        twofold=np.sum([node.found.twofold for node in nodes], axis=0),
        unexplained=sum(node.found.unexplained for node in nodes),
        log_none=np.logaddexp.reduce([node.found.log_none for node in nodes]),
        log_evidence=total,
        nodes=nodes,
    )


def _given(posterior: Posterior) -> Masses:
    """Return the probabilities if the zero of every scale is known."""
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
        measured=bool(posterior.besides.edges or posterior.besides.offsets),
    )


TIER = 600.0
"""Odds within e to this power are summed as numbers: well inside what a number holds."""


def _log_twofold(log_odds: Floats, apart: Twofold, shared: Shared, log_shared: Floats) -> Floats:
    """Return the log of the odds over no fault of all pairs that each cause is one of.

    Parameters
    ----------
    log_odds : array, shape (causes, offsets)
        Log odds of each cause.
    apart : Twofold
        The pairs whose odds are the product of each one's.
    shared, log_shared : Shared and array, shape (pairs, offsets)
        The other pairs, and their log odds.
    """
    found = np.full_like(log_odds, -np.inf)
    able = apart.able
    if len(able):
        found[able] = log_odds[able] + _log_others(log_odds[able], apart.apart)
    if len(shared.first):
        for one in (shared.first, shared.second):
            np.logaddexp.at(found, one, log_shared)
    return found


def _log_others(log_odds: Floats, apart: Floats) -> Floats:
    """Return the log of the summed odds of all causes that each goes together with."""
    with np.errstate(divide="ignore"):
        if float(log_odds.max()) < TIER:
            summed: Floats = np.log(apart @ np.exp(log_odds))
            return summed
        found = np.full_like(log_odds, -np.inf)
        tier = np.maximum(log_odds, 0.0) // TIER
        for number in np.unique(tier).tolist():
            base = TIER * number
            of_tier = np.where(tier == number, np.exp(np.minimum(log_odds - base, TIER)), 0.0)
            found = np.logaddexp(found, base + np.log(apart @ of_tier))
    return found


def _shared(posterior: Posterior, log_odds: Floats) -> tuple[Twofold, Shared]:
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
    apart = tables.twofold.without(first, second)
    return apart, Shared(first, second, log_odds[first] + log_odds[second] + change)
