"""What every reading that could be taken would show, together with every verdict."""

from dataclasses import dataclass, replace

import numpy as np

from benchproof.diagnose.diagnosis import hazard
from benchproof.diagnose.posterior import Masses, Posterior
from benchproof.diagnose.predict import LEANS, lean_steps
from benchproof.diagnose.tables import Bools
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.resistance import Floats
from benchproof.plan.everycell import every_cell
from benchproof.plan.onecell import one_cell
from benchproof.plan.weights import ACCEPT, NO_FAULT, NUMBER, REALIGN, REPAIR, SAFE, weights_of


@dataclass(frozen=True)
class Forecast:
    """What each reading would show.

    Attributes
    ----------
    joint : array, shape (leans, pairs, positions, verdicts, bins)
        Probability that the verdict is right and the bin is read.
    unsafe : array, shape (leans, pairs, positions, bins)
        Probability that a start permit conducts where the starter must not turn and the bin is
        read.
    possible : array of bool, shape (leans, positions)
        Whether the lever can be held so.
    """

    joint: Floats
    unsafe: Floats
    possible: Bools


def forecast(posterior: Posterior, found: Masses) -> Forecast:
    """Return what each reading would show.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    found : Masses
        The same as probabilities.
    """
    tables = posterior.tables
    positions, bins = len(tables.family.positions), tables.bins.count
    weights = weights_of(posterior, found)
    alone = replace(found, sheets=())
    by_category = every_cell(tables, weights)
    hazards = [(k, p) for k, p in np.argwhere(tables.hazard).tolist()]
    for k, p in dict.fromkeys([*posterior.factors, *hazards]):
        by_category[:, :, k * positions + p] = one_cell(posterior, weights, k, p)
    bins_elsewhere = tables.latents.elsewhere @ tables.channel[:bins]
    at_its_place = (1.0 - tables.latents.misread) * tables.pure_channel
    shown = by_category @ (at_its_place + tables.latents.misread * bins_elsewhere)
    unsafe = np.maximum(shown[:, REPAIR:SAFE].sum(axis=1) - shown[:, SAFE], 0.0)
    joint = shown[:, :NO_FAULT]
    joint[:, REPAIR] += shown[:, NO_FAULT] - joint[:, REALIGN]
    joint[:, REALIGN] -= joint[:, ACCEPT]
    joint[:, NUMBER[PartVerdict.UNEXPLAINED]] = found.unexplained * tables.usual
    if found.sheets:
        # What a mistaken sheet would go on to show is not worked out cell by cell.
        joint[:, NUMBER[PartVerdict.HOOK_UP]] += found.misread * tables.usual
        unsafe += (hazard(posterior, found) - hazard(posterior, alone)) * tables.usual
    cells = len(LEANS), len(tables.pairs), positions
    possible = lean_steps(tables) != 0
    possible[LEANS.index(0)] = True
    return Forecast(
        np.maximum(joint, 0.0).transpose(0, 2, 1, 3).reshape(*cells, NO_FAULT, bins),
        unsafe.reshape(*cells, bins),
        possible,
    )
