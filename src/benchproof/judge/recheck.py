"""Signs that the readings are not of this chart: a table of conditions and their sentences."""

from collections.abc import Iterator

from benchproof.family.audit.contradiction import Bounds, contradictions_among
from benchproof.family.expectation import Kind
from benchproof.family.model import Family, pair_text, same_pair
from benchproof.family.sentence import Sentence, said
from benchproof.judge.cell import Cell, Result
from benchproof.judge.whole import WholeSheet
from benchproof.reading.uncertainty import estimate
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value, format_value

SURE = 3.0
"""Readings contradict each other only beyond this many standard uncertainties each."""
FEW = 4
"""Fewer cells than this say nothing of the whole sheet."""


def _impossible(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    """Yield readings of one position that no network of any kind could give together."""
    for position in sheet.family.positions:
        # Of repeated readings the last is the one the person stood by.
        here = [r for r in sheet.readings if r.position == position and not r.lean]
        last = {same_pair(r.pair): r for r in here}
        readings = list(last.values())
        pairs = tuple(r.pair for r in readings)
        bounds = tuple(_bounds(r.value, sheet) for r in readings)
        for found in contradictions_among(pairs, bounds):
            way = " and ".join(_told(readings[n]) for n in found.way)
            yield {"position": position, "one": _told(readings[found.row]), "way": way}


def _told(reading: Reading) -> str:
    return f"{pair_text(reading.pair)} {format_value(reading.value)}"


def _bounds(value: Value, sheet: WholeSheet) -> Bounds:
    limits, meter = sheet.family.limits, sheet.meter
    match value:
        case Mark.CLOSED:
            return 0.0, limits.closed_at_most_ohm
        case Mark.OPEN:
            return limits.open_at_least_ohm, float("inf")
        case OverRange():
            return meter.over_range_ohm if value.top_ohm is None else value.top_ohm, float("inf")
        case Measured():
            found = estimate(value, meter, sheet.ambient_c)
            spread = SURE * found.u_ohm
            return max(found.ohm - spread, 0.0), max(found.ohm + spread, 0.0)


def _conducts(value: Value, family: Family) -> bool:
    match value:
        case Mark():
            return value is Mark.CLOSED
        case OverRange():
            return False
        case Measured():
            return value.ohm < family.limits.open_at_least_ohm


def _read_cells(sheet: WholeSheet) -> list[Cell]:
    return [c for c in sheet.cells if c.readings and c.expectation.kind is not Kind.ANY]


def _all_alike(sheet: WholeSheet, conducting: bool) -> Iterator[dict[str, str]]:
    """Yield once if every reading conducts, or none does, and the chart wants otherwise."""
    cells = _read_cells(sheet)
    alike = all(_conducts(r.value, sheet.family) is conducting for c in cells for r in c.readings)
    against = sum(c.expectation.conducts is not conducting for c in cells)
    if alike and len(cells) >= FEW and against >= 2:
        yield {"against": str(against)}


def _nothing_conducts(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    return _all_alike(sheet, conducting=False)


def _everything_conducts(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    return _all_alike(sheet, conducting=True)


def _most_fail(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    """Yield once if more cells are against the chart than with it."""
    cells = _read_cells(sheet)
    failed = sum(c.outcome.result is Result.FAIL for c in cells)
    if len(cells) >= FEW and failed > len(cells) / 2:
        yield {"failed": str(failed), "read": str(len(cells))}


_DOUBTS = (
    Sentence(
        "in {position}, {one} cannot be together with {way}: a probe slipped or a row was mixed "
        "up; read these again.",
        _impossible,
    ),
    Sentence(
        "nothing conducts, though {against} cells should: check the connector, the common pin and "
        "the meter before the part.",
        _nothing_conducts,
    ),
    Sentence(
        "everything conducts, though {against} cells should be open: check that the leads do not "
        "touch and that the connector is dry and clean.",
        _everything_conducts,
    ),
    Sentence(
        "{failed} of {read} cells are against the chart: check that it is this part's chart, the "
        "pins' order and the count of the lever positions.",
        _most_fail,
    ),
)


def doubts(sheet: WholeSheet) -> list[str]:
    """Return a sentence for each sign that the readings cannot be of this chart."""
    return said(_DOUBTS, sheet)
