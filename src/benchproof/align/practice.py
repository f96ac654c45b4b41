"""What is taken for granted of hands, marks and scales: the one place for it.

Invented or common practice, no source; no shop's records stand behind any of it. Spreads of the
parts themselves are priors of the diagnosis (priors.toml).
"""

from dataclasses import dataclass
from math import degrees

from benchproof.family.model import Family
from benchproof.network.geometry import Geometry, mean_gap

REACH_GAPS = 0.6
"""How far the slots let the body turn either way, in parts of a detent gap (invented)."""
LASH_GAPS = 0.05
"""Lash between scale and body, standard deviation about none, in parts of a gap (invented)."""
REPEAT_GAPS = 0.005
"""How far an edge found again the same way strays, the scale's own steps apart: detent play and the
contact itself. Standard deviation, in parts of a gap (invented)."""
PRIOR_REPEATS = 4
"""As many repeats the expected scatter is worth against the scatter that was seen; above 2
(invented)."""
SCALE_SD = 0.01
"""How true a scale is whose step in degrees is known, relative standard deviation (invented)."""


@dataclass(frozen=True)
class TurningScale:
    """What the turning of the body is read on.

    Attributes
    ----------
    name : str
        As typed: ``deg``, ``mm``, ``turns``, ``counts``.
    told : str
        As people say it.
    step : float
        The finest step that is read, in the scale's own unit.
    per_degree : float or None
        How many of its units make a degree; None to take it from the width of the dwell.
    """

    name: str
    told: str
    step: float
    per_degree: float | None = None


SCALES = {
    "deg": TurningScale("deg", "degrees on a protractor", 0.25, 1.0),
    "mm": TurningScale("mm", "millimetres along the rim", 0.1),
    "turns": TurningScale("turns", "turns of a screw", 0.02),
    "counts": TurningScale("counts", "counts of an encoder", 1.0),
}
"""The scales that are offered, with the steps they are read to (invented)."""


def scale_of(
    name: str, family: Family, step: float | None = None, per_degree: float | None = None
) -> TurningScale:
    """Return a scale as a person uses it on a family.

    Parameters
    ----------
    name : str
        One of `SCALES`.
    family : Family
        The family; millimetres are taken along its mark circle where it gives one.
    step, per_degree : float or None
        To take in place of what is usual, above zero.
    """
    usual = SCALES[name]
    if per_degree is None:
        per_degree = usual.per_degree
        if name == "mm" and family.mark_radius_mm is not None:
            per_degree = family.mark_radius_mm / degrees(1.0)
    return TurningScale(name, usual.told, usual.step if step is None else step, per_degree)


def gaps(shape: Geometry, parts: float) -> float:
    """Return so many parts of a mean detent gap, in the family's unit of angle."""
    return parts * mean_gap(shape)
