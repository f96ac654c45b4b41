"""The one examination of a part that everybody shows: judged, believed, dangers, next, foretold."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.examine.examination import Examination
    from benchproof.examine.ground import Ground
    from benchproof.plan.actions import BenchPlace
    from benchproof.reading.evidence import Evidence
    from benchproof.reading.value import Reading


def examine(
    ground: "Ground", evidence: "Evidence | Iterable[Reading]", at: "BenchPlace | None" = None
) -> "Examination":
    r"""Examine a part: the one answer that everybody shows.

    Parameters
    ----------
    ground : Ground
        The kind of part, what is known beforehand, meter and bench.
    evidence : Evidence or iterable of Reading
        All that was found; or readings alone, in the order in which they were taken.
    at : BenchPlace or None
        Where lever and meter stand now; None for where the last reading was taken.

    Examples
    --------
    A start permit that conducts in D is a danger, whatever else is true of the part.

    >>> from benchproof import ground_for, load_family, load_readings
    >>> from benchproof.examine import examine
    >>> family = load_family("valley-coded-7")
    >>> found = examine(ground_for(family), load_readings(b"pins,D\nG-H,0.2\n", family))
    >>> found.judged.verdict.value, found.dangers[0].signal.value, found.dangers[0].cells
    ('fail', 'DANGER', ('G-H in D',))
    >>> found.next.action
    TakeReading(position='D', pair=('G', 'H'), lean='', again=True)
    """
    # The heavy layers are loaded when the first part is examined.
    from benchproof.examine.belief import Belief
    from benchproof.examine.examination import Examination
    from benchproof.plan.actions import BenchPlace
    from benchproof.reading.evidence import Evidence

    told = evidence if isinstance(evidence, Evidence) else Evidence.of(evidence)
    if at is None:
        read = told.readings
        at = BenchPlace(read[-1].position, read[-1].pair) if read else ground.begins
    return Examination(Belief(ground, told), at)
