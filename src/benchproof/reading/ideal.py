"""What a meter would show of a healthy part: every cell of the chart, computed."""

from decimal import Decimal

from benchproof.family.model import Family
from benchproof.network.states import at_detents, pair_ohms
from benchproof.reading.meter import Meter
from benchproof.reading.value import Measured, OverRange, Reading, Value


def ideal_readings(family: Family, meter: Meter, offset_deg: float = 0.0) -> tuple[Reading, ...]:
    """Return a reading of every cell, free of noise, of a part out of line by an offset.

    Parameters
    ----------
    family : Family
        A family with branches.
    meter : Meter
        What it is read with.
    offset_deg : float
        The angle by which the moving part leads where it should be, degrees.

    Raises
    ------
    ValueError
        If the family has no branches, or an offset is asked and it has no detent angles.
    """
    if not family.branches:
        raise ValueError(f"family {family.name} has no branches to compute readings from")
    pairs = [row.pair for row in family.chart]
    ohms = pair_ohms(family, pairs, at_detents(family, offset_deg))
    return tuple(
        Reading(position, pair, shown(float(ohms[i, j]), meter))
        for i, position in enumerate(family.positions)
        for j, pair in enumerate(pairs)
    )


def shown(ohm: float, meter: Meter) -> Value:
    """Return what a meter's display makes of a resistance, ohms.

    Examples
    --------
    >>> from benchproof.reading.meter import Meter, Range
    >>> shown(270.04, Meter("invented", (Range(400.0, 0.1, 1.0, 3.0),)))
    Measured(ohm=270.0, step_ohm=0.1)
    """
    with_leads = ohm + (0.0 if meter.leads.nulled else meter.leads.ohm)
    if with_leads > meter.top_ohm:
        return OverRange()
    step_ohm = meter.range_for(with_leads).step_ohm
    step = Decimal(repr(step_ohm))
    count = (Decimal(with_leads) / step).to_integral_value()
    return Measured(float(count * step), step_ohm)
