"""What stands against accepting a part: a table of conditions and their sentences.

Only a proof without any of these is closed as accepted. Some of them a person can answer for, by
name and with a reason; that a start permit must not let the starter turn in gear, and that a find
passes nothing, nobody can.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.diagnose.verdict import MOST_HAZARD, Verdict
from benchproof.family.model import CellName
from benchproof.family.safety import safety_of
from benchproof.family.sentence import Sentence
from benchproof.judge.cell import Cell, Result
from benchproof.judge.sheet import Verdict as SheetVerdict
from benchproof.proof.cautions import is_overdue
from benchproof.proof.events import DO_NOT_REUSE, Mode

if TYPE_CHECKING:
    from benchproof.proof.state import State

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
    sentence: "Sentence[State]"
    overridable: bool = True


def _a_find(state: "State") -> Iterator[dict[str, str]]:
    if state.mode is not Mode.PROVE:
        yield {}


def _unsafe(state: "State") -> Iterator[dict[str, str]]:
    must_be_open = safety_of(state.ground.family).must_be_open
    for cell in state.as_left.judgement.cells:
        against = cell.outcome.result in (Result.FAIL, Result.UNDECIDED)
        if against and _name(cell) in must_be_open:
            yield {"cell": cell.name, "reason": cell.outcome.reason}


def _unread_permit(state: "State") -> Iterator[dict[str, str]]:
    must_be_open = safety_of(state.ground.family).must_be_open
    unread = [cell.name for cell in _cells(state, Result.MISSING) if _name(cell) in must_be_open]
    if unread:
        yield {"cells": _listed(unread)}


def _cells(state: "State", result: Result) -> list[Cell]:
    return [cell for cell in state.as_left.judgement.cells if cell.outcome.result is result]


def _not_read(state: "State") -> Iterator[dict[str, str]]:
    missing = [cell.name for cell in _cells(state, Result.MISSING)]
    if missing:
        since = " since the body was turned" if len(state.rounds) > 1 else ""
        yield {"count": _count(missing), "cells": _listed(missing), "since": since}


def _failed(state: "State") -> Iterator[dict[str, str]]:
    for cell in _cells(state, Result.FAIL):
        yield {"cell": cell.name, "reason": cell.outcome.reason}


def _undecided(state: "State") -> Iterator[dict[str, str]]:
    for cell in _cells(state, Result.UNDECIDED):
        yield {"cell": cell.name, "reason": cell.outcome.reason}


def _not_twice(state: "State") -> Iterator[dict[str, str]]:
    must_be_open = safety_of(state.ground.family).must_be_open
    once = [
        cell.name
        for cell in state.as_left.judgement.cells
        if state.as_left.times.get(_name(cell)) == 1 and _name(cell) in must_be_open
    ]
    if once:
        yield {"cells": _listed([*dict.fromkeys(once)])}


def _withdrawn(state: "State") -> Iterator[dict[str, str]]:
    """Yield readings as left, of the chart's cells, withdrawn and not read again after."""
    last: dict[tuple[CellName, str], int] = {}
    for one in state.as_left.taken:
        last[one.cell, one.reading.lean] = one.seq
    charted = state.as_left.results
    for gone in state.withdrawn:
        taken = gone.taken
        counts = gone.turn == len(state.rounds) - 1 and taken.cell in charted
        if counts and last.get((taken.cell, taken.reading.lean), 0) < taken.seq:
            at = f"{'-'.join(taken.reading.pair)} in {taken.reading.position}"
            yield {"seq": str(taken.seq), "cell": at}


def _doubted(state: "State") -> Iterator[dict[str, str]]:
    judged = state.as_left.judgement
    if judged.verdict is SheetVerdict.RECHECK:
        for reason in judged.reasons:
            yield {"doubt": reason}


def _not_decided(state: "State") -> Iterator[dict[str, str]]:
    known = state.as_left.known
    if known is not None and known.decided is not Verdict.ACCEPT:
        accept = known.verdicts[Verdict.ACCEPT]
        little = known.hazard <= MOST_HAZARD
        hazard = "under one in a million" if little else f"{known.hazard:.1g}"
        yield {"accept": f"{accept:.1%}", "hazard": hazard}


def _no_meter(state: "State") -> Iterator[dict[str, str]]:
    if state.meter_chosen is None:
        yield {}


def _overdue(state: "State") -> Iterator[dict[str, str]]:
    if state.meter_chosen is not None and is_overdue(state):
        yield {
            "meter": state.meter_chosen.tag or state.meter_chosen.name,
            "due": state.meter_chosen.due_on,
        }


def _check_failed(state: "State") -> Iterator[dict[str, str]]:
    last = {check.what: check for check in state.checks}
    for check in last.values():
        if not check.ok:
            yield {"what": check.what.value, "gear": check.gear}


def _do_not_reuse(state: "State") -> Iterator[dict[str, str]]:
    last = {noted.item: noted for noted in state.inspections}
    for noted in last.values():
        if noted.grade == DO_NOT_REUSE:
            remark = f" ({noted.remark})" if noted.remark else ""
            yield {"item": noted.item, "remark": remark}


def _rule(
    name: str,
    text: str,
    find: "Callable[[State], Iterable[dict[str, str]]]",
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
        "start-permit-read",
        "Start permit cells that must be open are not read: {cells}. Nobody can answer for that.",
        _unread_permit,
        overridable=False,
    ),
    _rule(
        "prove-mode",
        "This proof was opened to find what is wrong, which passes nothing; open one to prove.",
        _a_find,
        overridable=False,
    ),
    _rule("every-cell-read", "{count} not read{since}: {cells}.", _not_read),
    _rule(
        "no-cell-fails",
        "{cell} fails: {reason}. If a reading was wrong, withdraw it with its reason and read "
        "again.",
        _failed,
    ),
    _rule(
        "no-cell-undecided",
        "{cell} is undecided: {reason}. Withdraw that reading and read it so that it decides.",
        _undecided,
    ),
    _rule(
        "start-permit-twice",
        "An open start permit may be a slipped probe; read once more with the probes set anew: "
        "{cells}.",
        _not_twice,
    ),
    _rule(
        "withdrawn-read-again",
        "Reading {seq} ({cell}) was withdrawn and not read again since; read it again.",
        _withdrawn,
    ),
    _rule("readings-of-this-chart", "The readings are in doubt: {doubt}", _doubted),
    _rule(
        "diagnosis-decided",
        "The diagnosis leaves a doubt: accept has {accept}, and the start permit conducts in gear "
        "with {hazard}; see what to read next.",
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
        "inspection",
        "The inspection says not to reuse it: {item}{remark}.",
        _do_not_reuse,
    ),
)
"""The rules, those that nobody can answer for first."""


def objections(state: "State") -> tuple[Objection, ...]:
    """Return everything that stands against accepting the part of a proof, in the table's order."""
    return tuple(
        Objection(rule.name, rule.sentence.text.format_map(facts), rule.overridable)
        for rule in RULES
        for facts in rule.sentence.find(state)
    )


def _name(cell: Cell) -> CellName:
    return cell.position, frozenset(cell.row.pair)


def _count(names: list[str]) -> str:
    return f"{len(names)} cell{' is' if len(names) == 1 else 's are'}"


def _listed(names: list[str]) -> str:
    told = ", ".join(names[:MOST_NAMED])
    more = len(names) - MOST_NAMED
    return told if more <= 0 else f"{told} and {more} more"
