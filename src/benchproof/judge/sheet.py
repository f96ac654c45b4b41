"""A sheet of readings against its chart: every cell judged, what to doubt, one verdict, cautions.

Signs that the readings are not of this chart, and cautions, are tables of conditions and their
sentences. What of the part itself could hurt somebody is a danger (`examine.dangers`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from benchproof.family.audit.contradiction import Bounds, contradictions_among
from benchproof.family.audit.rules import unusable
from benchproof.family.expectation import Expectation, Kind
from benchproof.family.model import AT_REST, Family, pair_text, same_pair
from benchproof.family.problems import BadFile, Problem
from benchproof.family.remembered import once_a_family
from benchproof.family.safety import safety_of
from benchproof.family.sentence import Sentence, said
from benchproof.judge.cell import (
    ALLOWS_ANYTHING,
    CellCriteria,
    CellOutcome,
    JudgedCell,
    Result,
    asked_for,
    judged,
)
from benchproof.network.temperature import ROOM_C
from benchproof.reading.meter import Meter, estimate, least_ohm
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value, format_value
from benchproof.reading.warmth import growth_of, untold_at


class SheetVerdict(StrEnum):
    """What a sheet of readings says of the part, in the order in which it is decided."""

    RECHECK = "recheck"
    """The readings cannot be of this chart."""
    FAIL = "fail"
    """At least one cell fails."""
    INCOMPLETE = "incomplete"
    """No cell fails, but some were not read."""
    UNDECIDED = "undecided"
    """Every cell was read and none fails, but for some the meter cannot say."""
    PASS = "pass"
    """Every cell of the chart passes."""


@dataclass(frozen=True)
class Judgement:
    """What became of a sheet.

    Attributes
    ----------
    verdict : SheetVerdict
        The whole sheet's verdict.
    reasons : tuple of str
        Why, one sentence each.
    cells : tuple of JudgedCell
        Every cell of the chart, row by row in lever order.
    cautions : tuple of str
        What to mind; what could hurt somebody is told apart (`examine.dangers`).
    """

    verdict: SheetVerdict
    reasons: tuple[str, ...]
    cells: tuple[JudgedCell, ...]
    cautions: tuple[str, ...]


def judge_sheet(
    family: Family, readings: Sequence[Reading], meter: Meter, ambient_c: float | None = None
) -> Judgement:
    """Judge a sheet of readings.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    readings : sequence of Reading
        In any order; a cell may be read more than once.
    meter : Meter
        What they were read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.

    Raises
    ------
    BadFile
        If the chart has a mistake with which nothing can be judged against it.
    """
    return chart_of(family).judged(readings, meter, ambient_c)


@dataclass(frozen=True)
class ChartCriteria:
    """What a family's chart asks for, made once for all sheets.

    Attributes
    ----------
    family : Family
        The family.
    cells : tuple of JudgedCell
        Every cell as it is while nothing was read, row by row in lever order.
    asked : tuple of CellCriteria
        What each is judged by.
    pairs : frozenset of pins
        The charted pairs.
    """

    family: Family
    cells: tuple[JudgedCell, ...]
    asked: tuple[CellCriteria, ...]
    pairs: frozenset[frozenset[str]]

    def judged(
        self, readings: Sequence[Reading], meter: Meter, ambient_c: float | None = None
    ) -> Judgement:
        """Judge a sheet of readings; see `judge_sheet`."""
        read: dict[tuple[str, frozenset[str]], list[Reading]] = {}
        for reading in readings:
            # A lean tells of the offset; the chart speaks of the detents.
            if not reading.lean:
                read.setdefault((reading.position, same_pair(reading.pair)), []).append(reading)
        cells = [
            _cell(cell, asked, tuple(read[cell.place]), self, (meter, ambient_c))
            if cell.place in read
            else cell
            for cell, asked in zip(self.cells, self.asked, strict=True)
        ]
        sheet = WholeSheet(self, meter, ambient_c, readings, cells)
        verdict, reasons = _verdict(cells, said(_DOUBTS, sheet))
        return Judgement(verdict, tuple(reasons), tuple(cells), tuple(said(_CAUTIONS, sheet)))


@once_a_family
def chart_of(family: Family) -> ChartCriteria:
    """Return what a family's chart asks for.

    Raises
    ------
    BadFile
        If the chart has a mistake with which nothing can be judged against it.
    """
    if bad := unusable(family):
        raise BadFile(family.name, [Problem(found.place, found.sentence) for found in bad])
    safety, cells, asked = safety_of(family), [], []
    for row in family.chart:
        for position, charted in zip(family.positions, row.expect, strict=True):
            expectation = safety.expectation(position, row, charted)
            guarded = safety.guards(position, row.pair)
            needed = expectation.kind is not Kind.ANY
            outcome = (
                CellOutcome(Result.MISSING, "not read")
                if needed
                else CellOutcome(Result.PASS, ALLOWS_ANYTHING)
            )
            cells.append(JudgedCell(position, row, expectation, charted, (), outcome, guarded))
            asked.append(asked_for(expectation, family.limits, guarded=guarded))
    pairs = frozenset(same_pair(row.pair) for row in family.chart)
    return ChartCriteria(family, tuple(cells), tuple(asked), pairs)


@dataclass(frozen=True)
class WholeSheet:
    """All that conditions look at: a chart, its judged cells and every reading, charted or not.

    `ambient_c` is the temperature at the meter, degrees Celsius, None for within its calm span.
    """

    chart: ChartCriteria
    meter: Meter
    ambient_c: float | None
    readings: Sequence[Reading]
    cells: Sequence[JudgedCell]


_WORST_FIRST = (Result.FAIL, Result.UNDECIDED, Result.PASS)


def _cell(
    cell: JudgedCell,
    asked: CellCriteria,
    readings: tuple[Reading, ...],
    chart: ChartCriteria,
    used: tuple[Meter, float | None],
) -> JudgedCell:
    """Return a cell with its readings, taken with a meter at a temperature of its own, judged."""
    outcomes = [judged(asked, one.value, *used, growth_of(one, chart.family)) for one in readings]
    if cell.charted.conducts and cell.guarded:
        # Open is what safety asks, but not what the chart says: the chart is to be mended first.
        outcomes = [_against_its_chart(outcome, cell.charted) for outcome in outcomes]
    whole, deciding = _of_several(outcomes, readings, guarded=cell.guarded)
    return JudgedCell(
        cell.position, cell.row, cell.expectation, cell.charted, readings, whole,
        cell.guarded, tuple(outcomes), deciding,
    )  # fmt: skip


def _of_several(
    outcomes: Sequence[CellOutcome], readings: Sequence[Reading], *, guarded: bool
) -> tuple[CellOutcome, int]:
    """Return what becomes of a cell that was read more than once, and which reading decides it.

    The worst counts, of equals the first.

    A mark that could not decide gives way to a number. A failure that two later readings are
    against may have been a slip, so it leaves the cell undecided; but never where a pair must not
    conduct.
    """
    counting = list(range(len(outcomes)))
    marked = [isinstance(reading.value, Mark) for reading in readings]
    if not all(marked):
        counting = [
            n for n in counting if not (marked[n] and outcomes[n].result is Result.UNDECIDED)
        ]
    deciding = min(counting, key=lambda n: _WORST_FIRST.index(outcomes[n].result))
    worst = outcomes[deciding]
    if len({outcomes[n].result for n in counting}) == 1:
        return worst, deciding
    failed = [n for n in counting if outcomes[n].result is Result.FAIL]
    later = [outcomes[n] for n in counting if n > failed[-1]] if failed else []
    if len(later) >= 2 and not guarded and all(o.result is Result.PASS for o in later):
        doubtful = CellOutcome(
            Result.UNDECIDED,
            f"{len(failed)} of {len(counting)} readings is against the chart and the later ones "
            f"are not ({worst.reason}): if it was a slip, withdraw it with its reason",
        )
        return doubtful, deciding
    disagree = CellOutcome(
        worst.result, f"{len(counting)} readings disagree; the worst: {worst.reason}"
    )
    return disagree, deciding


def _against_its_chart(outcome: CellOutcome, charted: Expectation) -> CellOutcome:
    if outcome.result is not Result.PASS:
        return outcome
    return CellOutcome(
        Result.UNDECIDED,
        f"{outcome.reason}; as the start permit must be in gear, but the chart says {charted}: "
        "mend the chart",
    )


def _verdict(cells: Sequence[JudgedCell], doubted: Sequence[str]) -> tuple[SheetVerdict, list[str]]:
    def named(result: Result) -> list[str]:
        return [cell.name for cell in cells if cell.outcome.result is result]

    failed, missing, open_ = map(named, (Result.FAIL, Result.MISSING, Result.UNDECIDED))
    if doubted:
        return SheetVerdict.RECHECK, list(doubted)
    if failed:
        return SheetVerdict.FAIL, [f"{_count(failed)} against the chart: {_listed(failed)}."]
    if missing:
        return SheetVerdict.INCOMPLETE, [f"{_count(missing)} not read yet: {_listed(missing)}."]
    if open_:
        return SheetVerdict.UNDECIDED, [f"{_count(open_)} undecided: {_listed(open_)}."]
    return SheetVerdict.PASS, [f"all {len(cells)} cells pass."]


def _count(names: Sequence[str]) -> str:
    return f"{len(names)} cell{'' if len(names) == 1 else 's'}"


def _listed(names: Sequence[str], most: int = 12) -> str:
    told = ", ".join(names[:most])
    return told if len(names) <= most else f"{told} and {len(names) - most} more"


SURE = 3.0
"""Readings contradict each other only beyond this many standard uncertainties each."""
FEW = 4
"""Fewer cells than this say nothing of the whole sheet."""


def _impossible(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    """Yield readings of one position that no network of any kind could give together."""
    here: dict[str, dict[frozenset[str], Reading]] = {}
    for reading in sheet.readings:
        if not reading.lean:
            # Of repeated readings the last is the one the person stood by.
            here.setdefault(reading.position, {})[same_pair(reading.pair)] = reading
    for position in sheet.chart.family.positions:
        readings = list(here.get(position, {}).values())
        pairs = tuple(r.pair for r in readings)
        bounds = tuple(_bounds(r, sheet) for r in readings)
        for found in contradictions_among(pairs, bounds):
            way = " and ".join(_told(readings[n]) for n in found.way)
            one = _told(readings[found.row])
            yield {"one": one if position == AT_REST else f"in {position}, {one}", "way": way}


def _told(reading: Reading) -> str:
    return f"{pair_text(reading.pair)} {format_value(reading.value)}"


def _bounds(reading: Reading, sheet: WholeSheet) -> Bounds:
    limits = sheet.chart.family.limits
    growth = growth_of(reading, sheet.chart.family)
    match value := reading.value:
        case Mark.CLOSED:
            return 0.0, limits.closed_at_most_ohm
        case Mark.OPEN:
            return limits.open_at_least_ohm, float("inf")
        case OverRange():
            return least_ohm(value, sheet.meter, growth), float("inf")
        case Measured():
            found = estimate(value, sheet.meter, sheet.ambient_c, growth)
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


def _read_cells(sheet: WholeSheet) -> list[JudgedCell]:
    return [c for c in sheet.cells if c.readings and c.expectation.kind is not Kind.ANY]


def _all_alike(sheet: WholeSheet, conducting: bool) -> Iterator[dict[str, str]]:
    """Yield once if every reading conducts, or none does, and the chart wants otherwise."""
    cells = _read_cells(sheet)
    alike = all(
        _conducts(r.value, sheet.chart.family) is conducting for c in cells for r in c.readings
    )
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
        lever = sheet.chart.family.lever
        order = (
            ", the pins' order and the count of the lever positions"
            if lever
            else " and the pins' order"
        )
        yield {"failed": str(failed), "read": str(len(cells)), "order": order}


_DOUBTS = (
    Sentence(
        "{one} cannot be together with {way}: a probe slipped or a row was mixed "
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
        "{failed} of {read} cells are against the chart: check that it is this part's "
        "chart{order}.",
        _most_fail,
    ),
)


def _not_charted(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    charted = sheet.chart.pairs
    pairs = dict.fromkeys(
        pair_text(r.pair) for r in sheet.readings if same_pair(r.pair) not in charted
    )
    if pairs:
        yield {"pairs": ", ".join(pairs)}


UNTOLD_TEMPERATURE = (
    "The part's temperature is not told for {pairs}: it was taken to be anywhere from {low} to "
    "{high} °C, so ohms near a limit stay undecided. Let the part lie until it is as warm as the "
    "room, and tell its temperature."
)


def of_untold_temperature(readings: Sequence[Reading], family: Family) -> Iterator[dict[str, str]]:
    """Yield once if ohms were read that depend on the part's temperature, and it was not told.

    It yields what `UNTOLD_TEMPERATURE` says it with.
    """
    if pairs := dict.fromkeys(pair_text(one.pair) for one in untold_at(readings, family)):
        low, high = ROOM_C
        yield {"pairs": _listed([*pairs]), "low": f"{low:g}", "high": f"{high:g}"}


def _untold_temperature(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    return of_untold_temperature(sheet.readings, sheet.chart.family)


def _always(_: WholeSheet) -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS = (
    Sentence(
        "{pairs} not in the chart: read, but not judged.",
        _not_charted,
    ),
    Sentence(UNTOLD_TEMPERATURE, _untold_temperature),
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
