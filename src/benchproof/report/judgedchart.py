"""A judged chart as a certificate shows it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf, log10

from benchproof.family.expectation import Expectation, FamilyLimits, Kind
from benchproof.family.model import Family, pair_text
from benchproof.family.ohms import format_ohms
from benchproof.family.safety import Safety
from benchproof.judge.cell import (
    COVERAGE,
    AllowedRange,
    JudgedCell,
    Result,
    nonconformance,
)
from benchproof.network.temperature import Growth
from benchproof.proof.taking import text_of
from benchproof.reading.meter import Meter, estimate, least_ohm
from benchproof.reading.value import Mark, Measured, OverRange, Value
from benchproof.reading.warmth import growth_of
from benchproof.report.certificate import CellShown, ChartShown, Hazards, RowShown, ShownCell

OHM = "\N{GREEK CAPITAL LETTER OMEGA}"
_UNITS = ((1e9, f"G{OHM}"), (1e6, f"M{OHM}"), (1e3, f"k{OHM}"), (1.0, OHM))


@dataclass(frozen=True)
class With:
    """What readings were taken with: the meter, and the temperature at it, degrees Celsius."""

    meter: Meter
    ambient_c: float | None = None


def chart_shown(
    family: Family,
    found: Sequence[JudgedCell],
    left: Sequence[JudgedCell],
    turned: bool,
    with_found: With,
    with_left: With,
) -> ChartShown:
    """Return a chart as found and as left.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    found, left : sequence of JudgedCell
        Every cell of the chart, row by row in lever order.
    turned : bool
        Whether the body was turned between them.
    with_found, with_left : With
        What each was read with.
    """
    across = len(family.positions)
    shown = [
        CellShown(
            allowed_text(one.expectation, family.limits),
            _shown(one, family, with_found),
            _shown(other, family, with_left),
        )
        for one, other in zip(found, left, strict=True)
    ]
    rows = tuple(
        RowShown(
            pair_text(row.pair),
            row.role.shown,
            tuple(shown[number * across : (number + 1) * across]),
        )
        for number, row in enumerate(family.chart)
    )
    return ChartShown(family.positions, rows, turned)


def worst_risk(family: Family, left: Sequence[JudgedCell], read: With) -> tuple[float, str]:
    """Return the largest risk that a number that passes is outside its limits, and its cell.

    Returns
    -------
    tuple of (float, str)
        The name of the cell is empty if no number passes.
    """
    risks = [
        (
            _risk(reading.value, cell.expectation, family, read, growth_of(reading, family)),
            cell.name,
        )
        for cell in left
        if cell.outcome.result is Result.PASS and cell.expectation.kind is not Kind.ANY
        for reading in cell.readings
        if isinstance(reading.value, Measured)
    ]
    return max(risks, key=lambda found: found[0], default=(0.0, ""))


def _risk(
    value: Measured, expectation: Expectation, family: Family, read: With, growth: Growth | None
) -> float:
    low, high = expectation.bounds(family.limits)
    found = estimate(value, read.meter, read.ambient_c, growth)
    # As it was judged: nothing reads below zero.
    return nonconformance(found.ohm, found.u_ohm, AllowedRange(-inf if low <= 0.0 else low, high))


def hazards_of(safety: Safety, left: Sequence[JudgedCell]) -> Hazards:
    """Return the circuits of a part that can hurt someone.

    Notes
    -----
    A start permit cell that was not read is not proved open either.
    """
    return Hazards(
        tuple(
            cell.name for cell in left if cell.guarded and cell.outcome.result is not Result.PASS
        ),
        tuple(map(pair_text, safety.permits)),
        tuple(map(pair_text, safety.lamps)),
    )


def allowed_text(expectation: Expectation, limits: FamilyLimits) -> str:
    """Return what a cell allows, short.

    Examples
    --------
    >>> from benchproof.family.expectation import parse_expectation
    >>> allowed_text(parse_expectation("closed"), FamilyLimits())
    '≤ 2 Ω'
    >>> allowed_text(parse_expectation("3.3 kohm 3.1..3.5"), FamilyLimits())
    '3.1–3.5 kΩ'
    """
    low, high = expectation.bounds(limits)
    match expectation.kind:
        case Kind.ANY:
            return "any"
        case Kind.CLOSED:
            return f"≤ {_short(high)}"
        case Kind.OPEN:
            return f"≥ {_short(low)}"
        case Kind.OHMS:
            one, other = _short(low), _short(high)
            unit = other.rpartition(" ")[2]
            return f"{one.removesuffix(f' {unit}')}–{other}"


def _short(ohm: float) -> str:
    return format_ohms(ohm).replace("ohm", OHM)


def _shown(cell: JudgedCell, family: Family, read: With) -> ShownCell:
    if cell.decided_by is None:
        return ShownCell(cell.outcome.result, "", cell.outcome.reason)
    times = f" ×{len(cell.readings)}" if len(cell.readings) > 1 else ""
    decided = cell.decided_by
    text = f"{value_text(decided.value, read, growth_of(decided, family))}{times}"
    return ShownCell(cell.outcome.result, text, cell.outcome.reason)


def value_text(value: Value, read: With, growth: Growth | None = None) -> str:
    """Return a reading as the chart shows it, a number with two standard uncertainties.

    With a growth it is as at 20 degrees Celsius, as the chart is.
    """
    match value:
        case Mark():
            return value.value
        case OverRange():
            return f">{_short(least_ohm(value, read.meter))}"
        case Measured():
            found = estimate(value, read.meter, read.ambient_c, growth)
            return ohms_text(max(found.ohm, 0.0), COVERAGE * found.u_ohm)


def as_read(value: Value, read: With) -> str:
    """Return a reading with no more digits than the meter's range shows.

    An instrument may send ten digits of which its specification vouches for three.

    Examples
    --------
    >>> from benchproof.reading.meter import Leads, Range
    >>> handheld = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0),), Leads())
    >>> as_read(Measured(0.1, 1e-9), With(handheld)), as_read(Measured(0.3, 0.1), With(handheld))
    ('0.1 ohm', '0.3 ohm')
    """
    if isinstance(value, Measured):
        step_ohm = read.meter.range_for(value.ohm).step_ohm
        if value.step_ohm < step_ohm:
            return f"{value.ohm:.{max(0, -floor(log10(step_ohm)))}f} ohm"
    return text_of(value)


def ohms_text(ohm: float, within_ohm: float) -> str:
    """Return a resistance with how far it may be off, both in one unit and to one decimal place.

    Parameters
    ----------
    ohm, within_ohm : float
        Ohms, zero or above; `within_ohm` is told to two digits.

    Examples
    --------
    >>> ohms_text(0.2, 0.361), ohms_text(3312.0, 41.0), ohms_text(391.0, 6.94)
    ('0.20 ± 0.36 Ω', '3.312 ± 0.041 kΩ', '391.0 ± 6.9 Ω')
    """
    factor, unit = next((f, u) for f, u in _UNITS if max(ohm, within_ohm) >= f or f == 1.0)
    within = within_ohm / factor
    places = max(0, 1 - floor(log10(within))) if within > 0.0 else 2
    return f"{ohm / factor:.{places}f} ± {within:.{places}f} {unit}"
