"""Many sheets of readings examined one after the other, dangers first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchproof.conduct.families import KeptFamily
from benchproof.conduct.front import ground_for
from benchproof.conduct.readapart import read_apart
from benchproof.examine import examine
from benchproof.family.danger import Danger, Signal
from benchproof.family.problems import BadFile, TooLarge
from benchproof.family.safetext import csv_text
from benchproof.reading.meter import Meter
from benchproof.reading.sheet import read_readings


@dataclass(frozen=True)
class SheetJudged:
    """What became of one sheet.

    Attributes
    ----------
    name : str
        The file's name.
    verdict : str
        As `judge.sheet.Verdict` has it; "unread" if the file cannot be read.
    reasons : tuple of str
        Why.
    dangers : tuple of Danger
        What could hurt somebody, worst first.
    decided : str
        What the diagnosis decides; empty if nothing.
    """

    name: str
    verdict: str
    reasons: tuple[str, ...]
    dangers: tuple[Danger, ...] = ()
    decided: str = ""

    @property
    def signal(self) -> str:
        """The signal word of its worst danger; empty if there is none."""
        return self.dangers[0].signal.value if self.dangers else ""


def judge_all(
    kept: KeptFamily, meter: Meter, sheets: Iterable[tuple[str, bytes]]
) -> Iterator[SheetJudged]:
    """Examine sheets of parts of one family, in their order.

    Parameters
    ----------
    kept : KeptFamily
        The family.
    meter : Meter
        What all of them were read with.
    sheets : iterable of (name, content)
    """
    ground = ground_for(kept.family, meter)
    for name, content in sheets:
        try:
            readings = read_apart(read_readings, content, name, kept.family, meter)
            found = examine(ground, readings)
        except (BadFile, TooLarge) as error:
            yield SheetJudged(name, "unread", tuple(str(error).splitlines()))
            continue
        known = found.known
        yield SheetJudged(
            name,
            found.judged.verdict.value,
            found.judged.reasons,
            found.dangers,
            "" if known is None or known.decided is None else known.decided.value,
        )


def dangers_first(judged: Iterable[SheetJudged]) -> list[SheetJudged]:
    """Return sheets with the gravest danger first, otherwise as they came."""
    order = [signal.value for signal in Signal]
    return sorted(judged, key=lambda one: order.index(one.signal) if one.signal else len(order))


def table_of(judged: Iterable[SheetJudged]) -> str:
    """Return what became of sheets as CSV, dangers first."""
    rows = (
        (
            one.name,
            one.signal,
            one.verdict,
            one.decided,
            " ".join([*map(str, one.dangers), *one.reasons]),
        )
        for one in dangers_first(judged)
    )
    return csv_text([("sheet", "danger", "verdict", "decided", "reasons"), *rows])
