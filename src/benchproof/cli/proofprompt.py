"""Working through a proof at a prompt: it says what to read, takes what is typed, and goes on."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import click

from benchproof.cli.diagnosis import print_dangers, print_next
from benchproof.cli.output import ask, echo
from benchproof.cli.promptfound import number_typed, type_edge, type_offset, type_sweep
from benchproof.cli.proofscreen import print_against, print_last_reading, print_proof_cautions
from benchproof.conduct.proofactions import (
    call_slip,
    note_work,
    take_asked,
    take_back_turn,
    take_reading,
    turn,
    withdraw,
    withdrawn_as,
)
from benchproof.conduct.typed import SLIP_KEY, UNDO_KEY
from benchproof.conduct.work import Work, now
from benchproof.family.names import match_pair
from benchproof.plan.actions import TakeReading
from benchproof.proof.cautions import AFTER_TURNING, BEFORE_TURNING
from benchproof.proof.events import BodyTurned, Mistake, Remarked
from benchproof.proof.problems import ProofProblem
from benchproof.reading.value import UNTOLD, Conditions

if TYPE_CHECKING:
    from benchproof.family.model import Family


@dataclass(frozen=True)
class _Command:
    """What can be typed besides a reading: its word, what it does, and doing it.

    `run` gets the work, the initials and the rest of the line; it returns whether to go on.
    `of_lever` tells what is only for a part with a lever.
    """

    word: str
    sentence: str
    run: Callable[[Work, str, str], bool]
    of_lever: bool = False


@dataclass
class _Prompted:
    """A proof at the prompt: the work, whose initials, and what the part is under from now on."""

    work: Work
    by: str
    under: Conditions


def prompt_loop(work: Work, by: str, under: Conditions = UNTOLD) -> None:
    """Prompt for readings until the person leaves; each is on disk before it is acknowledged.

    Parameters
    ----------
    work : Work
        The proof.
    by : str
        Whose initials.
    under : Conditions
        What the part is under, until something else is typed.
    """
    prompted = _Prompted(work, by, under)
    print_dangers(work.state.dangers)
    print_proof_cautions(work.state)
    echo("Type what the meter shows; ? says what else you can do.")
    while True:
        print_next(work.state.next)
        try:
            line = ask(_prompt(work), default="", show_default=False, prompt_suffix="> ")
        except click.Abort:
            # The end of input, or Ctrl-C: everything acknowledged is on disk.
            echo()
            line = "q"
        words = " ".join(line.split())
        try:
            if words and not _obey(prompted, words):
                return
        except ProofProblem as problem:
            echo(f"{problem}")


def _prompt(work: Work) -> str:
    action = work.state.next.action
    if not isinstance(action, TakeReading):
        return work.tag
    lean = f" toward {action.lean}" if action.lean else ""
    lever = f"{action.position}{lean} " if work.state.ground.family.lever else ""
    return f"{lever}{'-'.join(action.pair)}"


def _obey(prompted: _Prompted, words: str) -> bool:
    """Do what a line says; return whether to go on."""
    family = prompted.work.state.ground.family
    positions = {position.casefold() for position in family.positions}
    parts = words.split(maxsplit=2)
    if not family.lever and _names_pair(family, words):
        _read_cell(prompted, "", *words.split(maxsplit=1))
        return True
    if len(parts) == 3 and parts[0].casefold() in positions:
        _read_cell(prompted, *parts)
        return True
    word, _, rest = words.partition(" ")
    if word == _TEMPERATURE:
        prompted.under = _warm(prompted.under, rest)
        echo(f"What is read from now on is {prompted.under.told or 'at no temperature told'}.")
        return True
    command = next((c for c in _COMMANDS if c.word == word), None)
    if command is not None:
        return command.run(prompted.work, prompted.by, rest)
    _read_next(prompted, words)
    return True


def _names_pair(family: "Family", words: str) -> bool:
    """Return whether a line begins with a pair of the part, and goes on."""
    pair, _, value = words.partition(" ")
    try:
        return bool(value) and bool(match_pair(pair, family.pin_names))
    except ValueError:
        return False


def _warm(under: Conditions, rest: str) -> Conditions:
    """Return what a part is under at a temperature that was typed; none takes it back."""
    units = ("°C", "K")
    numbers = [number_typed(text, units[min(n, 1)]) for n, text in enumerate(rest.split())]
    if len(numbers) > 2:
        raise ProofProblem(
            "Type the part's temperature in °C and how well it is known (standard), such as "
            "'temperature 24 1'."
        )
    part_c, part_c_u = (*numbers, None, None)[:2]
    return replace(under, part_c=part_c, part_c_u=part_c_u)


def _read_cell(prompted: _Prompted, position: str, pair: str, value: str) -> None:
    work = prompted.work
    take_reading(work, prompted.by, (position, pair, value), under=prompted.under)
    _acknowledge(work)


def _read_next(prompted: _Prompted, value: str) -> None:
    work = prompted.work
    asked = work.state.next.action
    if not isinstance(asked, TakeReading):
        family = work.state.ground.family
        what = (
            f"position, pair and value, such as '{family.positions[0]} A-B 0.3'"
            if family.lever
            else "pair and value, such as 'A-B 0.3'"
        )
        raise ProofProblem(f"Nothing more is asked for; type {what}, or q to leave.")
    take_asked(work, prompted.by, asked, value, under=prompted.under)
    _acknowledge(work)


def _acknowledge(work: Work) -> None:
    print_dangers(work.state.dangers)
    print_last_reading(work.state, work.tag)


def _undo(work: Work, by: str, rest: str) -> bool:
    named = (kind for kind in Mistake if f"{rest} ".casefold().startswith(f"{kind} "))
    kind = next(named, Mistake.OTHER)
    reason = rest[len(kind) :].strip() if rest.casefold().startswith(kind) else rest
    seq = withdraw(work, by, None, reason or rest, kind)
    print_dangers(work.state.dangers)
    echo(withdrawn_as(work.state, seq))
    return True


def _slip(work: Work, by: str, _: str) -> bool:
    seq = call_slip(work, by)
    print_dangers(work.state.dangers)
    echo(withdrawn_as(work.state, seq))
    return True


def _work(work: Work, by: str, rest: str) -> bool:
    note_work(work, by, rest)
    echo("Noted.")
    return True


def _turn(work: Work, by: str, rest: str) -> bool:
    work.state.check(BodyTurned)
    echo(f"! {BEFORE_TURNING}")
    turn(work, by, rest)
    echo(f"Noted. {AFTER_TURNING} If it was not turned, type: unturn")
    return True


def _unturn(work: Work, by: str, rest: str) -> bool:
    said = take_back_turn(work, by, rest)
    print_dangers(work.state.dangers)
    echo(said)
    return True


def _remark(work: Work, by: str, rest: str) -> bool:
    work.record(Remarked(now(), by, rest))
    echo("Noted.")
    return True


def _show(work: Work, _: str, __: str) -> bool:
    print_against(work.state)
    return True


def _help(work: Work, __: str, ___: str) -> bool:
    lever = work.state.ground.family.lever
    echo("A value (c, o, OL, 0.3, 1.2k): the reading that is asked for.")
    echo(f"{'POSITION ' if lever else ''}PAIR VALUE: a reading of another cell.")
    echo(f"{_TEMPERATURE}: the part's from now on, °C; how well it is known (standard) may follow.")
    for command in _COMMANDS:
        if lever or not command.of_lever:
            echo(f"{command.word}: {command.sentence}")
    return True


def _leave(work: Work, _: str, __: str) -> bool:
    echo(f"Everything is recorded; go on with: benchproof proof read {work.tag}")
    return False


_TEMPERATURE = "temperature"
_COMMANDS = (
    _Command(
        UNDO_KEY,
        "withdraw the last reading; slip, wrong cell, wrong key or meter or leads may follow, and "
        "a reason.",
        _undo,
    ),
    _Command(SLIP_KEY, "the first reading of this cell was a slipped probe.", _slip),
    _Command(
        "edge",
        "an edge that was found: POSITION PAIR ANGLE U BELOW ABOVE, such as N G-H 3.2 0.2 0.1 OL.",
        type_edge,
        of_lever=True,
    ),
    _Command(
        "offset",
        "the offset, measured otherwise: ANGLE U, and by what, such as 1.4 0.2 the marks.",
        type_offset,
        of_lever=True,
    ),
    _Command("sweep", "a sweep of the lever; its file follows.", type_sweep, of_lever=True),
    _Command("turn", "the body was turned; how far may follow.", _turn, of_lever=True),
    _Command(
        "unturn",
        "the body was not turned; takes the last turn back, why may follow.",
        _unturn,
        of_lever=True,
    ),
    _Command("work", "note what was done to the part, before the first reading.", _work),
    _Command("remark", "note what follows.", _remark),
    _Command("why", "what stands against accepting the part.", _show),
    _Command("?", "what you can do.", _help),
    _Command("q", "leave; the proof stays open.", _leave),
)
