"""What could hurt somebody, by what was read of a part and what is believed of it: one table.

Every view shows these first, and none of them can be overridden.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.danger import LAMP_RULE, STARTER_RULE, Danger, Signal, in_order
from benchproof.family.expectation import Kind
from benchproof.family.model import Role, pair_text, same_pair
from benchproof.family.safety import Safety
from benchproof.family.sentence import percent
from benchproof.judge.cell import JudgedCell, Result
from benchproof.judge.sheet import Judgement
from benchproof.reading.evidence import ConductingStretch
from benchproof.reading.value import Mark, OverRange, Value, format_value

WORTH_TELLING = 0.005
"""A start permit that nobody has read to conduct is a danger from this probability on."""
LIKELIER = 0.5
"""With this much on the hook-up or the sheet, that is to be looked at first."""


@dataclass(frozen=True)
class Subject:
    """What dangers are found in.

    Attributes
    ----------
    safety : Safety
        Where a pair must not conduct.
    judged : Judgement
        What was read.
    verdicts : mapping of PartVerdict to float, or None
        What is believed; None for a chart too large for a diagnosis.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    beside : tuple of ConductingStretch
        Where a start permit was found to conduct beside a detent where it must not.
    unit : str
        What their angles are in, as people say it.
    """

    safety: Safety
    judged: Judgement
    verdicts: Mapping[PartVerdict, float] | None
    hazard: float
    beside: tuple[ConductingStretch, ...] = ()
    unit: str = "deg"


def dangers_of(subject: Subject) -> tuple[Danger, ...]:
    """Return what could hurt somebody, worst first."""
    found = [
        *_start_in_gear(subject),
        *_start_beside_gear(subject),
        *_lamp_lit(subject),
        *_lamp_dark(subject),
    ]
    return in_order(found)


def _start_beside_gear(subject: Subject) -> Iterator[Danger]:
    for one in subject.beside:
        sentence = (
            f"start permit {beside_told(one, subject.unit)}, nearer to it than to any position "
            "where the starter may turn: the engine could be cranked in gear and the vehicle move "
            f"({STARTER_RULE}). Do not fit this part as it is."
        )
        names = (f"{pair_text(one.pair)} in {one.position}",)
        check = _check_first(subject)
        yield Danger(Signal.DANGER, "start-beside-gear", sentence, names, None, check)


def beside_told(one: ConductingStretch, unit: str) -> str:
    """Return where a pair conducts beside a detent: "G-H conducts at +2.1 deg from D"."""
    span = f"{one.low:+.1f}" if one.low == one.high else f"{one.low:+.1f} to {one.high:+.1f}"
    return f"{pair_text(one.pair)} conducts at {span} {unit} from {one.position}"


def _start_in_gear(subject: Subject) -> Iterator[Danger]:
    cells = [cell for cell in subject.judged.cells if _not_open(cell)]
    check = _check_first(subject)
    fit = "Do not fit this part as it is." if not check else "Do not fit this part until then."
    if cells:
        told = {same_pair(pair) for pair in subject.safety.told}
        sure = all(same_pair(cell.row.pair) in told for cell in cells)
        what = "start permit" if sure else "what may be the start permit, for nobody has said,"
        read = "; ".join(f"{cell.name} reads {_read(cell)}" for cell in cells)
        sentence = (
            f"{what} {read}: the engine could be cranked in gear and the vehicle move "
            f"({STARTER_RULE}). {fit}"
        )
        names = tuple(cell.name for cell in cells)
        yield Danger(Signal.DANGER, "start-in-gear", sentence, names, None, check)
    elif subject.hazard > WORTH_TELLING:
        by_chart = [c.name for c in subject.judged.cells if _charted(c)]
        if by_chart:
            sentence = (
                f"the chart lets the start permit conduct in gear ({', '.join(by_chart)}): a part "
                f"made so lets the engine be cranked in gear ({STARTER_RULE}). Compare with "
                "another copy of the chart; no part that conducts there is accepted."
            )
        else:
            sentence = (
                f"the start permit may conduct in gear ({percent(subject.hazard)}): the engine "
                f"could be cranked and the vehicle move ({STARTER_RULE}). {fit}"
            )
        cells_ = tuple(by_chart)
        yield Danger(Signal.DANGER, "start-in-gear", sentence, cells_, subject.hazard, check)


def _charted(cell: JudgedCell) -> bool:
    """Return whether a cell is charted to conduct where it must not."""
    return cell.charted.conducts and cell.guarded


def _not_open(cell: JudgedCell) -> bool:
    """Return whether a number, or a buzzer that sounds, says that a permit conducts in gear."""
    result = cell.outcome.result
    doubtful = result is Result.UNDECIDED and not all(_says_open(r.value) for r in cell.readings)
    return cell.guarded and (result is Result.FAIL or doubtful)


def _lamp_lit(subject: Subject) -> Iterator[Danger]:
    for cell in subject.judged.cells:
        lit = cell.place in subject.safety.lamp_must_be_open
        if lit and cell.outcome.result is Result.FAIL and cell.expectation.kind is Kind.OPEN:
            sentence = (
                f"reverse lamp {cell.name} reads {_read(cell)}: lit while the vehicle does not "
                f"back, it misleads those behind ({LAMP_RULE})."
            )
            yield Danger(
                Signal.WARNING, "lamp-lit", sentence, (cell.name,), None, _check_first(subject)
            )


def _lamp_dark(subject: Subject) -> Iterator[Danger]:
    for cell in subject.judged.cells:
        dark = cell.row.role is Role.REVERSE_LAMP and cell.expectation.conducts
        if dark and cell.outcome.result is Result.FAIL:
            sentence = (
                f"reverse lamp {cell.name} reads {_read(cell)}: dark or dim while the vehicle "
                f"backs, nobody behind is warned ({LAMP_RULE})."
            )
            yield Danger(
                Signal.WARNING, "lamp-dark", sentence, (cell.name,), None, _check_first(subject)
            )


def _check_first(subject: Subject) -> str:
    """Return what is likelier wrong than the part; empty if the part is."""
    verdicts = subject.verdicts or {}
    other = verdicts.get(PartVerdict.HOOK_UP, 0.0) + verdicts.get(PartVerdict.CHART, 0.0)
    if other <= LIKELIER:
        return ""
    return (
        f"The hook-up, the sheet or the chart is likelier wrong than the part ({percent(other)}): "
        "check that first, and read again."
    )


def _read(cell: JudgedCell) -> str:
    """Return the readings of a cell, those that say it conducts alone where some do not."""
    telling = [one.value for one in cell.readings if not _says_open(one.value)]
    values = telling or [one.value for one in cell.readings]
    return ", ".join(dict.fromkeys(_with_unit(value) for value in values))


def _says_open(value: Value) -> bool:
    return value is Mark.OPEN or isinstance(value, OverRange)


def _with_unit(value: Value) -> str:
    text = format_value(value)
    return f"{text} ohm" if text[:1].isdigit() else text
