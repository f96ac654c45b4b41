"""What can stand behind the readings of a cell besides the network: its latents.

A cell is *sound* (the network with its faults says what is there), *defective here* (debris, a
burr, a burnt spot: one resistance of its own, the same at every reading) or *wandering* (another
resistance at each reading). A *visit* (the lever moved or the probes set anew) may be at a wrong
place, which then reads the same until the next visit. And each reading may go wrong by itself: the
channel of `outcome.py`. What the readings of a cell say of all this is one number a category;
nothing of it depends on the angle but for the sound cell.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.outcome import Bins
from benchproof.diagnose.priors import Priors
from benchproof.network.resistance import Floats

DEFECT_OHM = 0.05, 100_000.0
"""A defect that conducts has a resistance between these, log-uniform (invented)."""
DEFECT_OPEN = 0.2
"""The share of defects of one cell that are open (invented)."""
WANDERS_OPEN = 0.35
"""How often a wandering cell reads open (invented)."""


class Heard(Protocol):
    """A reading as the tables know it."""

    @property
    def lean(self) -> int:
        """0 in the detent."""

    @property
    def seen(self) -> Floats:
        """How well it agrees with each bin."""

    @property
    def visit(self) -> int:
        """Readings of a cell with one number, not zero, are of one visit."""


@dataclass(frozen=True)
class Latents:
    """Rates and sizes of what befalls single cells.

    Attributes
    ----------
    local, wandering : array, shape (pairs, positions)
        Probability that a cell is defective by itself, or wanders.
    defect : array, shape (bins,)
        Probability of each bin in a defective cell.
    wander : array, shape (bins,)
        Probability of each bin at each reading of a wandering one.
    elsewhere : array, shape (bins,)
        Probability of each bin where the lever or the probes are at a wrong place.
    misread : float
        Probability that a visit is at a wrong place.
    """

    local: Floats
    wandering: Floats
    defect: Floats
    wander: Floats
    elsewhere: Floats
    misread: float


def latents_of(
    bins: Bins, charted: Iterable[int], hazard: NDArray[np.bool_], pairs: int, priors: Priors
) -> Latents:
    """Return the latents of a family.

    Parameters
    ----------
    bins : Bins
        Bins of ohms.
    charted : iterable of int
        The bin of each charted cell.
    hazard : array of bool, shape (charted, positions)
        Which cells must not conduct.
    pairs : int
        How many pairs there are in all.
    priors : Priors
        The rates.
    """
    low, high = np.log(DEFECT_OHM)
    edges = np.clip(np.log(bins.edges_ohm), low, high)
    conducting = np.diff(np.concatenate([[low], edges, [high]])) / (high - low)
    is_open = np.eye(bins.count)[-1]
    local = np.full((pairs, hazard.shape[1]), priors.local_defect_rate)
    wandering = np.full((pairs, hazard.shape[1]), priors.wandering_rate)
    local[: len(hazard)][hazard] = priors.start_permit_bridged_rate
    wandering[: len(hazard)][hazard] = priors.start_permit_wandering_rate
    elsewhere = np.bincount(list(charted), minlength=bins.count).astype(np.float64)
    return Latents(
        local,
        wandering,
        (1.0 - DEFECT_OPEN) * conducting + DEFECT_OPEN * is_open,
        (1.0 - WANDERS_OPEN) * conducting + WANDERS_OPEN * is_open,
        elsewhere / elsewhere.sum(),
        priors.misread_visit_rate,
    )


@dataclass(frozen=True)
class Words:
    """What the readings of one cell say, as logs, before any angle is looked at.

    Attributes
    ----------
    detent : array, shape (pure categories,)
        Of what is there, by all readings in the detent.
    visits : tuple of tuples of array, shape (pure categories,)
        The same reading by reading and visit by visit, not as logs: play moves between readings.
    misread : tuple of float
        Of each of these visits being at a wrong place, its rate included.
    leaned : tuple of (int, array of shape (pure categories,))
        Each leaned reading's lean and what it says, not as logs; a visit of its own.
    local : array, shape (bins,)
        Of each bin of a defective cell, the defect's prior included, not its rate.
    wander : float
        Of a wandering cell.
    """

    detent: Floats
    visits: tuple[tuple[Floats, ...], ...]
    misread: tuple[float, ...]
    leaned: tuple[tuple[int, Floats], ...]
    local: Floats
    wander: float


def words(latents: Latents, channel: Floats, readings: Sequence[Heard]) -> Words:
    """Return what the readings of a cell say.

    Parameters
    ----------
    latents : Latents
        What befalls single cells.
    channel : array, shape (pure categories, bins)
        Probability of reading each bin given what is there.
    readings : sequence of Heard
        The readings of one cell.
    """
    bins = channel.shape[1]
    visits = visits_of([one for one in readings if not one.lean])
    said = tuple(tuple(channel @ one.seen for one in visit) for visit in visits)
    misread = []
    detent, wander = np.zeros(len(channel)), 0.0
    with np.errstate(divide="ignore"):
        for visit in said:
            right, wrong = _of_visit(latents, visit)
            misread.append(wrong)
            detent += np.logaddexp(right, wrong)
            drawn = sum(np.log(latents.wander @ one[:bins]) for one in visit)
            wander += float(np.logaddexp(np.log1p(-latents.misread) + drawn, wrong))
        local = np.log(latents.defect) + detent[:bins]
        leaned = []
        for one in readings:
            if one.lean:
                says = np.exp(np.logaddexp(*_of_visit(latents, (channel @ one.seen,))))
                leaned.append((one.lean, says))
                local += np.log(says[:bins])
                wander += float(np.log(latents.wander @ says[:bins]))
    return Words(detent, said, tuple(misread), tuple(leaned), local, wander)


def visits_of(readings: Sequence[Heard]) -> list[list[Heard]]:
    """Return the readings by visit, those of visit zero each by itself."""
    found: dict[int, list[Heard]] = {}
    for number, one in enumerate(readings):
        found.setdefault(one.visit or -1 - number, []).append(one)
    return list(found.values())


def against(
    latents: Latents, channel: Floats, bad: NDArray[np.bool_], readings: Sequence[Heard]
) -> tuple[Floats, float]:
    """Return the log probability that every reading in the detent read a bin against the chart.

    Parameters
    ----------
    latents, channel, readings
        As for `words`.
    bad : array of bool, shape (bins,)
        The bins against the chart.

    Returns
    -------
    tuple of (array of shape (pure categories,), float)
        Given what is there, and together with every visit being at a wrong place.
    """
    of_bad = channel * bad
    detent, elsewhere = np.zeros(len(channel)), 0.0
    with np.errstate(divide="ignore"):
        for visit in visits_of([one for one in readings if not one.lean]):
            right, wrong = _of_visit(latents, [of_bad @ one.seen for one in visit])
            detent += np.logaddexp(right, wrong)
            elsewhere += wrong
    return detent, elsewhere


def _of_visit(latents: Latents, said: Sequence[Floats]) -> tuple[Floats, float]:
    """Return the logs of what the readings of a visit say if it is at its place, and if not."""
    both: Floats = np.sum(np.log(said), axis=0)
    top = max(float(both.max()), -1e300)
    wrong = latents.elsewhere @ np.exp(both[: len(latents.elsewhere)] - top)
    r = latents.misread
    return np.log1p(-r) + both, float(np.log(r) + np.log(wrong) + top)


def in_each(parts: Floats, log_told: Floats) -> Floats:
    """Return the log of what is said of each category, from that of the pure ones.

    Parameters
    ----------
    parts : array, shape (categories, pure categories)
        What each category is made of.
    log_told : array, shape (pure categories,)
        Log of what the readings say of each.
    """
    pure = len(log_told)
    mixed = parts[pure:]
    if not len(mixed):
        return log_told
    shown = np.where(mixed > 0.0, log_told, -1e300)
    top = shown.max(axis=1, keepdims=True)
    found = np.log((mixed * np.exp(shown - top)).sum(axis=1)) + top[:, 0]
    return np.concatenate([log_told, found])


def value_of(parts: Floats, told: Floats, value: Sequence[float] | Floats) -> Floats:
    """Return the expectation of a value of the pure categories in each category.

    Parameters
    ----------
    parts : array, shape (categories, pure categories)
        What each category is made of.
    told : array, shape (pure categories,)
        What the readings of the cell say of each.
    value : array, shape (pure categories,)
        The value.
    """
    weighted = parts * told
    total = np.maximum(weighted.sum(axis=1), 1e-300)
    expected: Floats = weighted @ np.asarray(value, dtype=np.float64) / total
    return expected
