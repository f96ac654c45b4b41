"""What is printed and in which order: a certificate in words, the same for PDF, HTML and text.

It has what the report of a testing laboratory must have (ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6),
and says that it is no such report.
"""

from collections import Counter
from dataclasses import dataclass

from benchproof.family.danger import Danger, cited
from benchproof.family.sentence import risk_percent
from benchproof.judge.cell import COVERAGE, Result
from benchproof.report.against import against_lines
from benchproof.report.certificate import SIGN, CellShown, Certificate, ShownCell
from benchproof.report.installer import installer_cautions
from benchproof.report.language import ENGLISH, Language, language

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
    shop : tuple of str
        The shop's name and address; empty where it told none.
    tested : Section
        What was tested, for whom.
    dangers : tuple of str
        What could hurt somebody, the signal word first; before all else.
    sign, word : str
        The verdict, so that it is read from afar without color.
    verdict : tuple of str
        What it rests on.
    override : tuple of str
        What an override says; empty without one.
    before, after : tuple of Section
        What stands before and after the travel figure, on the first page.
    signature : tuple of (str, str)
        What is to be signed, and by whom.
    details : tuple of Section
        How it was measured, what it does not show, history: from the second page.
    record : Section
        Record id, hash and how to check them; the code stands beside it.
    foot, page : str
        What identifies every page, and how its number is told, with ``{page}`` and ``{pages}``.
    end : str
        What marks the end.
    """

    title: str
    shop: tuple[str, ...]
    tested: Section
    dangers: tuple[str, ...]
    sign: str
    word: str
    verdict: tuple[str, ...]
    override: tuple[str, ...]
    before: tuple[Section, ...]
    after: tuple[Section, ...]
    signature: tuple[tuple[str, str], ...]
    details: tuple[Section, ...]
    record: Section
    foot: str
    page: str
    end: str


def paper_of(told: Certificate) -> Paper:
    """Return a certificate in words, in the language of its shop."""
    words = language(told.letterhead.language)
    say = words.say
    sign, word = _verdict(told, words)
    cautions = tuple(installer_cautions(told))
    history = tuple(map(words.tell, told.history))
    remarks = tuple(map(words.tell, told.remarks))
    return Paper(
        title=say("Certificate of electrical proof {proof}", proof=told.proof),
        shop=tuple(filter(None, (told.letterhead.name, *told.letterhead.lines))),
        tested=Section(say("Tested"), facts=_tested(told, words)),
        dangers=tuple(_danger(danger, told.machine, words) for danger in told.dangers),
        sign=sign,
        word=word,
        verdict=(_standing(told, words), _rule(told, words)),
        override=_override(told, words),
        before=(
            Section(say("Chart in short"), lines=tuple(_charts(told, words))),
            *_against(told, words),
            *_likely(told, words),
        ),
        after=(Section(say("Cautions for the installer"), lines=cautions, listed=True),),
        signature=_signature(told, words),
        details=(
            Section(say("How it was tested"), facts=_method(told, words)),
            Section(say("Measured"), facts=_measured(told, words)),
            Section(
                say("What this does not show"),
                lines=_limits(words, lever=told.chart.lever),
                listed=True,
            ),
            *([Section(say("History"), lines=history, listed=True)] if history else []),
            *([Section(say("Noted"), lines=remarks, listed=True)] if remarks else []),
        ),
        record=_record(told, words),
        foot=say("Certificate no. {proof} · part {part}", proof=told.proof, part=told.part),
        page=say("page {page} of {pages}"),
        end=say("End of certificate no. {proof}", proof=told.proof),
    )


def _danger(danger: Danger, machine: str, words: Language) -> str:
    said = (cited(danger.sentence, machine), danger.check_first)
    return f"{words.say(danger.signal)}: {' '.join(words.tell(one) for one in said if one)}"


def _tested(told: Certificate, words: Language) -> tuple[tuple[str, str], ...]:
    say, item = words.say, told.item
    note = f"{told.family}. {words.tell(told.family_note)}" if told.family_note else told.family
    odometer = item.odometer_km
    facts = (
        ("Tested by, and where", _shop(told, words)),
        ("Customer", ", ".join(filter(None, (item.customer, item.contact))) or say("not noted")),
        ("Part", told.part),
        ("Unit", told.unit or say("none: not fitted to a unit")),
        ("Serial number of the unit", item.serial or (say("not noted") if told.unit else "")),
        ("Odometer", "" if odometer is None else told.letterhead.travelled(odometer)),
        *told.fitted,
        ("Family", note),
        ("Condition", _condition(told, words)),
        ("Received", item.received_on or say("not noted")),
        ("Tested", _days(told)),
        ("Issued", told.issued_on or say("not noted")),
    )
    return tuple((words.tell(name), words.tell(value)) for name, value in facts if value)


def _shop(told: Certificate, words: Language) -> str:
    lines = (told.letterhead.name, *told.letterhead.lines)
    return ", ".join(filter(None, lines)) or words.say("not named")


def _condition(told: Certificate, words: Language) -> str:
    if not told.method.inspected:
        return words.say("none noted")
    return words.say("{count} points seen by eye, under History", count=str(told.method.inspected))


def _days(told: Certificate) -> str:
    first, last = told.opened_at[:10], told.closed_on
    return first if first == last else f"{first} – {last}"


def _verdict(told: Certificate, words: Language) -> tuple[str, str]:
    say = words.say
    if told.overridden:
        return SIGN[Result.FAIL], say("NOT PROVED, ACCEPTED BY OVERRIDE")
    if told.accepted:
        return SIGN[Result.PASS], say("ACCEPTED")
    if told.flagged:
        return SIGN[Result.FAIL], say("NOT PROVED, ACCEPTED BY OLDER RULES")
    outcome = words.tell(told.outcome.replace("-", " "))
    return SIGN[Result.FAIL], say("NOT ACCEPTED: {outcome}", outcome=outcome)


def _standing(told: Certificate, words: Language) -> str:
    counted = Counter(cell.left.result for _, cell in told.chart.cells())
    total = str(sum(counted.values()))
    if counted[Result.PASS] == sum(counted.values()):
        return words.say("All {total} cells of the chart pass.", total=total)
    counts = _counts(counted, words)
    return words.say("{counts}, of {total} cells of the chart.", counts=counts, total=total)


def _counts(counted: Counter[Result], words: Language) -> str:
    say = words.say
    each = {
        Result.PASS: say("{count} pass", count=str(counted[Result.PASS])),
        Result.FAIL: say("{count} fail", count=str(counted[Result.FAIL])),
        Result.UNDECIDED: say("{count} undecided", count=str(counted[Result.UNDECIDED])),
        Result.MISSING: say("{count} not read", count=str(counted[Result.MISSING])),
    }
    return ", ".join(each[result] for result in Result if counted[result])


def _rule(told: Certificate, words: Language) -> str:
    say = words.say
    rule = say(
        "Rule: guarded acceptance (JCGM 106:2012; ILAC-G8:09/2019, 4.2.2). A number passes only "
        "inside its limits by {coverage} standard uncertainties (the ± of the chart): at most "
        "2.3 % risk, at each limit, that the true value is outside.",
        coverage=f"{COVERAGE:g}",
    )
    unstated = say("Marks and over-range carry no stated risk.")
    if not told.worst_cell:
        return f"{rule} {say('No number passes here.')} {unstated}"
    cell = words.tell(told.worst_cell)
    risk = words.tell(risk_percent(told.worst_risk))
    largest = say("The largest here: {risk} ({cell}).", risk=risk, cell=cell)
    return f"{rule} {largest} {unstated}"


def _override(told: Certificate, words: Language) -> tuple[str, ...]:
    if not told.overridden:
        return ()
    say = words.say
    answers = say("OVERRIDE by {by}: {typed}", by=told.override_by, typed=told.override_reason)
    lines = [
        say("Overridden: {reason}", reason=line) for line in against_lines(told.reasons, words)
    ]
    return (answers, *_few(lines, say("the record has them"), words))


def _against(told: Certificate, words: Language) -> tuple[Section, ...]:
    if told.overridden or not (told.reasons or told.flagged):
        return ()
    said = [*map(words.tell, told.flagged), *against_lines(told.reasons, words)]
    lines = _few(said, words.say("the record has them"), words)
    return (Section(words.say("Against accepting"), lines=tuple(lines), listed=True),)


def _likely(told: Certificate, words: Language) -> tuple[Section, ...]:
    """Return what is likely wrong with a part that is not accepted, and what would settle it."""
    if told.accepted or told.overridden or not told.fault.settle:
        return ()
    faults = [f"{words.tell(fault)}: {words.tell(share)}." for fault, share in told.fault.told]
    settle = words.say("What would settle it: {act}", act=words.tell(told.fault.settle))
    return (Section(words.say("Likely fault"), lines=(*faults, settle), listed=True),)


def _charts(told: Certificate, words: Language) -> list[str]:
    chart, say = told.chart, words.say
    found = _counts(Counter(cell.found.result for _, cell in chart.cells()), words)
    left = _counts(Counter(cell.left.result for _, cell in chart.cells()), words)
    lines = (
        [
            say("As found: {counts}.", counts=found),
            say("As left, after the body was turned: {counts}.", counts=left),
        ]
        if chart.turned
        else [say("As found and as left, nothing was turned: {counts}.", counts=left)]
        if chart.lever
        else [say("As read: {counts}.", counts=left)]
    )
    open_ = [
        f"{SIGN[cell.left.result]} {words.tell(name)} {_not_passing(cell, words)}"
        for name, cell in chart.cells()
        if cell.left.result is not Result.PASS
    ]
    # What stands against accepting names these cells too.
    return lines if told.reasons else [*lines, *_few(open_, say("see the full chart"), words)]


def _few(said: list[str], where: str, words: Language) -> list[str]:
    more = len(said) - MOST_NAMED
    if more <= 0:
        return said
    rest = words.say("and {count} more: {where}.", count=str(more), where=where)
    return [*said[:MOST_NAMED], rest]


def _not_passing(cell: CellShown, words: Language) -> str:
    word = words.say(RESULT_WORD[cell.left.result])
    if cell.left.result is Result.MISSING:
        return f"{word}; {words.say('allowed is {limits}', limits=cell.allowed)}"
    return f"{word}: {words.tell(cell.left.reason) or cell.left.text}"


def _signature(told: Certificate, words: Language) -> tuple[tuple[str, str], ...]:
    signer = told.letterhead.signer or told.item.authorized_by or told.closed_by
    return (
        (words.say("Authorized by"), signer or words.say("nobody named")),
        (words.say("Signature"), ""),
        (words.say("Date"), ""),
    )


def _method(told: Certificate, words: Language) -> tuple[tuple[str, str], ...]:
    say = words.say
    specification = say("the chart of family {name}", name=told.family)
    if told.method.family_file:
        file = told.method.family_file[:12]
        specification = say("{chart}, file {file}", chart=specification, file=file)
    total = str(sum(1 for _ in told.chart.cells()))
    return (
        (
            say("Method"),
            say(
                "Resistance between two pins, pair by pair with the lever in every position, the "
                "part unplugged; judged by benchproof {version}."
                if told.chart.lever
                else "Resistance between two pins, pair by pair, the part unplugged; judged by "
                "benchproof {version}.",
                version=told.version,
            ),
        ),
        (say("Specification"), specification),
        (
            say("Extent"),
            say("every cell of the chart ({total}); nothing was sampled", total=total),
        ),
        (say("Departures"), _departures(told, words)),
        (say("From outside"), say("no result of another shop or laboratory")),
    )


def _departures(told: Certificate, words: Language) -> str:
    say = words.say
    missing = sum(cell.left.result is Result.MISSING for _, cell in told.chart.cells())
    withdrawn = told.method.withdrawn
    found = (
        say("{count} cells not read", count=str(missing)) if missing else "",
        say("{count} readings withdrawn, under History", count=str(withdrawn)) if withdrawn else "",
        say("no meter was named") if told.meter.assumed else "",
        say("calibration of the meter overdue") if told.overdue else "",
        say("accepted by override") if told.overridden else "",
    )
    return "; ".join(filter(None, found)) or say("none")


def _measured(told: Certificate, words: Language) -> tuple[tuple[str, str], ...]:
    meter, say = told.meter, words.say
    facts = (
        (say("Meter"), _meter(told, words)),
        (say("Calls itself"), meter.identity),
        (say("Calibration"), _calibration(told, words)),
        (say("Leads"), words.tell(meter.leads)),
        (say("Temperature"), _temperature(told, words)),
        (say("Part at"), words.tell(told.part_at)),
        (say("Bench"), meter.bench),
        (say("Opened"), _when(told.opened_at, told.opened_by, words)),
        (say("Closed"), _when(told.closed_at, told.closed_by, words)),
        (say("Offset as left"), words.tell(told.alignment.offset)),
    )
    return tuple((name, value) for name, value in facts if value)


def _meter(told: Certificate, words: Language) -> str:
    meter = told.meter
    if meter.assumed:
        return words.say("not named; taken as an {name} (invented)", name=meter.name)
    return f"{meter.name} ({meter.tag})" if meter.tag else meter.name


def _temperature(told: Certificate, words: Language) -> str:
    meter, degrees = told.meter, told.letterhead.degrees
    if meter.ambient_c is not None:
        return degrees(meter.ambient_c)
    low, high = map(degrees, meter.taken_as_c)
    return words.say("not noted; taken as {low} to {high}", low=low, high=high)


def _calibration(told: Certificate, words: Language) -> str:
    meter, say = told.meter, words.say
    done = say("done {day}", day=meter.calibrated_on) if meter.calibrated_on else say("none noted")
    if not meter.due_on:
        return f"{done}, {say('no due day noted')}"
    late = f": {say('OVERDUE')}" if told.overdue else ""
    return f"{done}, {say('due {day}', day=meter.due_on)}{late}"


def _when(at: str, by: str, words: Language) -> str:
    who = by or words.say("nobody named")
    return words.say("{at} by {by}", at=at.replace("T", " "), by=who)


def _limits(words: Language, *, lever: bool) -> tuple[str, ...]:
    say = words.say
    return (
        say(
            "These results hold for this part alone, as it was when it was tested. Nothing is said "
            "of heat, vibration, moisture, load current or wear to come."
        ),
        *([say("Between the lever's positions only what a sweep read is known.")] if lever else []),
        say(
            "Readings are held against the chart of the family file; whether that is the maker's "
            "chart, and the meter the one named, this paper cannot know."
        ),
        say(
            "This is not the test report of an accredited laboratory (ISO/IEC 17025) and no "
            "warranty. It may be copied as a whole only."
        ),
    )


def _record(told: Certificate, words: Language) -> Section:
    say = words.say
    archive = say("{head}, signed by bench {name}", head=told.head, name=told.bench)
    return Section(
        say("Record"),
        facts=(
            (say("Proof"), told.proof),
            (say("Event"), str(told.seq)),
            (say("Hash"), grouped(told.hash)),
            *(((say("Archive"), archive),) if told.head else ()),
            (say("Drawn by"), f"benchproof {told.version}"),
        ),
        lines=(
            say(
                "To check: benchproof verify, then benchproof certificate {proof}. The hash is of "
                "the event that closed the proof and covers every event before it: if the record "
                "was changed since, it is no longer the one printed here.",
                proof=told.proof,
            ),
            *(
                (
                    say(
                        "Whether the archive was cut off since: benchproof verify --head {head}.",
                        head=told.head,
                    ),
                )
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


def is_hash(value: str) -> bool:
    """Return whether a fact is a hash in groups.

    Examples
    --------
    >>> is_hash(grouped("0123456789abcdef" * 4)), is_hash("no hash")
    (True, False)
    """
    return len(value) == 71 and set(value) <= set("0123456789abcdef ")


def shown_text(shown: ShownCell, words: Language = ENGLISH) -> str:
    """Return a reading with its sign, as it stands in the chart."""
    said = words.tell(shown.text) if shown.text else words.say(RESULT_WORD[shown.result])
    return f"{SIGN[shown.result]} {said}"
