"""Faults that come in sizes: every size there is, cut where some charted cell changes its bin.

The ohms between a and b as a function of one resistance r between u and v of a network are
R(r) = R_ab - X^2 / (r + R_uv), with R_ab and R_uv without that resistance and
X = (R_av + R_bu - R_au - R_bv) / 2 the transfer resistance between the two ports (the linear
dependence of a linear network on one of its branches; from memory). With R_0 = R_ab - X^2 / R_uv,
the ohms with a wire in its place, that is R_0 + (X / R_uv)^2 times r beside R_uv, which holds where
R_uv is infinite too. So each size at which a cell meets a bin's edge follows in closed form, and
between two of them nothing changes. Sizes that no charted cell shows are left out; neighbours that
differ least are taken together until a few classes are left.
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
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Port:
    """How the ohms of some pairs depend on one resistance; arrays of shape (pairs, states).

    Attributes
    ----------
    short_ohm : array
        With a wire in its place; infinite where not even that joins the pair.
    share : array
        The square of the share of the volts across the resistance that is seen across the pair.
    own_ohm : array, shape (states,)
        Between the ends of the resistance, without it; infinite if nothing else joins them.
    active : array of bool, shape (states,)
        Whether the resistance is there at all.
    """

    short_ohm: Floats
    share: Floats
    own_ohm: Floats
    active: Bools

    def of(self, pairs: Ints) -> "Port":
        """Return the port for some of its pairs."""
        return Port(self.short_ohm[pairs], self.share[pairs], self.own_ohm, self.active)

    def ohms(self, size_ohm: Floats) -> Floats:
        """Return the ohms at some sizes, shape (sizes, pairs, states)."""
        beside = size_ohm[:, None] / (1.0 + size_ohm[:, None] / self.own_ohm)
        ohms: Floats = self.short_ohm + self.share * beside[:, None]
        return ohms

    def cuts(self, edges_ohm: Floats) -> Floats:
        """Return the sizes at which some pair meets an edge, rising; not all are real."""
        with np.errstate(divide="ignore", invalid="ignore"):
            room = edges_ohm[:, None, None] - self.short_ohm[:, self.active]
            beside = room / self.share[:, self.active]
            cuts = beside / (1.0 - beside / self.own_ohm[self.active])
        found: Floats = np.unique(cuts[np.isfinite(cuts)])
        return found


def port_between(ohms: Floats, ends: tuple[int, int], pairs: tuple[Ints, Ints]) -> Port:
    """Return how pairs depend on a resistance between two nodes of a network without it.

    Parameters
    ----------
    ohms : array, shape (nodes, nodes, states)
        Between every two nodes, infinite where nothing joins them.
    ends : (int, int)
        The two nodes.
    pairs : two arrays of int, shape (pairs,)
        The two nodes of each pair.
    """
    (u, v), (a, b) = ends, pairs
    au, av, bu, bv, ab = ohms[a, u], ohms[a, v], ohms[b, u], ohms[b, v], ohms[a, b]
    own = ohms[u, v]
    near = np.isfinite(au), np.isfinite(av), np.isfinite(bu), np.isfinite(bv)
    inside = near[0] & near[1] & near[2] & near[3]
    # Where nothing else joins the ends, a pair across it has all of it in series.
    straight, crossed = near[0] & near[3] & ~inside, near[1] & near[2] & ~inside
    straight &= ~(near[1] | near[2])
    crossed &= ~(near[0] | near[3])
    with np.errstate(invalid="ignore"):
        transfer = np.where(inside, (av + bu - au - bv) / 2.0, 0.0)
        ratio = np.where(inside, transfer / own, 0.0)
    short = ab.copy()
    short[inside] = np.maximum(ab[inside] - (transfer * ratio)[inside], 0.0)
    short[straight] = (au + bv)[straight]
    short[crossed] = (av + bu)[crossed]
    share = np.where(straight | crossed, 1.0, ratio**2)
    return Port(short, share, own, np.ones(len(own), dtype=np.bool_))


@dataclass(frozen=True)
class Sound:
    """The part without fault; arrays of shape (pairs, states)."""

    ohms: Floats
    category: Categories

    def of(self, pairs: Ints) -> "Sound":
        """Return some pairs of it."""
        return Sound(self.ohms[pairs], self.category[pairs])


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
    pairs : array of int
        The pairs that some size touches, of those given.
    category : array, shape (pairs, states)
        What is there.
    """

    fault: Fault
    spans: tuple[Span, ...]
    weight: float
    pairs: Ints
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
        How the ohms of some pairs depend on its resistance.
    sound : Sound
        The same pairs of the part without fault.
    charted : int
        How many of the pairs, the first ones, are charted.
    mixtures : Mixtures
        Where mixtures get their numbers.
    """
    if not charted or not spans:
        return []
    ends = np.array([min(low for low, _ in spans), max(high for _, high in spans)]) * unit_ohm
    # Ohms rise with the size: what neither end touches, nothing between them does.
    touched = _touched(ends, port, sound, mixtures, slice(0, charted))
    if not len(touched):
        return []
    off_chart = _touched(ends, port, sound, mixtures, slice(charted, None)) + charted
    charted, pairs = len(touched), np.concatenate([touched, off_chart])
    port, sound = port.of(pairs), sound.of(pairs)
    cuts = port.of(np.arange(charted)).cuts(mixtures.bins.edges_ohm) / unit_ohm
    pieces = [piece for span in spans for piece in _pieces(span, cuts)]
    sizes = np.array([np.sqrt(low * high) for low, high in pieces])
    width = np.array([np.log(high / low) if high > low else 1.0 for low, high in pieces])
    category = _categories(sizes * unit_ohm, port, sound, mixtures)
    shown = (category[:, :charted] != sound.category[:charted]).any(axis=(1, 2))
    flat = category[:, :charted].reshape(len(sizes), -1)
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
                pairs,
                made.reshape(category.shape[1:]),
            )
        )
    return found


def _touched(ends_ohm: Floats, port: Port, sound: Sound, mixtures: Mixtures, which: slice) -> Ints:
    """Return which of some pairs either end of the sizes touches, numbered from the first."""
    pairs = np.arange(len(sound.ohms))[which]
    if not len(pairs):
        return pairs
    own = sound.of(pairs)
    differs = _categories(ends_ohm, port.of(pairs), own, mixtures) != own.category
    return np.flatnonzero(differs.any(axis=(0, 2)))


def _pieces(span: Span, cuts: Floats) -> list[Span]:
    """Return a span cut where it is to be."""
    low, high = span
    inside = cuts[(cuts > low * (1.0 + 1e-6)) & (cuts < high * (1.0 - 1e-6))]
    # Cuts that rounding alone sets apart are one.
    before = np.append(low, inside)[: len(inside)]
    ends = [low, *inside[inside > before * (1.0 + 1e-6)].tolist(), high]
    return [span] if low == high else list(pairwise(ends))


def _categories(size_ohm: Floats, port: Port, sound: Sound, mixtures: Mixtures) -> Categories:
    """Return what is there at some sizes, shape (sizes, pairs, states).

    A cell as good as a sound one is just that: near an edge its spread else spoke for a fault.
    """
    ohms = port.ohms(size_ohm)
    category = mixtures.bins.of(ohms).astype(np.uint16)
    mixed = sound.category >= 2 * mixtures.bins.count
    if mixed.any():
        with np.errstate(divide="ignore", invalid="ignore"):
            near = np.abs(np.log(ohms / sound.ohms)) < REACH_SD * HEALTHY_LOG_SD
        category = np.where(near & mixed, sound.category, category)
    if not port.active.all():
        category = np.where(port.active, category, sound.category)
    return category


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
