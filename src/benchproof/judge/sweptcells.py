"""The cells of the chart against what a sweep shows as it passes their detents."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from benchproof.family.expectation import Expectation, Kind, Limits
from benchproof.trace.bands import OhmBands
from benchproof.trace.detents import over_detents
from benchproof.trace.settled import SettledRun
from benchproof.trace.sweep import Sweep


class CellResult(StrEnum):
    """What a sweep says of one cell of the chart."""

    PASS = "pass"
    FAIL = "fail"
    MISSING = "missing"


@dataclass(frozen=True)
class SweptCell:
    """One cell as the sweep passes its detent."""

    pair: str
    position: str
    result: CellResult
    expected: str
    found: str


def swept_cells(sweep: Sweep) -> tuple[SweptCell, ...]:
    """Return what a sweep says of each charted cell of the swept pairs, row by row."""
    return tuple(_cells(sweep))


def _cells(sweep: Sweep) -> Iterator[SweptCell]:
    family, detents_deg = sweep.family, sweep.detents_deg
    for pair in sweep.pairs:
        bands = pair.bands
        if bands.row is None:
            continue
        nowhere: tuple[tuple[SettledRun, ...], ...] = ((),) * len(family.positions)
        there = nowhere if detents_deg is None else over_detents(pair.found, detents_deg)
        for position, expectation, runs in zip(
            family.positions, bands.row.expect, there, strict=True
        ):
            wrong = [run for run in runs if not _meets(run, bands, expectation, family.limits)]
            told = [bands.names[run.band] for run in wrong or runs]
            result = CellResult.FAIL if wrong else CellResult.PASS
            if not runs:
                result = CellResult.MISSING
            yield SweptCell(pair.name, position, result, str(expectation), told[0] if told else "")


def _meets(run: SettledRun, bands: OhmBands, expectation: Expectation, limits: Limits) -> bool:
    """Return whether what the pair reads about a detent meets its cell."""
    low, high = expectation.bounds(limits)
    if expectation.kind is Kind.OPEN:
        return run.band == bands.open
    if expectation.kind is Kind.CLOSED:
        return run.worst_ohm <= high
    return low <= run.median_ohm <= high
