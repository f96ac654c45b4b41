"""Faults that come in sizes: every size there is, cut where some charted cell changes its bin.

The ohms between a and b as a function of one resistance r between u and v of a network are
R(r) = R_oc - X^2 / (r + R_uv), with R_oc and R_uv without that resistance and X the transfer
resistance between the two ports (the linear dependence of a linear network on one of its branches;
from memory). So each size at which a cell meets a bin's edge follows in closed form, and between
two of them nothing changes. Sizes that no charted cell shows are left out; neighbours that differ
least are taken together until a few classes are left.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.mixtures import HEALTHY_LOG_SD, REACH_SD, Categories, Mixtures
from benchproof.network.faults import Fault
from benchproof.network.resistance import Floats, Ints

MOST_CLASSES = 6
"""A place has at most so many classes of sizes."""

Span = tuple[float, float]


@dataclass(frozen=True)
class Port:
    """How the ohms of every pair depend on one resistance, in every state; arrays (states, pairs).

    Attributes
    ----------
    open_ohm : array, shape (states, pairs)
        Without the resistance.
    transfer : array, shape (states, pairs)
        The square of the transfer resistance.
    own_ohm : array, shape (states,)
        Between the ends of the resistance, without it.
    active : array of bool, shape (states,)
        Whether the resistance is there at all.
    """

    open_ohm: Floats
    transfer: Floats
    own_ohm: Floats
    active: NDArray[np.bool_]

    def ohms(self, size_ohm: Floats) -> Floats:
        """Return the ohms at some sizes, shape (sizes, states, pairs)."""
        ohms: Floats = self.open_ohm - self.transfer / (
            size_ohm[:, None, None] + self.own_ohm[:, None]
        )
        return ohms

    def cuts(self, edges_ohm: Floats, charted: int) -> Floats:
        """Return the sizes at which some charted pair meets an edge, rising; not all are real."""
        apart = self.open_ohm[self.active, :charted, None] - edges_ohm
        moves = self.transfer[self.active, :charted, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            cuts = moves / apart - self.own_ohm[self.active, None, None]
        found: Floats = np.unique(cuts[np.isfinite(cuts)])
        return found


@dataclass(frozen=True)
class Sound:
    """The part without fault; arrays of shape (states, pairs)."""

    ohms: Floats
    category: Categories


@dataclass(frozen=True)
class SizeClass:
    """Some sizes of a fault at one place, taken as one hypothesis.

    Attributes
    ----------
    fault : Fault
        The fault in a size amid them.
    spans : tuple of (float, float)
        The sizes, from and to.
    weight : float
        How wide they are, as a log.
    category : array, shape (states, pairs)
        What is there.
    """

    fault: Fault
    spans: tuple[Span, ...]
    weight: float
    category: Categories


def size_classes(
    fault: Fault,
    spans: Sequence[Span],
    unit_ohm: float,
    port: Port,
    sound: Sound,
    charted: int,
    mixtures: Mixtures,
) -> list[SizeClass]:
    """Return the classes of sizes of a fault at one place; none if no charted cell shows it.

    Parameters
    ----------
    fault : Fault
        The fault, in any size.
    spans : sequence of (float, float)
        The sizes it comes in; one with two equal ends is a size by itself.
    unit_ohm : float
        Ohms of a size of 1.
    port : Port
        How the ohms depend on its resistance.
    sound : Sound
        The part without fault.
    charted : int
        How many of the pairs are charted.
    mixtures : Mixtures
        Where mixtures get their numbers.
    """
    cuts = port.cuts(mixtures.bins.edges_ohm, charted) / unit_ohm
    pieces = [piece for span in spans for piece in _pieces(span, cuts)]
    sizes = np.array([np.sqrt(low * high) for low, high in pieces])
    width = np.array([np.log(high / low) if high > low else 1.0 for low, high in pieces])
    category = _categories(sizes * unit_ohm, port, sound, mixtures)
    shown = (category[:, :, :charted] != sound.category[:, :charted]).any(axis=(1, 2))
    flat = category[:, :, :charted].reshape(len(sizes), -1)
    groups = _merged(flat, width, np.flatnonzero(shown))
    found = []
    for group in groups:
        of_size = category[group].reshape(len(group), -1)
        made = mixtures.of_classes(of_size, width[group] / width[group].sum())
        middle = float(np.exp(np.average(np.log(sizes[group]), weights=width[group])))
        found.append(
            SizeClass(
                Fault(fault.kind, fault.at, fault.branch, middle),
                tuple(pieces[n] for n in group),
                float(width[group].sum()),
                made.reshape(category.shape[1:]),
            )
        )
    return found


def _pieces(span: Span, cuts: Floats) -> list[Span]:
    """Return a span cut where it is to be."""
    low, high = span
    inside = cuts[(cuts > low * (1.0 + 1e-6)) & (cuts < high * (1.0 - 1e-6))]
    # Cuts that rounding alone sets apart are one.
    before = np.append(low, inside)[: len(inside)]
    ends = [low, *inside[inside > before * (1.0 + 1e-6)].tolist(), high]
    return [span] if low == high else list(pairwise(ends))


def _categories(size_ohm: Floats, port: Port, sound: Sound, mixtures: Mixtures) -> Categories:
    """Return what is there at some sizes, shape (sizes, states, pairs).

    A cell as good as a sound one is just that: near an edge its spread else spoke for a fault.
    """
    ohms = port.ohms(size_ohm)
    category = mixtures.bins.of(ohms).astype(np.uint16)
    count = mixtures.bins.count
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.abs(np.log(ohms / sound.ohms)) < REACH_SD * HEALTHY_LOG_SD
    same = (near & (sound.category >= 2 * count)) | ~port.active[:, None]
    return np.where(same, sound.category, category)


def _merged(flat: Categories, width: Floats, shown: Ints) -> list[Ints]:
    """Return runs of sizes to be taken as one, at most so many.

    Parameters
    ----------
    flat : array, shape (sizes, cells)
        What each size makes of the charted cells.
    width : array, shape (sizes,)
        How wide each size is.
    shown : array of int
        The sizes that some charted cell shows, rising.
    """
    groups: list[list[int]] = []
    for n in shown.tolist():
        if groups and (flat[n] == flat[groups[-1][-1]]).all():
            groups[-1].append(n)
        else:
            groups.append([n])
    apart = [_apart(flat, a[-1], b[0]) for a, b in pairwise(groups)]
    wide = [float(width[group].sum()) for group in groups]
    while len(groups) > MOST_CLASSES:
        costs = [
            gap * first * second / (first + second)
            for gap, first, second in zip(apart, wide, wide[1:], strict=False)
        ]
        at = int(np.argmin(costs))
        groups[at] += groups.pop(at + 1)
        wide[at] += wide.pop(at + 1)
        # What lies between merged sizes counts on for the next merge.
        taken = apart.pop(at)
        for near in (at - 1, at):
            if 0 <= near < len(apart):
                apart[near] += taken / 2.0
    return [np.array(group) for group in groups]


def _apart(flat: Categories, one: int, other: int) -> float:
    return float((flat[one] != flat[other]).sum())
