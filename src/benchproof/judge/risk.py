"""Decision rules: whether a measured value lies within its limits, and the risk of saying so.

References
----------
JCGM 106:2012, "Evaluation of measurement data - The role of measurement uncertainty in
conformity assessment": clause 7 (conformance probability), 8.3.2 (guarded acceptance with a
guard band of r times the expanded uncertainty), 8.3.3 (guarded rejection), 9 (global risks).
Clause numbers from memory; the the worked values in the tests name where each was read.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import erfc, sqrt

COVERAGE = 2.0
"""The guard band is this many standard uncertainties: 8.3.2 with r = 1 and U = 2 u."""


@dataclass(frozen=True)
class Limits:
    """Lowest and highest value allowed; infinite where nothing bounds it."""

    low: float
    high: float


def nonconformance(value: float, u: float, limits: Limits) -> float:
    """Return the probability that the true value is outside its limits (the specific risk).

    Parameters
    ----------
    value : float
        The measured value, any unit.
    u : float
        Its standard uncertainty, same unit, above zero.
    limits : Limits
        What is allowed, same unit.

    Notes
    -----
    The true value is taken as normal about the measured one: nothing else is known of it.

    Examples
    --------
    >>> round(1 - nonconformance(13.6, 1.8, Limits(12.5, 16.3)), 3)
    0.663
    """
    below = 0.5 * erfc((value - limits.low) / (u * sqrt(2.0)))
    above = 0.5 * erfc((limits.high - value) / (u * sqrt(2.0)))
    return min(below + above, 1.0)


def accepted(value: float, u: float, limits: Limits) -> bool:
    """Return whether a value passes guarded acceptance: inside its limits by the guard band."""
    guard = COVERAGE * u
    return limits.low + guard <= value <= limits.high - guard


def rejected(value: float, u: float, limits: Limits) -> bool:
    """Return whether a value fails guarded rejection: outside its limits by the guard band."""
    guard = COVERAGE * u
    return value < limits.low - guard or value > limits.high + guard


def can_accept(u: float, limits: Limits) -> bool:
    """Return whether any value at all could pass: whether the meter is good enough."""
    return limits.high - limits.low >= 2.0 * COVERAGE * u


@dataclass(frozen=True)
class GlobalRisk:
    """What a decision rule does to a whole production.

    Attributes
    ----------
    nonconforming : float
        Part that is outside its limits.
    consumer : float
        Part that is outside its limits and accepted (false accept).
    producer : float
        Part that is inside its limits and not accepted (false reject).
    """

    nonconforming: float
    consumer: float
    producer: float


def global_risk(
    density: Callable[[float], float],
    span: tuple[float, float],
    u: float,
    limits: Limits,
    acceptance: Limits,
) -> GlobalRisk:
    """Return the risks of a decision rule over all parts made.

    Parameters
    ----------
    density : callable
        Probability density of the true value, over the span.
    span : tuple of float
        Where the density counts.
    u : float
        Standard uncertainty of the measurement.
    limits : Limits
        What is allowed.
    acceptance : Limits
        What is accepted when measured.

    Notes
    -----
    Gauss-Legendre quadrature on pieces no wider than u / 2, split at the limits, so that each
    piece is smooth.
    """
    import numpy as np

    node, weight = np.polynomial.legendre.leggauss(8)
    conforming = nonconforming = consumer = producer = 0.0
    inner = [edge for edge in (limits.low, limits.high) if span[0] < edge < span[1]]
    edges = [span[0], *inner, span[1]]
    for low, high in pairwise(edges):
        inside = limits.low <= (low + high) / 2.0 <= limits.high
        count = max(1, int((high - low) / (u / 2.0)) + 1)
        width = (high - low) / count
        for piece in range(count):
            middle = low + (piece + 0.5) * width
            for x, w in zip(node, weight, strict=True):
                true = middle + float(x) * width / 2.0
                mass = density(true) * float(w) * width / 2.0
                accept = 1.0 - nonconformance(true, u, acceptance)
                if inside:
                    conforming += mass
                    producer += mass * (1.0 - accept)
                else:
                    nonconforming += mass
                    consumer += mass * accept
    total = conforming + nonconforming
    return GlobalRisk(nonconforming / total, consumer / total, producer / total)
