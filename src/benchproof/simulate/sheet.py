"""A full sheet of readings, taken as a careful person takes a proof."""

from collections.abc import Callable
from dataclasses import replace

from benchproof.diagnose.posterior import against_chart, observe
from benchproof.diagnose.tables import Tables
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading


def full_sheet(
    tables: Tables, read: Callable[[int, int, int], Reading], meter: Meter, *, lean: bool = True
) -> list[Reading]:
    """Return a reading of every charted cell, and further ones where a person would want them.

    A cell that is against the chart is read once more, as is every start permit cell that must be
    open: an open reading may be a slipped probe.

    Parameters
    ----------
    tables : Tables
        The family's hypotheses.
    read : callable
        Reads pair number k in position number p, leaning -1, 0 or 1.
    meter : Meter
        What it is read with.
    lean : bool
        Whether a cell that is against the chart is also read with the lever leaned either way.
    """
    readings = []
    for p in range(len(tables.family.positions)):
        for k in range(tables.charted):
            reading = read(k, p, 0)
            readings.append(reading)
            (one,) = observe(tables, [reading], meter)
            against = against_chart(tables, one)
            if against or tables.hazard[k, p]:
                readings.append(read(k, p, 0))
            if against and lean:
                sides = [side for side in (-1, 1) if tables.grid.lean_steps[p, (side + 1) // 2]]
                readings += [read(k, p, side) for side in sides]
    # Cells are read more than once, so each reading tells its turn.
    return [replace(reading, time=str(turn)) for turn, reading in enumerate(readings, 1)]
