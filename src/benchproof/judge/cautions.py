"""Cautions that go with a judged sheet: a table of conditions and their sentences."""

from collections.abc import Iterator

from benchproof.family.model import Role, same_pair
from benchproof.family.sentence import Sentence, said
from benchproof.judge.cell import Result
from benchproof.judge.whole import WholeSheet
from benchproof.reading.value import format_value


def _start_in_gear(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    """Yield each start permit not proved open where the starter must not turn."""
    allowed = sheet.family.park + sheet.family.neutral
    for cell in sheet.cells:
        failed = cell.outcome.result in (Result.FAIL, Result.UNDECIDED)
        outside = not cell.expectation.conducts and cell.position not in allowed
        if cell.row.role is Role.START_PERMIT and failed and outside:
            yield {"cell": cell.name, "reading": format_value(cell.readings[-1].value)}


def _reverse_lamp(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    for cell in sheet.cells:
        if cell.row.role is Role.REVERSE_LAMP and cell.outcome.result is Result.FAIL:
            yield {"cell": cell.name, "reading": format_value(cell.readings[-1].value)}


def _not_charted(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    charted = {same_pair(row.pair) for row in sheet.family.chart}
    pairs = dict.fromkeys(
        f"{r.pair[0]}-{r.pair[1]}" for r in sheet.readings if same_pair(r.pair) not in charted
    )
    if pairs:
        yield {"pairs": ", ".join(pairs)}


def _always(_: WholeSheet) -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS = (
    Sentence(
        "DANGER: start permit {cell} reads {reading}: the engine could be cranked in gear and the "
        "vehicle move (49 CFR 571.102 S3.1.3; local rules govern). Do not fit this part as it is.",
        _start_in_gear,
    ),
    Sentence(
        "Reverse lamp {cell} reads {reading}: those behind the vehicle would be misled (49 CFR "
        "571.108; local rules govern).",
        _reverse_lamp,
    ),
    Sentence(
        "{pairs} not in the chart: read, but not judged.",
        _not_charted,
    ),
    Sentence(
        "Measure only with the part unplugged from the vehicle and de-energised: an ohmmeter on a "
        "live circuit can hurt you and the meter.",
        _always,
    ),
    Sentence(
        "The maker's service information, local rules and licensed practice come before this "
        "program.",
        _always,
    ),
)


def cautions_of(sheet: WholeSheet) -> list[str]:
    """Return the cautions of a judged sheet, hazards first."""
    return said(_CAUTIONS, sheet)
