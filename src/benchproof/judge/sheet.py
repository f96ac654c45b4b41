"""A sheet of readings against its chart: every cell judged, and one verdict."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from benchproof.family.audit.rules import unusable
from benchproof.family.expectation import Expectation, Kind
from benchproof.family.model import ChartRow, Family, same_pair
from benchproof.family.problems import BadFile, Problem
from benchproof.family.safety import Safety, safety_of
from benchproof.judge.cautions import cautions_of
from benchproof.judge.cell import Cell, Outcome, Result, judge_value
from benchproof.judge.recheck import doubts
from benchproof.judge.whole import WholeSheet
from benchproof.reading.meter import Meter
from benchproof.reading.value import Mark, Reading


class Verdict(StrEnum):
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
    verdict : Verdict
        The whole sheet's verdict.
    reasons : tuple of str
        Why, one sentence each.
    cells : tuple of Cell
        Every cell of the chart, row by row in lever order.
    cautions : tuple of str
        What to mind; what could hurt somebody is told apart (`examine.dangers`).
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    cells: tuple[Cell, ...]
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
    if bad := unusable(family):
        raise BadFile(family.name, [Problem(found.place, found.sentence) for found in bad])
    read: dict[tuple[str, frozenset[str]], list[Reading]] = {}
    for reading in readings:
        # A lean tells of the offset; the chart speaks of the detents.
        if not reading.lean:
            read.setdefault((reading.position, same_pair(reading.pair)), []).append(reading)
    using = _Using(family, safety_of(family), meter, ambient_c)
    cells = [
        _cell(using, row, number, read.get((position, same_pair(row.pair)), []))
        for row in family.chart
        for number, position in enumerate(family.positions)
    ]
    sheet = WholeSheet(family, meter, ambient_c, readings, cells)
    verdict, reasons = _verdict(cells, doubts(sheet))
    return Judgement(verdict, tuple(reasons), tuple(cells), tuple(cautions_of(sheet)))


_WORST_FIRST = (Result.FAIL, Result.UNDECIDED, Result.PASS)


@dataclass(frozen=True)
class _Using:
    """What every cell of a sheet is judged by."""

    family: Family
    safety: Safety
    meter: Meter
    ambient_c: float | None


def _cell(using: _Using, row: ChartRow, number: int, readings: Sequence[Reading]) -> Cell:
    position, charted = using.family.positions[number], row.expect[number]
    expectation = using.safety.expectation(position, row, charted)
    guarded = using.safety.guards(position, row.pair)
    if not readings:
        needed = expectation.kind is not Kind.ANY
        outcome = (
            Outcome(Result.MISSING, "not read")
            if needed
            else Outcome(Result.PASS, "the chart allows anything here")
        )
        return Cell(position, row, expectation, charted, (), outcome)
    outcomes = [
        judge_value(
            expectation, r.value, using.family.limits, using.meter, using.ambient_c, guarded=guarded
        )
        for r in readings
    ]
    if charted.conducts and guarded:
        # Open is what safety asks, but not what the chart says: the chart is to be mended first.
        outcomes = [_against_its_chart(outcome, charted) for outcome in outcomes]
    worst = _of_several(outcomes, readings, guarded=guarded)
    return Cell(position, row, expectation, charted, tuple(readings), worst)


def _of_several(
    outcomes: Sequence[Outcome], readings: Sequence[Reading], *, guarded: bool
) -> Outcome:
    """Return what becomes of a cell that was read more than once: the worst counts.

    A mark that could not decide gives way to a number. A failure that two later readings are
    against may have been a slip, so it leaves the cell undecided; but never where a pair must not
    conduct.
    """
    marked = [isinstance(reading.value, Mark) for reading in readings]
    if not all(marked):
        undecided = [o.result is Result.UNDECIDED for o in outcomes]
        outcomes = [
            o
            for o, mark, open_ in zip(outcomes, marked, undecided, strict=True)
            if not (mark and open_)
        ]
    worst = min(outcomes, key=lambda outcome: _WORST_FIRST.index(outcome.result))
    if len({outcome.result for outcome in outcomes}) == 1:
        return worst
    failed = [n for n, outcome in enumerate(outcomes) if outcome.result is Result.FAIL]
    later = outcomes[failed[-1] + 1 :] if failed else []
    if len(later) >= 2 and not guarded and all(o.result is Result.PASS for o in later):
        return Outcome(
            Result.UNDECIDED,
            f"{len(failed)} of {len(outcomes)} readings is against the chart and the later ones "
            f"are not ({worst.reason}): if it was a slip, withdraw it with its reason",
        )
    return Outcome(worst.result, f"{len(outcomes)} readings disagree; the worst: {worst.reason}")


def _against_its_chart(outcome: Outcome, charted: Expectation) -> Outcome:
    if outcome.result is not Result.PASS:
        return outcome
    return Outcome(
        Result.UNDECIDED,
        f"{outcome.reason}; as the start permit must be in gear, but the chart says {charted}: "
        "mend the chart",
    )


def _verdict(cells: Sequence[Cell], doubted: Sequence[str]) -> tuple[Verdict, list[str]]:
    def named(result: Result) -> list[str]:
        return [cell.name for cell in cells if cell.outcome.result is result]

    failed, missing, open_ = map(named, (Result.FAIL, Result.MISSING, Result.UNDECIDED))
    if doubted:
        return Verdict.RECHECK, list(doubted)
    if failed:
        return Verdict.FAIL, [f"{_count(failed)} against the chart: {_listed(failed)}."]
    if missing:
        return Verdict.INCOMPLETE, [f"{_count(missing)} not read yet: {_listed(missing)}."]
    if open_:
        return Verdict.UNDECIDED, [f"{_count(open_)} undecided: {_listed(open_)}."]
    return Verdict.PASS, [f"all {len(cells)} cells pass."]


def _count(names: Sequence[str]) -> str:
    return f"{len(names)} cell{'' if len(names) == 1 else 's'}"


def _listed(names: Sequence[str], most: int = 12) -> str:
    told = ", ".join(names[:most])
    return told if len(names) <= most else f"{told} and {len(names) - most} more"
