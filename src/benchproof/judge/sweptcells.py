"""The cells of the chart against what a sweep shows as it passes their detents."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from benchproof.trace.detents import meets, over_detents
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
        there = () if detents_deg is None else over_detents(pair.found, detents_deg)
        for p, (position, expectation) in enumerate(
            zip(family.positions, bands.row.expect, strict=True)
        ):
            runs = there[p] if there else ()
            wrong = [run for run in runs if not meets(run, bands, expectation, family.limits)]
            told = [bands.names[run.band] for run in wrong or runs]
            result = CellResult.FAIL if wrong else CellResult.PASS
            if not runs:
                result = CellResult.MISSING
            yield SweptCell(pair.name, position, result, str(expectation), told[0] if told else "")
