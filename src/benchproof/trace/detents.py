"""What a pair shows about each detent, as the sweep passes it."""

from collections.abc import Sequence

from benchproof.family.expectation import Expectation, FamilyLimits, Kind
from benchproof.trace.bands import OhmBands
from benchproof.trace.settledruns import SettledPair, SettledRun


def over_detents(
    found: SettledPair, detents_deg: Sequence[float]
) -> tuple[tuple[SettledRun, ...], ...]:
    """Return the settled runs that each detent lies in: one a pass, none where none went over it.

    Parameters
    ----------
    found : SettledPair
        What was found of one pair.
    detents_deg : sequence of float
        Where the detents lie on the trace's scale, degrees.
    """
    return tuple(
        tuple(run for run in found.settled if run.low_deg <= at <= run.high_deg)
        for at in detents_deg
    )


def meets(run: SettledRun, bands: OhmBands, expectation: Expectation, limits: FamilyLimits) -> bool:
    """Return whether what a pair reads about a detent is what its cell asks for."""
    low, high = expectation.bounds(limits)
    if expectation.kind is Kind.OPEN:
        return run.band == bands.open
    if expectation.kind is Kind.CLOSED:
        return run.worst_ohm <= high
    return low <= run.median_ohm <= high
