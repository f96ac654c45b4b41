"""Many sheets of readings judged one after the other, with a word after each."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchproof.conduct.families import Kept
from benchproof.family.problems import BadFile, TooLarge
from benchproof.judge.sheet import judge_sheet
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
    """

    name: str
    verdict: str
    reasons: tuple[str, ...]


def judge_all(
    kept: Kept, meter: Meter, sheets: Iterable[tuple[str, bytes]]
) -> Iterator[SheetJudged]:
    """Judge sheets of parts of one family.

    Parameters
    ----------
    kept : Kept
        The family.
    meter : Meter
        What all of them were read with.
    sheets : iterable of (name, content)
    """
    for name, content in sheets:
        try:
            readings = read_readings(content, name, kept.family, meter)
            judged = judge_sheet(kept.family, readings, meter)
        except (BadFile, TooLarge) as error:
            yield SheetJudged(name, "unread", tuple(str(error).splitlines()))
            continue
        yield SheetJudged(name, judged.verdict.value, judged.reasons)


def table_of(judged: Iterable[SheetJudged]) -> str:
    """Return what became of sheets as CSV."""
    import csv
    from io import StringIO

    out = StringIO()
    rows = ((one.name, one.verdict, " ".join(one.reasons)) for one in judged)
    csv.writer(out).writerows([("sheet", "verdict", "reasons"), *rows])
    return out.getvalue()
