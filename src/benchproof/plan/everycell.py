"""What would be found in every cell, as if none had been read before.

Such cells share the spread of the family, so each cause is summed over the angles once for all of
them, and a cell looks up those running sums at the ends of its runs (`layout.py`).
"""

from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.layout import Runs, layout_of
from benchproof.diagnose.predict import LEANS, lean_steps
from benchproof.diagnose.tables import NO_CAUSE, Tables
from benchproof.family.remembered import once_each
from benchproof.network.resistance import Floats, Ints
from benchproof.plan.weights import ACCEPT, LAYERS, REALIGN, REPAIR, SAFE, Weights, layers_of


@dataclass(frozen=True)
class Lookups:
    """Where the running sums are looked up, the same for every posterior of a family.

    The sums stand one row a source: first the layers, then accepted parts by charted cell, then
    `each` and `safe_each` of every bundle of causes, then `pairs` and `safe_pairs` of every bundle
    of pairs.

    Attributes
    ----------
    columns : tuple of array of int, one a lean
        The angles at which any run begins or ends.
    running : tuple of array, shape (offsets, columns), one a lean
        Probability of an angle before each of these, given the offset.
    start, end : tuple of array of int, one a lean
        Where in the flattened sums each run begins and ends.
    target : array of int
        Layer, cell and category of each run, flattened.
    share : tuple of array, one a lean
        How much of its probability is added or taken away, as in `Runs`; of an accepted part read
        in the detent only the bins that meet the chart.
    """

    columns: tuple[Ints, ...]
    running: tuple[Floats, ...]
    start: tuple[Ints, ...]
    end: tuple[Ints, ...]
    target: Ints
    share: tuple[Floats, ...]


def every_cell(tables: Tables, weights: Weights) -> Floats:
    """Return the probability of each layer and category in every cell, none of them read.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    weights : Weights
        How likely they are.

    Returns
    -------
    array, shape (leans, layers, cells, categories)
        Cells that can be a hazard are wrong in the layer of safe explanations.
    """
    layout, lookups = layout_of(tables), _lookups(tables)
    cells, categories = tables.healthy.shape[:2], 2 * tables.bins.count
    # Sums over offsets alone will do but where angles count: play, and an accepted part is good
    # at the very angle of its cell that is looked at.
    play = tables.play_cause
    played = np.zeros_like(weights.totals)
    if play != NO_CAUSE:
        played[weights.layer[play]] = weights.single[play]
        played[SAFE] = weights.safe_single[play]
    good = weights.accept_but @ tables.onto
    moved = played @ tables.onto @ tables.playing
    layers = weights.totals - played
    layers[ACCEPT] = weights.accept
    causes = [layout.causes.summed(each) for each in (weights.each, weights.safe_each)]
    pairs = [layout.pairs.summed(each) for each in (weights.pairs, weights.safe_pairs)]
    by_offset = np.concatenate([layers, *causes, *pairs])
    size = LAYERS * cells[0] * cells[1] * categories
    found = np.empty((len(LEANS), size))
    for number, lean in enumerate(LEANS):
        angles = np.concatenate([moved, *good])
        if lean:
            # A lean shows another bin than that by which the cell meets the chart in its detent.
            angles = np.concatenate([moved, *(good * layout.met)]) @ tables.leaning
        sums = by_offset @ lookups.running[number]
        angle_sums = _running(angles)[:, lookups.columns[number]]
        sums[:LAYERS] += angle_sums[:LAYERS]
        flat = np.concatenate([sums[:LAYERS], angle_sums[LAYERS:], sums[LAYERS:]]).ravel()
        mass = (flat[lookups.end[number]] - flat[lookups.start[number]]) * lookups.share[number]
        found[number] = np.bincount(lookups.target, mass, size)
    shape = len(LEANS), LAYERS, cells[0] * cells[1], categories
    return _with_defects(tables, weights, found.reshape(shape))


