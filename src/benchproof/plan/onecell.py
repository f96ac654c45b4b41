"""What would be found in one cell, given what was read of it before."""

import numpy as np

from benchproof.diagnose.cell import LEAST_SAFE
from benchproof.diagnose.diagnosis import conducts
from benchproof.diagnose.layout import layout_of
from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.predict import LEANS, FoundShare, unread_predicted
from benchproof.network.resistance import Floats, Ints
from benchproof.plan.weights import ACCEPT, LAYERS, REALIGN, REPAIR, SAFE, Weights


def one_cell(posterior: Posterior, weights: Weights, k: int, p: int) -> Floats:
    """Return the probability of each layer and category in one cell that was read or is a hazard.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    weights : Weights
        How likely every explanation is.
    k, p : int
        Pair and position.

    Returns
    -------
    array, shape (leans, layers, categories)
    """
    tables = posterior.tables
    causes = tables.affected[k][p]
    factor = posterior.factors.get((k, p))
    predicted = unread_predicted(tables)[k, p] if factor is None else factor.predicted
    # Of each cause that touches the cell; no fault stands for all others, which do not.
    each, safe_each = weights.each[causes], weights.safe_each[causes]
    each[0] = safe_each[0] = 0.0
    layer = weights.layer[causes]
    rest = weights.totals.copy()
    by_category = np.zeros((len(LEANS), LAYERS, 2 * tables.bins.count))
    if predicted.together is not None:
        both = tables.together[k, p]
        number = layout_of(tables).number(causes[both.first], causes[both.second])
        pairs, safe_pairs = weights.pairs[number], weights.safe_pairs[number]
        for one in (both.first, both.second):
            np.subtract.at(each, one, pairs)
            np.subtract.at(safe_each, one, safe_pairs)
        rest[REPAIR] -= pairs.sum(axis=0)
        rest[SAFE] -= safe_pairs.sum(axis=0)
        same = np.full(len(number), REPAIR)
        _add(by_category, predicted.together, pairs, same)
        _add(by_category, predicted.together, safe_pairs, np.full_like(same, SAFE))
    of_layer = (np.arange(LAYERS)[:, None] == layer).astype(np.float64)
    rest -= of_layer @ each
    rest[SAFE] -= safe_each.sum(axis=0)
    charted = k < tables.charted
    rest[ACCEPT] = weights.accept_but[k, p] if charted else weights.accept
    rest[REALIGN] = weights.sound_but[k, p] if charted else weights.sound
    if charted and tables.hazard[k, p]:
        # What is safe but for this cell; `predicted.safe` sees to the cell itself.
        safe = np.maximum(1.0 - conducts(posterior, k, p), LEAST_SAFE)
        safe_each = safe_each / safe
        rest[SAFE] /= safe[0]
    _add(by_category, predicted.found, each, layer)
    _add(by_category, predicted.safe, safe_each, np.full_like(layer, SAFE))
    _add_rest(by_category, predicted.good, rest, slice(ACCEPT, REALIGN))
    _add_rest(by_category, predicted.found, rest, slice(REALIGN, SAFE))
    _add_rest(by_category, predicted.safe, rest, slice(SAFE, LAYERS))
    own, log_all, log_pairs = _own(posterior, k, p)
    mass = rest @ log_all[0] + of_layer @ (each * log_all).sum(axis=1)
    mass[SAFE] += float((safe_each * log_all).sum())
    if predicted.together is not None:
        mass[REPAIR] += float((pairs * log_pairs).sum())
        mass[SAFE] += float((safe_pairs * log_pairs).sum())
    by_category[..., : tables.bins.count] += own * mass[:, None]
    return by_category


def _own(posterior: Posterior, k: int, p: int) -> tuple[Floats, Floats, Floats]:
    """Return what would be found of a cell that is defective by itself, or wanders.

    Returns
    -------
    tuple of arrays
        By layer and bin, shape (layers, bins), times by cause, (rows, offsets), or by pair of
        causes, (pairs, offsets), is the probability.
    """
    tables = posterior.tables
    latents, bins = tables.latents, tables.bins.count
    factor = posterior.factors.get((k, p))
    offsets = len(tables.grid.offsets)
    if factor is None:
        defect = latents.local[k, p] * latents.defect
        wanders = float(latents.wandering[k, p])
        of_causes = np.ones((len(tables.affected[k][p]), offsets))
        of_pairs = np.ones((1, offsets))
    else:
        top = max(float(factor.log_defect.max()), factor.log_wanders, -1e300)
        defect = np.exp(factor.log_defect - top)
        wanders = float(np.exp(factor.log_wanders - top))
        of_causes = np.exp(top - factor.log)
        none = factor.together is None
        of_pairs = np.exp(top - (factor.log if none else factor.log_together))
    own = np.tile(defect + wanders * latents.wander, (LAYERS, 1))
    if k < tables.charted:
        own[ACCEPT:REPAIR] = defect * tables.good[k, p, :bins]
        if tables.hazard[k, p] and factor is not None and factor.readings:
            own[SAFE] = defect * ~tables.conducting[:bins]
            own[SAFE] += 0.0 if factor.seen_conducting else wanders * latents.wander
    return own, of_causes, of_pairs


def _add(by_category: Floats, found: FoundShare, weight: Floats, layer: Ints) -> None:
    """Add to the layer of each row what is found with its weight by offset."""
    mass = np.einsum("lex,ex->le", found.share, weight[found.row])
    target = layer[found.row] * by_category.shape[2] + found.category
    flat = by_category.reshape(len(LEANS), -1)
    for number in range(len(LEANS)):
        flat[number] += np.bincount(target, mass[number], flat.shape[1])


def _add_rest(by_category: Floats, found: FoundShare, rest: Floats, layers: slice) -> None:
    """Add to some layers what is found without fault with their weights by offset."""
    healthy = np.flatnonzero(found.row == 0)
    mass = rest[layers] @ found.share[:, healthy].transpose(0, 2, 1)
    for n, category in enumerate(found.category[healthy].tolist()):
        by_category[:, layers, category] += mass[..., n]
