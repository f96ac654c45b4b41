"""What stands against accepting a part: a table of conditions and their sentences.

Only a proof without any of these is closed as accepted. Some of them a person can answer for, by
name and with a reason; that a start permit must not let the starter turn in gear, and that a find
passes nothing, nobody can.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from benchproof.diagnose.diagnosis import decision
from benchproof.diagnose.verdict import MOST_HAZARD, PartVerdict
from benchproof.examine.dangers import beside_told
from benchproof.family.sentence import Sentence, percent
from benchproof.judge.cell import JudgedCell, Result
from benchproof.judge.sheet import SheetVerdict
from benchproof.proof.events import DO_NOT_REUSE, OPEN, Closed, Mode, OtherProof, ProofOutcome
from benchproof.proof.history import History, is_overdue
from benchproof.proof.problems import ProofProblem
from benchproof.proof.timesshown import TWICE, shown_times

if TYPE_CHECKING:
    from benchproof.family.model import CellName

MOST_NAMED = 12
"""No sentence names more cells than these."""


@dataclass(frozen=True)
class Objection:
    """One thing that stands against accepting.

    Attributes
    ----------
    name : str
        Name of its rule.
    sentence : str
        What it is and what to do.
    overridable : bool
        Whether a person can answer for it.
    """

    name: str
    sentence: str
    overridable: bool


@dataclass(frozen=True)
class _Rule:
    name: str
    sentence: Sentence[History]
    overridable: bool


def _a_find(state: History) -> Iterator[dict[str, str]]:
    if state.mode is not Mode.PROVE:
        yield {}


def _guarded(state: History, *results: Result) -> list[JudgedCell]:
    """Return the cells in which a pair must not conduct, with one of some results."""
    cells = state.as_left.judgement.cells
    return [cell for cell in cells if cell.guarded and cell.outcome.result in results]


def _unsafe(state: History) -> Iterator[dict[str, str]]:
    for cell in _guarded(state, Result.FAIL, Result.UNDECIDED):
        kept = [one for one in state.as_left.kept if one.gone.taken.cell == cell.place]
        whys = dict.fromkeys(
            f"; reading {one.gone.taken.seq}, {one.gone.taken.told}, {one.gone.why}, counts "
            f"nevertheless: {one.why}"
            for one in kept
        )
        yield {"cell": cell.name, "reason": f"{cell.outcome.reason}{''.join(whys)}"}


def _beside(state: History) -> Iterator[dict[str, str]]:
    for one in state.as_left.examination.beside:
        unit = "detent gaps" if state.ground.family.detents_deg is None else "deg"
        yield {"found": beside_told(one, unit)}


def _unread_permit(state: History) -> Iterator[dict[str, str]]:
    if unread := [cell.name for cell in _guarded(state, Result.MISSING)]:
        yield {"cells": _listed(unread)}


def _not_told(state: History) -> Iterator[dict[str, str]]:
    for question in state.ground.safety.questions:
        proposal = f" (We propose: {', '.join(question.proposal)}.)" if question.proposal else ""
        yield {"question": f"{question.sentence}{proposal}", "family": state.opened.family}


def _unfit_chart(state: History) -> Iterator[dict[str, str]]:
    for finding in state.ground.basis.unfit:
        yield {"finding": finding.sentence.rstrip(".")}


def _unmended_permit(state: History) -> Iterator[dict[str, str]]:
    """Yield where another proof saw the starter let turn in gear, and nothing was mended since."""
    for seq, one in state.others:
        if one.starts_in_gear and not _repaired(state, seq, one, before_reading=True):
            yield {"proof": one.proof, "cells": _listed([*one.starts_in_gear])}


def _unmended(state: History) -> Iterator[dict[str, str]]:
    """Yield what another proof found against the part, if nothing was done since."""
    for seq, one in state.others:
        found = one.against or one.outcome in _AGAINST
        if found and not one.starts_in_gear and not _repaired(state, seq, one):
            cells = f": {_listed([*one.against])}" if one.against else ""
            yield {"proof": one.proof, "outcome": one.outcome, "cells": cells}


_AGAINST = (ProofOutcome.REALIGN.value, ProofOutcome.REPAIR.value, ProofOutcome.RECHECK.value)


def _repaired(state: History, seq: int, other: OtherProof, *, before_reading: bool = False) -> bool:
    """Return whether work was noted since another proof, here or in a later one."""
    first = min((one.seq for one in state.as_left.taken), default=state.seq + 1)
    here = [at for at, _ in state.work if at > seq and (not before_reading or at < first)]
    turned = bool(state.turns) and other.outcome == ProofOutcome.REALIGN
    later = other.outcome != OPEN and any(
        datetime.fromisoformat(one.worked_at) >= datetime.fromisoformat(other.ended_at)
        for _, one in state.others
        if one.worked_at and one.number > other.number
    )
    return bool(here) or later or (turned and not before_reading)


def _cells(state: History, result: Result) -> list[JudgedCell]:
    return [cell for cell in state.as_left.judgement.cells if cell.outcome.result is result]


def _not_read(state: History) -> Iterator[dict[str, str]]:
    missing = [cell.name for cell in _cells(state, Result.MISSING)]
    if missing:
        since = " since the body was turned" if len(state.settings) > 1 else ""
        yield {"count": _count(missing), "cells": _listed(missing), "since": since}


def _failed(state: History) -> Iterator[dict[str, str]]:
    for cell in _cells(state, Result.FAIL):
        yield {"cell": cell.name, "reason": cell.outcome.reason}


def _undecided(state: History) -> Iterator[dict[str, str]]:
    for cell in _cells(state, Result.UNDECIDED):
        yield {"cell": cell.name, "reason": cell.outcome.reason}


def _not_twice(state: History) -> Iterator[dict[str, str]]:
    shown = shown_times(state)
    few = [
        cell.name
        for cell in _guarded(state, Result.PASS)
        if cell.readings and shown.get(cell.place, 0) < TWICE
    ]
    if few:
        yield {"cells": _listed([*dict.fromkeys(few)])}


def _still_counts(state: History) -> Iterator[dict[str, str]]:
    """Yield withdrawn readings that count, other than those told with a start permit's cell."""
    told = {cell.place for cell in _guarded(state, Result.FAIL, Result.UNDECIDED)}
    for one in state.as_left.kept:
        if one.gone.taken.cell not in told:
            yield {"told": one.told}


