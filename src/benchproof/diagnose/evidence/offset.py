"""Offsets that were measured otherwise than by readings: a normal about what was measured."""

from collections.abc import Iterable
from math import degrees, hypot, pi, sqrt

import numpy as np

from benchproof.diagnose.evidence.edge import STRAY_GAPS
from benchproof.diagnose.grid import offset_sds_of
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables
from benchproof.network.geometry import Geometry, mean_gap
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import MeasuredOffset


def marks_sd(shape: Geometry, priors: Priors) -> float:
    """Return how far from right the marks leave the offset, standard deviation.

    In the family's unit of angle. By eye two lines come to lie within a line's width of each
    other, anywhere in that alike (common practice, no source): the width over the root of 3.
    Without a mark circle it is what the priors give for parts found aligned.
    """
    family = shape.family
    if shape.unit == "deg" and family.mark_radius_mm is not None:
        return degrees(family.mark_line_mm / family.mark_radius_mm) / sqrt(3.0)
    return offset_sds_of(shape, priors)[0]


def log_measured(tables: Tables, measured: Iterable[MeasuredOffset]) -> Floats:
    """Return the log density of what was measured, by offset, shape (offsets,).

    How far marks and contacts of a part differ is the same however often it is measured one way:
    of each way the mean counts, weighed by its uncertainties, and that difference once.
    """
    found = np.zeros(len(tables.grid.offsets))
    ways: dict[str, list[MeasuredOffset]] = {}
    for one in sorted(set(measured), key=lambda one: (one.how, one.u, one.offset)):
        ways.setdefault(one.how, []).append(one)
    stray = tables.priors.stray_rate
    anywhere = stray / (STRAY_GAPS * mean_gap(tables.shape))
    for told in ways.values():
        weights = [1.0 / one.u**2 for one in told]
        mean = sum(w * one.offset for w, one in zip(weights, told, strict=True)) / sum(weights)
        u = hypot(1.0 / sqrt(sum(weights)), marks_sd(tables.shape, tables.priors))
        off = (tables.grid.offsets - mean) / u
        density = np.exp(-0.5 * off**2) / (u * sqrt(2.0 * pi))
        found += np.log((1.0 - stray) * density + anywhere)
    return found
