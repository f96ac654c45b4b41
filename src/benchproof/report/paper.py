"""What is printed and in which order: a certificate in words, the same for PDF, HTML and text."""

from collections import Counter
from dataclasses import dataclass

from benchproof.family.sentence import risk_percent
from benchproof.judge.cell import COVERAGE, Result
from benchproof.report.certificate import SIGN, CellShown, Certificate, ShownCell
from benchproof.report.installer import installer_cautions

MOST_NAMED = 8
"""More cells that do not pass, or reasons, than these are left to the chart and the record."""
RESULT_WORD = {
    Result.PASS: "passes",
    Result.FAIL: "fails",
    Result.UNDECIDED: "undecided",
    Result.MISSING: "not read",
}


@dataclass(frozen=True)
class Section:
    """A heading with what stands under it.

    Attributes
    ----------
    heading : str
        In a word or two.
    facts : tuple of (str, str)
        Names and values.
    lines : tuple of str
        Sentences.
    listed : bool
        Whether each sentence stands for itself, as in a list.
    """

    heading: str
    facts: tuple[tuple[str, str], ...] = ()
    lines: tuple[str, ...] = ()
    listed: bool = False


@dataclass(frozen=True)
class Paper:
    """A certificate in words.

    Attributes
    ----------
    title : str
        What this is, with the tag of the proof.
    tested : Section
        What was tested.
    dangers : tuple of str
        What could hurt somebody, the signal word first; before all else.
    sign, word : str
        The verdict, so that it is read from afar without colour.
    verdict : tuple of str
        What it rests on.
    override : tuple of str
        What an override says; empty without one.
    before, after : tuple of Section
        What stands before and after the travel figure.
    record : Section
        Record id, hash and how to check them; the code stands beside it.
    """

    title: str
    tested: Section
    dangers: tuple[str, ...]
    sign: str
    word: str
    verdict: tuple[str, ...]
    override: tuple[str, ...]
    before: tuple[Section, ...]
    after: tuple[Section, ...]
    record: Section


def paper_of(told: Certificate) -> Paper:
    """Return a certificate in words."""
    sign, word = _verdict(told)
    cautions = tuple(installer_cautions(told))
    return Paper(
        title=f"Certificate of electrical proof {told.proof}",
        tested=Section("Tested", facts=_tested(told)),
        dangers=tuple(map(str, told.dangers)),
        sign=sign,
        word=word,
        verdict=(_standing(told), _rule(told)),
        override=_override(told),
        before=(Section("Chart in short", lines=tuple(_charts(told))), *_against(told)),
        after=(
            Section("Cautions for the installer", lines=cautions, listed=True),
            Section("Measured", facts=_measured(told)),
            *([Section("History", lines=told.history, listed=True)] if told.history else []),
            *([Section("Noted", lines=told.remarks, listed=True)] if told.remarks else []),
        ),
        record=_record(told),
    )


def _tested(told: Certificate) -> tuple[tuple[str, str], ...]:
    note = f"{told.family}. {told.family_note}" if told.family_note else told.family
    facts = (
        ("Part", told.part),
        ("Unit", told.unit or "none: not fitted to a unit"),
        *told.fitted,
        ("Family", note),
    )
    return tuple((name, value) for name, value in facts if value)


def _verdict(told: Certificate) -> tuple[str, str]:
    if told.overridden:
        return SIGN[Result.FAIL], "NOT PROVED, ACCEPTED BY OVERRIDE"
    if told.accepted:
        return SIGN[Result.PASS], "ACCEPTED"
    if told.flagged:
        return SIGN[Result.FAIL], "NOT PROVED, ACCEPTED BY OLDER RULES"
    return SIGN[Result.FAIL], f"NOT ACCEPTED: {told.outcome.replace('-', ' ')}"


def _standing(told: Certificate) -> str:
    counted = Counter(cell.left.result for _, cell in told.chart.cells())
    total = sum(counted.values())
    return (
        f"All {total} cells of the chart pass."
        if counted[Result.PASS] == total
        else f"{_counts(counted)}, of {total} cells of the chart."
    )


def _counts(counted: Counter[Result]) -> str:
    words = {Result.PASS: "pass", Result.FAIL: "fail"}
    return ", ".join(
        f"{counted[result]} {words.get(result, RESULT_WORD[result])}"
        for result in Result
        if counted[result]
    )


