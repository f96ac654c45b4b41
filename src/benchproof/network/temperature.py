"""What the temperature of a part makes of the ohms of its pairs.

Charts and family files tell ohms at 20 degrees Celsius; copper is read as warm or cold as it is.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np

from benchproof.family.model import Family, Pair
from benchproof.family.remembered import once_a_family
from benchproof.network.branches.base import USUAL_C, States, branches_of
from benchproof.network.states import pair_ohms

ROOM_C = 10.0, 30.0
"""Between these a part is taken to be where nobody tells: those of a workshop (invented)."""
UNTOLD_U_K = 2.0
"""Standard uncertainty of a temperature told without one, kelvin (invented)."""
MOST_ASKED = 4096


@dataclass(frozen=True)
class Growth:
    """What the ohms of a pair are at its temperature, as a part of those at 20 degrees Celsius.

    Attributes
    ----------
    factor : float
        Ohms at its temperature by ohms at 20 degrees Celsius, above zero.
    u : float
        Standard uncertainty of that, by how well the temperature is known.
    told : bool
        Whether somebody told the temperature.
    """

    factor: float
    u: float
    told: bool


class Warming:
    """How the ohms of a good part's pairs grow with its temperature.

    Parameters
    ----------
    family : Family
        A family with a completed chart.

    Attributes
    ----------
    matters : bool
        Whether any do.
    """

    def __init__(self, family: Family) -> None:
        self._family = family
        self.matters = any(branch.warms for branch in branches_of(family))
        self._known = lru_cache(maxsize=MOST_ASKED)(self._growth)

    def growth(
        self, position: str, pair: Pair, part_c: float | None, part_c_u: float | None
    ) -> Growth | None:
        """Return how those of one pair have grown; None if they do not depend on temperature.

        Parameters
        ----------
        position : str
            Lever position, by the family's name.
        pair : tuple of str
            The two pins, by the family's names.
        part_c, part_c_u : float or None
            Temperature of the part, degrees Celsius, and its standard uncertainty; None where it is
            not told.

        References
        ----------
        JCGM 100:2008 (GUM) 4.3.7: between two limits without more knowledge a distribution is
        rectangular, its standard uncertainty their distance / sqrt(12); 5.1.2: an uncertainty is
        carried on by the slope. Clause numbers from memory.
        """
        return self._known(position, pair, part_c, part_c_u) if self.matters else None

    def _growth(
        self, position: str, pair: Pair, part_c: float | None, part_c_u: float | None
    ) -> Growth | None:
        family, (low, high) = self._family, ROOM_C
        at, u = (low + high) / 2.0, (high - low) / sqrt(12.0)
        if part_c is not None:
            at, u = part_c, UNTOLD_U_K if part_c_u is None else part_c_u
        number = family.positions.index(position)
        angle = None if family.detents_deg is None else np.full(4, family.detents_deg[number])
        states = States(np.full(4, number), angle, np.array([USUAL_C, at, at - 1.0, at + 1.0]))
        ohms = pair_ohms(family, [pair], states)[:, 0]
        usual, there, colder, warmer = ohms.tolist()
        if not np.isfinite(ohms).all() or warmer == colder:
            return None
        return Growth(there / usual, (warmer - colder) / 2.0 * u / usual, part_c is not None)


@once_a_family
def warming_of(family: Family) -> Warming:
    """Return how the ohms of a family's pairs grow with temperature; its chart is completed."""
    return Warming(family)
