"""What the temperature at which a reading was taken makes of it."""

from collections.abc import Iterable

from benchproof.family.model import Family
from benchproof.network.temperature import Growth, warming_of
from benchproof.reading.value import Measured, Reading


def growth_of(reading: Reading, family: Family) -> Growth | None:
    """Return what the part's temperature made of the ohms of a reading; None for nothing.

    Parameters
    ----------
    reading : Reading
        A reading, with the temperature of the part if it was told.
    family : Family
        A family with a completed chart.
    """
    under = reading.conditions
    return warming_of(family).growth(reading.position, reading.pair, under.part_c, under.part_c_u)


def untold_at(readings: Iterable[Reading], family: Family) -> tuple[Reading, ...]:
    """Return the readings in ohms that depend on a temperature which nobody told."""
    return tuple(
        one
        for one in readings
        if isinstance(one.value, Measured)
        and (growth := growth_of(one, family)) is not None
        and not growth.told
    )
