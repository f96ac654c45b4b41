"""What the controller would see of a part as it was read, cell by cell, no diagnosis between."""

from collections.abc import Iterable, Sequence

from benchproof.family.model import Role, same_pair
from benchproof.foretell.controller import Circuit, Level, SeenByController
from benchproof.foretell.foretelling import Vehicle
from benchproof.foretell.travelplaces import TravelPlace
from benchproof.reading.meter import Meter, estimate, least_ohm
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value


def as_read(
    vehicle: Vehicle, readings: Iterable[Reading], meter: Meter
) -> tuple[tuple[TravelPlace, SeenByController], ...]:
    """Return what the controller sees by the readings, for each place that was read.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle's side of the family.
    readings : iterable of Reading
        In any order; of a cell read more than once, readings that differ make it weak.
    meter : Meter
        What they were read with.

    Returns
    -------
    tuple of (TravelPlace, SeenByController)
        The detents in lever order, then the leans. A reading with the lever leaned is taken to be
        of the position leaned from: a lean does not reach half the gap.
    """
    rows = vehicle.controller.rows
    number = {same_pair(row.pair): i for i, row in enumerate(rows)}
    values: dict[TravelPlace, dict[int, list[Value]]] = {}
    for reading in readings:
        i = number.get(same_pair(reading.pair))
        if i is not None:
            place = TravelPlace(reading.position, reading.lean, unit=vehicle.shape.unit)
            values.setdefault(place, {}).setdefault(i, []).append(reading.value)
    order = {name: n for n, name in enumerate(vehicle.family.positions)}
    found = []
    for place in sorted(values, key=lambda p: (bool(p.beside), order[p.position])):
        levels: list[Level | None] = [None] * len(rows)
        ohms: list[float | None] = [None] * len(rows)
        for i, read in values[place].items():
            circuit, is_level = vehicle.controller.circuits[i], rows[i].role is Role.RANGE_LEVEL
            levels[i] = _agreed([level_of(value, circuit, meter) for value in read])
            ohms[i] = _ohm(read[-1], meter) if is_level or len(read) == 1 else None
        found.append((place, vehicle.controller.seen(levels, ohms)))
    return tuple(found)


def level_of(value: Value, circuit: Circuit, meter: Meter) -> Level:
    """Return what the vehicle makes of what was read."""
    match value:
        case Mark():
            return Level.ON if value is Mark.CLOSED else Level.OFF
        case OverRange():
            top = least_ohm(value, meter)
            return Level.OFF if top >= circuit.off_at_least_ohm else Level.WEAK
        case Measured():
            return circuit.level(max(estimate(value, meter).ohm, 0.0))


def _agreed(levels: Sequence[Level]) -> Level:
    return levels[0] if len(set(levels)) == 1 else Level.WEAK


def _ohm(value: Value, meter: Meter) -> float | None:
    match value:
        case Mark():
            return None
        case OverRange():
            return float("inf")
        case Measured():
            return max(estimate(value, meter).ohm, 0.0)