def _withdrawn(state: History) -> Iterator[dict[str, str]]:
    """Yield readings as left, of the chart's cells, withdrawn and not read again after."""
    last: dict[tuple[CellName, str], int] = {}
    for one in state.as_left.taken:
        last[one.cell, one.reading.lean] = one.seq
    charted = state.as_left.results
    for gone in state.as_left.withdrawn:
        taken = gone.taken
        # What a sweep read of a cell that is not read otherwise is asked for as any other.
        if taken.swept or taken.cell not in charted:
            continue
        if last.get((taken.cell, taken.reading.lean), 0) < taken.seq:
            yield {"gone": gone.told}


def _doubted(state: History) -> Iterator[dict[str, str]]:
    judged = state.as_left.judgement
    if judged.verdict is SheetVerdict.RECHECK:
        for reason in judged.reasons:
            yield {"doubt": reason}


def _not_decided(state: History) -> Iterator[dict[str, str]]:
    cells = state.as_left.judgement.cells
    # Before any cell was read what is believed is no finding; that none was has its own rule.
    known = None if cells and not any(cell.readings for cell in cells) else state.as_left.known
    # What keeps the sheet or the chart from being accepted has rules of its own.
    if known is not None and decision(known.verdicts, known.hazard) is not PartVerdict.ACCEPT:
        accept = known.verdicts[PartVerdict.ACCEPT]
        little = known.hazard <= MOST_HAZARD
        likely = "under one in a million" if little else f"{known.hazard:.1g}"
        hazard = f", a start in gear {likely}" if state.ground.family.lever else ""
        yield {"doubt": f"accept has {percent(accept)}{hazard}"}


def _no_meter(state: History) -> Iterator[dict[str, str]]:
    if state.meter_chosen is None:
        yield {}


def _overdue(state: History) -> Iterator[dict[str, str]]:
    if state.meter_chosen is not None and is_overdue(state):
        yield {
            "meter": state.meter_chosen.tag or state.meter_chosen.name,
            "due": state.meter_chosen.due_on,
        }


def _check_failed(state: History) -> Iterator[dict[str, str]]:
    last = {check.what: check for check in state.checks}
    for check in last.values():
        if not check.ok:
            yield {"what": check.what.value, "gear": check.gear}


def _do_not_reuse(state: History) -> Iterator[dict[str, str]]:
    last = {noted.item: noted for noted in state.inspections}
    for noted in last.values():
        if noted.grade == DO_NOT_REUSE:
            remark = f" ({noted.remark})" if noted.remark else ""
            yield {"item": noted.item, "remark": remark}


def _rule(
    name: str,
    text: str,
    find: Callable[[History], Iterable[dict[str, str]]],
    *,
    overridable: bool = True,
) -> _Rule:
    return _Rule(name, Sentence(text, find), overridable)


