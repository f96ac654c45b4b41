"""Probability of every cause and offset, sorted by the verdict it asks for and by its hazard."""

from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.diagnosis import all_cells, good_by_cell, log_safe, sound_by_cell
from benchproof.diagnose.layout import layout_of
from benchproof.diagnose.posterior import Masses, Posterior
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import VERDICT_OF_KIND, PartVerdict
from benchproof.network.resistance import Floats, Ints

VERDICTS = tuple(PartVerdict)
NUMBER = {verdict: number for number, verdict in enumerate(VERDICTS)}
ACCEPT, REALIGN, REPAIR = (
    NUMBER[verdict] for verdict in (PartVerdict.ACCEPT, PartVerdict.REALIGN, PartVerdict.REPAIR)
)
NO_FAULT = len(VERDICTS)
SAFE = NO_FAULT + 1
LAYERS = SAFE + 1
"""The verdicts, all parts without fault, and all explained that leaves the start permit safe.

Until accepted parts are taken off, REALIGN stands for all parts without fault and without a cell
that is defective by itself; what is left of those without fault then asks for repair.
"""


@dataclass(frozen=True)
class Weights:
    """Probability by cause and offset: of any explanation, and of those that are safe.

    Attributes
    ----------
    single, safe_single : array, shape (causes, offsets)
        Of a cause alone.
    each, safe_each : array, shape (causes, offsets)
        Of a cause, alone or with another.
    pairs, safe_pairs : array, shape (pairs, offsets)
        Of the pairs of causes in the tables' layout.
    layer : array of int, shape (causes,)
        Number of the verdict that each cause asks for; no fault has a layer of its own.
    totals : array, shape (layers, offsets)
        Of all the causes of each layer.
    accept : array, shape (offsets,)
        Of no fault and every charted cell good.
    accept_but : array, shape (charted, positions, offsets)
        Of no fault and every other charted cell good.
    sound : array, shape (offsets,)
        Of no fault and no charted cell whose own defect is against the chart.
    sound_but : array, shape (charted, positions, offsets)
        Of no fault and no other such cell.
    """

    single: Floats
    safe_single: Floats
    each: Floats
    safe_each: Floats
    pairs: Floats
    safe_pairs: Floats
    layer: Ints
    totals: Floats
    accept: Floats
    accept_but: Floats
    sound: Floats
    sound_but: Floats


def weights_of(posterior: Posterior, found: Masses) -> Weights:
    """Return the weights.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    found : Masses
        The same as probabilities.
    """
    tables = posterior.tables
    layout = layout_of(tables)
    log_all_safe, less = log_safe(posterior)
    safe, ratio = np.exp(log_all_safe), np.exp(less)
    shared = found.shared
    safe_twofold = found.twofold_with(less) * safe
    safe_single = found.single * ratio * safe
    layer = layers_of(tables)
    totals = np.zeros((LAYERS, len(safe)))
    np.add.at(totals, layer, found.single)
    totals[REPAIR] += 0.5 * found.twofold.sum(axis=0)
    totals[SAFE] = safe_single.sum(axis=0) + 0.5 * safe_twofold.sum(axis=0)
    pairs = found.log_odds[layout.first] + found.log_odds[layout.second]
    pairs[layout.number(shared.first, shared.second)] = shared.log_odds
    pairs += found.log_none
    np.exp(pairs, out=pairs)
    good = good_by_cell(posterior)
    own = sound_by_cell(posterior)
    all_good, all_sound = all_cells(posterior, good, own)
    accept = found.single[0] * all_good
    sound = found.single[0] * all_sound
    totals[REALIGN] = sound
    return Weights(
        single=found.single,
        safe_single=safe_single,
        each=found.single + found.twofold,
        safe_each=safe_single + safe_twofold,
        pairs=pairs,
        safe_pairs=pairs * ratio[layout.first] * ratio[layout.second] * safe,
        layer=layer,
        totals=totals,
        accept=accept,
        accept_but=np.divide(accept, good, out=np.zeros_like(good), where=good > 0.0),
        sound=sound,
        sound_but=np.divide(sound, own, out=np.zeros_like(own), where=own > 0.0),
    )


def layers_of(tables: Tables) -> Ints:
    """Return the number of the verdict that each cause asks for, shape (causes,)."""
    return np.array(
        [
            NO_FAULT
            if cause is None
            else NUMBER[VERDICT_OF_KIND.get(cause.kind, PartVerdict.REPAIR)]
            for cause in tables.causes
        ]
    )
