"""Working through a proof at a prompt: it says what to read, takes what is typed, and goes on."""

from collections.abc import Callable
from dataclasses import dataclass

import click

from benchproof.cli.diagnosis import print_dangers, print_next
from benchproof.cli.output import ask, echo
from benchproof.cli.promptfound import type_edge, type_offset, type_sweep
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
from benchproof.plan.actions import TakeReading
from benchproof.proof.cautions import AFTER_TURNING, BEFORE_TURNING
from benchproof.proof.events import Mistake, Remarked
from benchproof.proof.problems import ProofProblem


@dataclass(frozen=True)
class _Command:
    """What can be typed besides a reading: its word, what it does, and doing it.

    `run` gets the work, the initials and the rest of the line; it returns whether to go on.
    """

    word: str
    sentence: str
    run: Callable[[Work, str, str], bool]


def prompt_loop(work: Work, by: str) -> None:
    """Prompt for readings until the person leaves; each is on disk before it is acknowledged."""
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
            if words and not _obey(work, by, words):
                return
        except ProofProblem as problem:
            echo(f"{problem}")


def _prompt(work: Work) -> str:
    action = work.state.next.action
    if not isinstance(action, TakeReading):
        return work.tag
    lean = f" toward {action.lean}" if action.lean else ""
    return f"{action.position}{lean} {'-'.join(action.pair)}"


def _obey(work: Work, by: str, words: str) -> bool:
    """Do what a line says; return whether to go on."""
    positions = {position.casefold() for position in work.state.ground.family.positions}
    parts = words.split(maxsplit=2)
    if len(parts) == 3 and parts[0].casefold() in positions:
        _read_cell(work, by, *parts)
        return True
    word, _, rest = words.partition(" ")
    command = next((c for c in _COMMANDS if c.word == word), None)
    if command is not None:
        return command.run(work, by, rest)
    _read_next(work, by, words)
    return True


def _read_cell(work: Work, by: str, position: str, pair: str, value: str) -> None:
    take_reading(work, by, (position, pair, value))
    _acknowledge(work)


def _read_next(work: Work, by: str, value: str) -> None:
    asked = work.state.next.action
    if not isinstance(asked, TakeReading):
        raise ProofProblem(
            "Nothing more is asked for; type position, pair and value, such as "
            f"'{work.state.ground.family.positions[0]} A-B 0.3', or q to leave."
        )
    take_asked(work, by, asked, value)
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


def _help(_: Work, __: str, ___: str) -> bool:
    echo("A value (c, o, OL, 0.3, 1.2k): the reading that is asked for.")
    echo("POSITION PAIR VALUE: a reading of another cell.")
    for command in _COMMANDS:
        echo(f"{command.word}: {command.sentence}")
    return True


def _leave(work: Work, _: str, __: str) -> bool:
    echo(f"Everything is recorded; go on with: benchproof proof read {work.tag}")
    return False


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
    ),
    _Command(
        "offset",
        "the offset, measured otherwise: ANGLE U, and by what, such as 1.4 0.2 the marks.",
        type_offset,
    ),
    _Command("sweep", "a sweep of the lever; its file follows.", type_sweep),
    _Command("turn", "the body was turned; how far may follow.", _turn),
    _Command(
        "unturn", "the body was not turned; takes the last turn back, why may follow.", _unturn
    ),
    _Command("work", "note what was done to the part, before the first reading.", _work),
    _Command("remark", "note what follows.", _remark),
    _Command("why", "what stands against accepting the part.", _show),
    _Command("?", "what you can do.", _help),
    _Command("q", "leave; the proof stays open.", _leave),
)