RULES = (
    _rule(
        "start-permit-open",
        "DANGER: start permit {cell} is not proved open ({reason}): the engine could be cranked in "
        "gear. Nobody can answer for that.",
        _unsafe,
        overridable=False,
    ),
    _rule(
        "start-permit-beside",
        "DANGER: start permit {found}, by a sweep or an edge that was found: the engine could be "
        "cranked in gear. Nobody can answer for that.",
        _beside,
        overridable=False,
    ),
    _rule(
        "start-permit-read",
        "Start permit cells that must be open are not read: {cells}. Nobody can answer for that.",
        _unread_permit,
        overridable=False,
    ),
    _rule(
        "start-permit-twice",
        "An open start permit may be a slipped probe, and a mark shows nothing there: read by ohms "
        "or over-range twice, the probes set anew: {cells}. Nobody can answer for that.",
        _not_twice,
        overridable=False,
    ),
    _rule(
        "roles-told",
        "{question} Answer it first (benchproof audit {family} --say WHAT --keep FILE) and prove "
        "the part by that file.",
        _not_told,
        overridable=False,
    ),
    _rule(
        "other-proof-safe",
        "DANGER: proof {proof} of this part saw the start permit conduct in gear ({cells}); only a "
        "repair that is noted before the first reading (Work done, or benchproof proof work), and "
        "every cell read after it, clear that. Nobody can answer for it.",
        _unmended_permit,
        overridable=False,
    ),
    _rule(
        "prove-mode",
        "This proof was opened to find what is wrong, which passes nothing; open one to prove.",
        _a_find,
        overridable=False,
    ),
    _rule(
        "chart-fit",
        "The chart is at odds with what keeps the starter from turning in gear: {finding}. Mend "
        "it, or say by name why it is right.",
        _unfit_chart,
    ),
    _rule("every-cell-read", "{count} not read{since}: {cells}.", _not_read),
    _rule(
        "no-cell-fails",
        "{cell} fails: {reason}. If a reading was wrong, withdraw it and read again.",
        _failed,
    ),
    _rule(
        "no-cell-undecided",
        "{cell} is undecided: {reason}. Read it so that it decides.",
        _undecided,
    ),
    _rule("withdrawn-counts", "{told}.", _still_counts),
    _rule(
        "withdrawn-read-again",
        "{gone}. Its cell was not read again since; read it again.",
        _withdrawn,
    ),
    _rule("readings-of-this-chart", "The readings are in doubt: {doubt}", _doubted),
    _rule(
        "diagnosis-decided",
        "The diagnosis leaves a doubt: {doubt}; see what to read next.",
        _not_decided,
    ),
    _rule(
        "meter-named",
        "No meter was named; open a proof with --meter, or choose one before the first reading.",
        _no_meter,
    ),
    _rule(
        "meter-calibrated",
        "{meter} was due for calibration on {due}, before this proof was opened; have it "
        "calibrated and prove again.",
        _overdue,
    ),
    _rule(
        "gear-checked",
        "The last check of {gear} ({what}) failed; put it right, and check again.",
        _check_failed,
    ),
    _rule(
        "other-proof-mended",
        "Proof {proof} of this part ({outcome}{cells}) speaks against it, and nothing is noted as "
        "done since; note what was done (Work done, or benchproof proof work).",
        _unmended,
    ),
    _rule(
        "inspection",
        "The inspection says not to reuse it: {item}{remark}.",
        _do_not_reuse,
    ),
)
"""The rules, those that nobody can answer for first."""


def objections(state: History) -> tuple[Objection, ...]:
    """Return everything that stands against accepting the part of a proof, in the table's order."""
    return tuple(_found(state, RULES))


def final(state: History) -> tuple[Objection, ...]:
    """Return what stands against accepting the part that nobody can answer for."""
    return tuple(_found(state, [rule for rule in RULES if not rule.overridable]))


def _found(state: History, rules: Iterable[_Rule]) -> Iterator[Objection]:
    for rule in rules:
        for facts in rule.sentence.find(state):
            yield Objection(rule.name, rule.sentence.text.format_map(facts), rule.overridable)


def check_accepted(state: History, closed: Closed) -> None:
    """Check that no part is accepted against what nobody can answer for.

    Raises
    ------
    ProofProblem
        If one is.
    """
    if closed.outcome is ProofOutcome.ACCEPTED:
        for one in final(state):
            raise ProofProblem(f"Not accepted: {one.sentence}")


def flagged(state: History) -> tuple[Objection, ...]:
    """Return what nobody can answer for and stands against a part that is accepted nevertheless.

    Such a proof was closed by an older version, with other rules.
    """
    accepted = state.closed is not None and state.closed.outcome is ProofOutcome.ACCEPTED
    return final(state) if accepted else ()


def _count(names: list[str]) -> str:
    return f"{len(names)} cell{' is' if len(names) == 1 else 's are'}"


def _listed(names: list[str]) -> str:
    told = ", ".join(names[:MOST_NAMED])
    more = len(names) - MOST_NAMED
    return told if more <= 0 else f"{told} and {more} more"