def _with_defects(tables: Tables, weights: Weights, sound: Floats) -> Floats:
    """Return what would be found, a cell's own defects included, from what it is if it is sound."""
    latents, charted = tables.latents, tables.charted * len(tables.family.positions)
    local, wandering = latents.local.ravel()[:, None], latents.wandering.ravel()[:, None]
    own = local * latents.defect + wandering * latents.wander
    total = (sound @ np.ones(sound.shape[-1]))[..., None]
    # The array is large, and nobody else has it: it is changed where it is.
    found = sound
    found *= 1.0 - local - wandering
    whole = found[:, ACCEPT:REPAIR, :charted].copy()
    bins = tables.bins.count
    found[..., :bins] += total * own
    # Accepted parts and those out of line have no defect against the chart, in this cell either.
    good = tables.good[:, :, :bins].reshape(charted, bins)
    fitting = local[:charted] * latents.defect * good
    accept, fine = slice(ACCEPT, REALIGN), slice(REALIGN, REPAIR)
    found[:, ACCEPT:REPAIR, :charted] = whole
    accept_but = weights.accept_but.sum(axis=-1).reshape(charted, 1)
    found[:, accept, :charted, :bins] += accept_but * fitting
    found[:, fine, :charted] /= tables.unread_sound.reshape(charted, 1)
    found[:, fine, :charted, :bins] += weights.sound_but.sum(axis=-1).reshape(charted, 1) * fitting
    return found


def _running(by_angle: Floats) -> Floats:
    """Return the sum before each angle, and after the last."""
    sums = np.zeros((len(by_angle), by_angle.shape[1] + 1))
    np.cumsum(by_angle, axis=1, out=sums[:, 1:])
    return sums


@once_each
def _lookups(tables: Tables) -> Lookups:
    layer_of_cause = layers_of(tables)
    runs, layer, in_detent = _stacked(tables, layer_of_cause)
    pairs, positions, angles = tables.healthy.shape
    columns, running = [], []
    starts: list[Ints] = []
    ends: list[Ints] = []
    for number, steps in enumerate(lean_steps(tables)):
        # A lean shows at an angle of the cell what is there some steps further on.
        apart = steps[runs.cell % positions]
        bounds = [np.clip(at - apart, 0, angles) for at in (runs.start, runs.end)]
        used = np.zeros(angles + 1, dtype=np.bool_)
        for at in bounds:
            used[at] = True
        column = np.flatnonzero(used)
        place = np.cumsum(used) - 1
        columns.append(column)
        onto = tables.onto @ tables.leaning if LEANS[number] else tables.onto
        running.append(_running(onto)[:, column])
        for at, found in zip(bounds, (starts, ends), strict=True):
            found.append(place[at] + runs.source * len(column))
    target = (layer * pairs * positions + runs.cell) * 2 * tables.bins.count + runs.category
    share = tuple(runs.share if lean else in_detent for lean in LEANS)
    return Lookups(tuple(columns), tuple(running), tuple(starts), tuple(ends), target, share)


def _stacked(tables: Tables, layer_of_cause: Ints) -> tuple[Runs, Ints, Floats]:
    """Return the runs of all sources, numbered as in `Lookups`; layer and share in the detent."""
    layout = layout_of(tables)
    charted = tables.charted * len(tables.family.positions)
    healthy, faulty, together = layout.healthy, layout.faulty, layout.together
    accepted = np.where(healthy.cell < charted, LAYERS + healthy.cell, ACCEPT)
    good = np.ones(len(accepted))
    inside = healthy.cell < charted
    k, p = np.divmod(healthy.cell[inside], len(tables.family.positions))
    good[inside] = tables.good[k, p, healthy.category[inside]]
    parts = [(healthy, accepted, np.full_like(accepted, ACCEPT))]
    for layer in range(REALIGN, LAYERS):
        same = np.full_like(accepted, layer)
        parts.append((healthy, same, same))
    causes, pairs = len(layout.causes.first), len(layout.pairs.first)
    of_bundle = layer_of_cause[layout.causes.member[layout.causes.first]]
    each = LAYERS + charted
    both = each + 2 * causes
    parts += [
        (faulty, each + faulty.source, of_bundle[faulty.source]),
        (faulty, each + causes + faulty.source, np.full_like(faulty.cell, SAFE)),
        (together, both + together.source, np.full_like(together.cell, REPAIR)),
        (together, both + pairs + together.source, np.full_like(together.cell, SAFE)),
    ]
    runs = Runs(
        cell=np.concatenate([part.cell for part, _, _ in parts]),
        source=np.concatenate([source for _, source, _ in parts]),
        start=np.concatenate([part.start for part, _, _ in parts]),
        end=np.concatenate([part.end for part, _, _ in parts]),
        category=np.concatenate([part.category for part, _, _ in parts]),
        share=np.concatenate([part.share for part, _, _ in parts]),
    )
    in_detent = runs.share.copy()
    in_detent[: len(good)] *= good
    return runs, np.concatenate([layer for _, _, layer in parts]), in_detent
