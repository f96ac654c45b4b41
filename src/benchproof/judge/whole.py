"""All that conditions on a whole sheet look at."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Family
from benchproof.judge.cell import Cell
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading


@dataclass(frozen=True)
class WholeSheet:
    """A family, its judged cells and every reading, charted or not.

    `ambient_c` is the temperature at the meter, degrees Celsius, None for within its calm span.
    """

    family: Family
    meter: Meter
    ambient_c: float | None
    readings: Sequence[Reading]
    cells: Sequence[Cell]