def _rule(told: Certificate) -> str:
    rule = (
        "Rule: guarded acceptance. A number passes only inside its limits by "
        f"{COVERAGE:g} standard uncertainties (the ± below; JCGM 106:2012, 8.3, number from "
        "memory): at most 2.3 % risk, at each limit, that the true value is outside."
    )
    unstated = "Marks and over-range carry no stated risk."
    if not told.worst_cell:
        return f"{rule} No number passes here. {unstated}"
    return (
        f"{rule} The largest here: {risk_percent(told.worst_risk)} ({told.worst_cell}). {unstated}"
    )


def _override(told: Certificate) -> tuple[str, ...]:
    if not told.overridden:
        return ()
    return (
        f"OVERRIDE by {told.override_by}: {told.override_reason}",
        *_few([f"Overridden: {reason}" for reason in told.reasons], "the record has them"),
    )


def _against(told: Certificate) -> tuple[Section, ...]:
    if told.overridden or not (told.reasons or told.flagged):
        return ()
    lines = _few([*told.flagged, *told.reasons], "the record has them")
    return (Section("Against accepting", lines=tuple(lines), listed=True),)


def _charts(told: Certificate) -> list[str]:
    chart = told.chart
    found = Counter(cell.found.result for _, cell in chart.cells())
    left = Counter(cell.left.result for _, cell in chart.cells())
    lines = (
        [f"As found: {_counts(found)}.", f"As left, after the body was turned: {_counts(left)}."]
        if chart.turned
        else [f"As found and as left, nothing was turned: {_counts(left)}."]
    )
    open_ = [
        f"{SIGN[cell.left.result]} {name} {_not_passing(cell)}"
        for name, cell in chart.cells()
        if cell.left.result is not Result.PASS
    ]
    # What stands against accepting names these cells too.
    return lines if told.reasons else [*lines, *_few(open_, "see the full chart")]


def _few(said: list[str], where: str) -> list[str]:
    more = len(said) - MOST_NAMED
    return said if more <= 0 else [*said[:MOST_NAMED], f"and {more} more: {where}."]


def _not_passing(cell: CellShown) -> str:
    word = RESULT_WORD[cell.left.result]
    if cell.left.result is Result.MISSING:
        return f"{word}; allowed is {cell.allowed}"
    return f"{word}: {cell.left.reason or cell.left.text}"


def _measured(told: Certificate) -> tuple[tuple[str, str], ...]:
    meter = told.meter
    facts = (
        ("Meter", f"{meter.name} ({meter.tag})" if meter.tag else meter.name),
        ("Calls itself", meter.identity),
        ("Calibration", _calibration(told)),
        ("Leads", meter.leads),
        ("Temperature", meter.temperature),
        ("Bench", meter.bench),
        ("Opened", _when(told.opened_at, told.opened_by)),
        ("Closed", _when(told.closed_at, told.closed_by)),
        ("Offset as left", told.alignment.offset),
    )
    return tuple((name, value) for name, value in facts if value)


def _calibration(told: Certificate) -> str:
    meter = told.meter
    done = f"done {meter.calibrated_on}" if meter.calibrated_on else "none noted"
    if not meter.due_on:
        return f"{done}, no due day noted"
    return f"{done}, due {meter.due_on}{': OVERDUE' if told.overdue else ''}"


def _when(at: str, by: str) -> str:
    return f"{at.replace('T', ' ')} by {by or 'nobody named'}"


def _record(told: Certificate) -> Section:
    return Section(
        "Record",
        facts=(
            ("Proof", told.proof),
            ("Event", str(told.seq)),
            ("Hash", grouped(told.hash)),
            *((("Archive", f"{told.head}, signed by bench {told.bench}"),) if told.head else ()),
            ("Drawn by", f"benchproof {told.version}"),
        ),
        lines=(
            f"To check: benchproof verify, then benchproof certificate {told.proof}. The hash is "
            "of the event that closed the proof and covers every event before it: if the record "
            "was changed since, it is no longer the one printed here.",
            *(
                (f"Whether the archive was cut off since: benchproof verify --head {told.head}.",)
                if told.head
                else ()
            ),
        ),
    )


def grouped(hash_: str) -> str:
    """Return a hash in groups that a person can compare.

    Examples
    --------
    >>> grouped("0123456789abcdef")
    '01234567 89abcdef'
    """
    return " ".join(hash_[at : at + 8] for at in range(0, len(hash_), 8))


def shown_text(shown: ShownCell) -> str:
    """Return a reading with its sign, as it stands in the chart."""
    return f"{SIGN[shown.result]} {shown.text or RESULT_WORD[shown.result]}"
