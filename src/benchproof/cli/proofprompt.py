"""Working through a proof at a prompt: it says what to read, takes what is typed, and goes on."""

from collections.abc import Callable
from dataclasses import dataclass

import click

from benchproof.cli.plan import print_next
from benchproof.cli.proofscreen import (
    print_against,
    print_dangers,
    print_last_reading,
    print_proof_cautions,
)
from benchproof.conduct.work import Work, now


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
    from benchproof.proof.problems import ProofProblem

    print_proof_cautions(work.state)
    click.echo("Type what the meter shows; ? says what else you can do.")
    while True:
        print_next(work.state.next)
        try:
            line = click.prompt(_prompt(work), default="", show_default=False, prompt_suffix="> ")
        except click.Abort:
            # The end of input, or Ctrl-C: everything acknowledged is on disk.
            click.echo()
            line = "q"
        words = " ".join(line.split())
        try:
            if words and not _obey(work, by, words):
                return
        except ProofProblem as problem:
            click.echo(f"{problem}")


def _prompt(work: Work) -> str:
    from benchproof.plan.actions import TakeReading

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
    take_reading(work, by, (position, pair, value), lean="", again=False)
    _acknowledge(work)


def _read_next(work: Work, by: str, value: str) -> None:
    from benchproof.plan.actions import TakeReading
    from benchproof.proof.events import Event, ReadingTaken
    from benchproof.proof.problems import ProofProblem
    from benchproof.proof.state import State

    asked = work.state.next.action
    if not isinstance(asked, TakeReading):
        raise ProofProblem(
            "Nothing more is asked for; type position, pair and value, such as "
            f"'{work.state.ground.family.positions[0]} A-B 0.3', or q to leave."
        )

    def make(_: State) -> Event:
        # Whatever others read meanwhile: this value is of the cell that was asked for.
        return ReadingTaken(
            now(), by, asked.position, asked.pair, value, lean=asked.lean, again=asked.again
        )

    work.append(make)
    _acknowledge(work)


def _acknowledge(work: Work) -> None:
    print_last_reading(work.state)
    print_dangers(work.state)


def take_reading(
    work: Work, by: str, typed: tuple[str, str, str], *, lean: str, again: bool
) -> None:
    """Record one reading of a cell that a person named.

    Raises
    ------
    ProofProblem
        If it cannot be understood; then nothing was recorded.
    """
    from benchproof.proof.events import Event, ReadingTaken
    from benchproof.proof.state import State
    from benchproof.proof.typed import spelled

    def make(state: State) -> Event:
        at, pins, toward = spelled(state.ground.family, typed[0], typed[1], lean)
        return ReadingTaken(now(), by, at, pins, typed[2], lean=toward, again=again)

    work.append(make)


def withdraw(work: Work, by: str, seq: int | None, reason: str) -> None:
    """Withdraw a reading: the one named, or the last that counts.

    Raises
    ------
    ProofProblem
        If there is none to withdraw.
    """
    from benchproof.proof.events import Event, ReadingWithdrawn
    from benchproof.proof.problems import ProofProblem
    from benchproof.proof.state import State

    if seq is None:
        counted = [one.seq for round_ in work.state.rounds for one in round_.taken]
        if not counted:
            raise ProofProblem("No reading counts yet, so there is none to withdraw.")
        seq = max(counted)
    # Settled once: if somebody reads meanwhile, theirs is not the one that was meant.
    meant = seq

    def make(_: State) -> Event:
        return ReadingWithdrawn(now(), by, meant, reason or "no reason given")

    work.append(make)
    click.echo(
        f"Reading {meant} is withdrawn; it stays in the record and does not count.", err=True
    )


def turn(work: Work, by: str, note: str) -> None:
    """Note that the body was turned."""
    from benchproof.proof.events import BodyTurned, Event
    from benchproof.proof.state import State

    def make(state: State) -> Event:
        found = state.as_left.diagnosis if state.as_left.taken else None
        return BodyTurned(now(), by, note, None if found is None else found.offset.best)

    work.append(make)


def remark(work: Work, by: str, text: str) -> None:
    """Add a remark."""
    from benchproof.proof.events import Remarked

    work.append(lambda _: Remarked(now(), by, text))


def _undo(work: Work, by: str, rest: str) -> bool:
    withdraw(work, by, None, rest)
    return True


def _turn(work: Work, by: str, rest: str) -> bool:
    from benchproof.proof.cautions import AFTER_TURNING, BEFORE_TURNING

    click.echo(f"! {BEFORE_TURNING}")
    turn(work, by, rest)
    click.echo(f"Noted. {AFTER_TURNING}")
    return True


def _remark(work: Work, by: str, rest: str) -> bool:
    remark(work, by, rest)
    click.echo("Noted.")
    return True


def _show(work: Work, _: str, __: str) -> bool:
    print_against(work.state)
    return True


def _help(_: Work, __: str, ___: str) -> bool:
    click.echo("A value (c, o, OL, 0.3, 1.2k): the reading that is asked for.")
    click.echo("POSITION PAIR VALUE: a reading of another cell.")
    for command in _COMMANDS:
        click.echo(f"{command.word}: {command.sentence}")
    return True


def _leave(work: Work, _: str, __: str) -> bool:
    click.echo(f"Everything is recorded; go on with: benchproof proof read {work.tag}")
    return False


_COMMANDS = (
    _Command("u", "withdraw the last reading; a reason may follow.", _undo),
    _Command("turn", "the body was turned; how far may follow.", _turn),
    _Command("remark", "note what follows.", _remark),
    _Command("why", "what stands against accepting the part.", _show),
    _Command("?", "what you can do.", _help),
    _Command("q", "leave; the proof stays open.", _leave),
)
