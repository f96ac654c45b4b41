"""`benchproof proof`: one test of one part, from the first reading to its end."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from benchproof import __version__
from benchproof.cli.diagnosis import print_dangers, print_next, print_questions
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.intake import photograph_bytes
from benchproof.cli.objects import print_json
from benchproof.cli.options import BENCH, JSON, SAY, STORE, along, either
from benchproof.cli.output import echo, no_option
from benchproof.cli.prooffound import condition_options
from benchproof.cli.proofprompt import prompt_loop
from benchproof.cli.proofrun import meter_file
from benchproof.cli.proofscreen import (
    IF_NOT_TURNED,
    print_closed,
    print_proof,
    print_proof_cautions,
    print_proof_json,
    print_replay,
    tell,
)
from benchproof.cli.proofwork import BY, PROOF, opened_work
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.metering import COLDEST_C, MOST_LEAD_OHM, WARMEST_C
from benchproof.conduct.metering import choose as chosen
from benchproof.conduct.opening import bench_chosen, meter_chosen, note_known
from benchproof.conduct.opening import open_proof as opened
from benchproof.conduct.proofactions import note_work as noted
from benchproof.conduct.proofactions import take_back_turn as taken_back
from benchproof.conduct.proofactions import take_reading, take_sheet, turn, withdraw, withdrawn_as
from benchproof.conduct.work import now
from benchproof.face.proved import replay_shown
from benchproof.proof.cautions import AFTER_TURNING, BEFORE_TURNING
from benchproof.proof.closing import closing
from benchproof.proof.events import (
    BodyTurned,
    Event,
    Mistake,
    Mode,
    Photographed,
    ProofOutcome,
    Remarked,
)
from benchproof.proof.replay import replay as replayed
from benchproof.proof.state import State
from benchproof.reading.value import Conditions

_Command = TypeVar("_Command", bound=Callable[..., Any])
_OF_A_METER = "--lead-ohm and --ambient are of a meter; name it with --meter."
OUTCOMES = ("accepted", "realign", "repair", "recheck", "likely-good", "abandoned")
MISTAKES = ("slip", "wrong cell", "wrong key", "meter or leads", "other")
METER = click.option(
    "--meter",
    metavar="M",
    shell_complete=either(completing("gear"), along("meters")),
    help="Meter: a tag of the gear, a file, or one that comes along.",
)


def _meter_options(command: _Command) -> _Command:
    """Add the options that name a meter and how it is used."""
    ambient = click.option(
        "--ambient",
        type=NumberType("°C", COLDEST_C, WARMEST_C),
        metavar="DEGC",
        help="Temperature at the meter.",
    )
    lead = click.option(
        "--lead-ohm",
        type=NumberType("ohm", 0, MOST_LEAD_OHM),
        metavar="OHM",
        help="The leads read this and are not nulled.",
    )
    return METER(lead(ambient(command)))


@click.command("open")
@click.argument("part", shell_complete=completing("parts"))
@click.option(
    "--mode",
    type=click.Choice(["find", "prove"]),
    default="prove",
    show_default=True,
    help="To find what is wrong, or to prove every cell; only that can accept a part.",
)
@_meter_options
@BENCH
@SAY
@click.option("--another", is_flag=True, help="Although another proof of PART is open.")
@BY
@STORE
@JSON
def open_proof(
    part: str,
    mode: str,
    meter: str | None,
    lead_ohm: float | None,
    ambient: float | None,
    bench: str | None,
    say: tuple[str, ...],
    another: bool,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Open a proof of PART and tell what to read first.

    While one is open it says how to go on with that one.
    """
    if meter is None and (lead_ohm is not None or ambient is not None):
        raise Refused(_OF_A_METER)
    with opened_store(store) as archive:
        chosen = (
            meter_chosen(
                archive, meter, by, lead_ohm=lead_ohm, ambient_c=ambient, file_of=meter_file
            )
            if meter
            else ""
        )
        profile = bench_chosen(archive, bench, by, file_of=meter_file) if bench else ""
        try:
            work = opened(
                archive,
                part,
                Mode(mode),
                meter=chosen,
                bench=profile,
                by=by,
                say=say,
                another=another,
            )
        except ValueError as error:
            raise Refused(f"--say: {error}.") from None
        if as_json:
            print_proof_json(work)
            return
        print_dangers(work.state.dangers)
        echo(f"{work.tag} is open.")
        print_questions(work.state.ground.safety.questions)
        print_proof_cautions(work.state)
        print_next(work.state.next)


@click.command()
@PROOF
@_meter_options
@BENCH
@BY
@STORE
@JSON
def choose(
    tag: str,
    meter: str | None,
    lead_ohm: float | None,
    ambient: float | None,
    bench: str | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Choose meter or bench of PROOF; a meter only before its first reading."""
    if meter is None and bench is None:
        raise Refused("proof choose: name a meter with --meter, a bench with --bench, or both.")
    if meter is None and (lead_ohm is not None or ambient is not None):
        raise Refused(_OF_A_METER)
    with opened_work(store, tag, by) as work:
        chosen(
            work,
            by,
            meter or "",
            bench or "",
            lead_ohm=lead_ohm,
            ambient_c=ambient,
            file_of=meter_file,
        )
        tell(work, as_json=as_json)


_GIVE = (
    "proof read: give POSITION PAIR VALUE, such as R A-B 0.3, or --sheet FILE, or neither; a part "
    "without a lever needs no POSITION."
)


# A nulled meter shows -0.1, which is a reading and no option.
@click.command(context_settings={"ignore_unknown_options": True})
@PROOF
@click.argument("reading", nargs=-1, callback=no_option, metavar="[POSITION PAIR VALUE]")
@click.option("--lean", default="", metavar="TOWARD", help="Lever held off toward this neighbour.")
@click.option("--again", is_flag=True, help="The probes were lifted and set again for it.")
@click.option("--sheet", metavar="FILE", help="Record every reading of a sheet.")
@condition_options
@BY
@STORE
@JSON
def read(
    tag: str,
    reading: tuple[str, ...],
    lean: str,
    again: bool,
    sheet: str | None,
    by: str,
    store: str | None,
    as_json: bool,
    **under: float | None,
) -> None:
    """Record a reading of PROOF, or a whole sheet; with neither, work through it at a prompt.

    Each reading is on disk before it is acknowledged. At the prompt type what the meter shows, u to
    withdraw the last reading, ? for what else can be done, q to leave. What the part was under,
    such as its temperature, counts for every reading of the call.
    """
    if len(reading) not in (0, 2, 3) or (reading and sheet):
        raise Refused(_GIVE)
    conditions = Conditions(**under)
    if not reading and (lean or again):
        raise Refused("--lean and --again go with one reading; give POSITION PAIR VALUE.")
    if not reading and sheet is None and as_json:
        raise Refused("--json goes with a reading or a sheet, not with the prompt.")
    with opened_work(store, tag, by) as work:
        if sheet is not None:
            sheet_taken = take_sheet(work, by, read_bytes(sheet), shown_name(sheet), conditions)
            if not as_json:
                echo(sheet_taken.told)
        elif reading:
            if len(reading) == 2 and work.state.ground.family.lever:
                raise Refused(_GIVE)
            position, pair, value = reading if len(reading) == 3 else ("", *reading)
            take_reading(
                work, by, (position, pair, value), lean=lean, again=again, under=conditions
            )
        else:
            prompt_loop(work, by, conditions)
            return
        tell(work, as_json=as_json, reading=bool(reading))


@click.command()
@PROOF
@click.option("--reading", type=click.IntRange(1), metavar="NUMBER", help="Not the last, this one.")
@click.option("--reason", default="", metavar="TEXT", help="Why it does not count.")
@click.option(
    "--kind",
    type=click.Choice(MISTAKES),
    default="other",
    show_default=True,
    help="What it is put down to.",
)
@BY
@STORE
@JSON
def undo(
    tag: str,
    reading: int | None,
    reason: str,
    kind: str,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Withdraw the last reading of PROOF; it stays in the record.

    One that speaks against the part counts nevertheless until it is put down to a mistake that can
    read so (a slipped probe reads open, never closed) and two readings since agree against it, one
    of them with the lever held toward a neighbor or by a second person.
    """
    with opened_work(store, tag, by) as work:
        seq = withdraw(work, by, reading, reason, Mistake(kind))
        echo(withdrawn_as(work.state, seq), err=True)
        tell(work, as_json=as_json)


@click.command("work")
@PROOF
@click.argument("what")
@BY
@STORE
@JSON
def note_work(tag: str, what: str, by: str, store: str | None, as_json: bool) -> None:
    """Note WHAT was done to the part of PROOF, before its first reading; --by says who did it.

    It clears what an earlier proof of the part found. Where that one saw the start permit conduct
    in gear, every cell is to be read after it.
    """
    with opened_work(store, tag, by) as work:
        noted(work, by, what)
        if not as_json:
            echo("Noted.")
        tell(work, as_json=as_json)


@click.command("turn")
@PROOF
@click.argument("note", default="")
@BY
@STORE
@JSON
def turn_body(tag: str, note: str, by: str, store: str | None, as_json: bool) -> None:
    """Note that the body was turned: what was read before is as found.

    Before you turn it on a vehicle: wheels chocked, parking brake on, engine off, part unplugged,
    linkage off. A vehicle whose linkage is off can roll.
    """
    with opened_work(store, tag, by) as work:
        work.state.check(BodyTurned)
        echo(f"! {BEFORE_TURNING}", err=True)
        turn(work, by, note)
        echo(f"Noted. {AFTER_TURNING} {IF_NOT_TURNED.format(tag=tag)}", err=True)
        tell(work, as_json=as_json)


@click.command("unturn")
@PROOF
@click.argument("reason", default="")
@click.option(
    "--turn", "seq", type=click.IntRange(1), metavar="NUMBER", help="Not the last, this event."
)
@BY
@STORE
@JSON
def take_back_turn(
    tag: str, reason: str, seq: int | None, by: str, store: str | None, as_json: bool
) -> None:
    """Take back a turn of the body that was noted by mistake; it stays in the record.

    What was read before it counts as left again, together with what was read since: of readings of
    a cell that disagree the worst counts. --by says who takes it back.
    """
    with opened_work(store, tag, by) as work:
        echo(taken_back(work, by, reason, seq), err=True)
        tell(work, as_json=as_json)


@click.command("remark")
@PROOF
@click.argument("text")
@BY
@STORE
@JSON
def add_remark(tag: str, text: str, by: str, store: str | None, as_json: bool) -> None:
    """Add a remark to PROOF, closed ones too."""
    with opened_work(store, tag, by) as work:
        work.record(Remarked(now(), by, text))
        if as_json:
            print_proof_json(work)
        else:
            echo("Noted.")


@click.command()
@PROOF
@click.argument("photograph", metavar="FILE")
@click.argument("what", default="")
@BY
@STORE
@JSON
def photograph(
    tag: str, photograph: str, what: str, by: str, store: str | None, as_json: bool
) -> None:
    """Add a photograph to PROOF; where it was taken is removed from it."""
    content = photograph_bytes(photograph)
    with opened_work(store, tag, by) as work:
        key = work.store.photographs.put(content, shown_name(photograph))
        work.record(Photographed(now(), by, key, what))
        if as_json:
            print_proof_json(work)
        else:
            echo("Noted.")


@click.command()
@PROOF
@click.option("--as", "outcome", type=click.Choice(OUTCOMES), help="As what; else as is decided.")
@click.option("--override-by", default="", metavar="NAME", help="Who answers for accepting it.")
@click.option("--reason", default="", metavar="TEXT", help="Why they do.")
@BY
@STORE
@JSON
@click.pass_context
def close(
    ctx: click.Context,
    tag: str,
    outcome: str | None,
    override_by: str,
    reason: str,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Close PROOF; exit code 0 only if it is accepted.

    It is accepted only if it proves, every cell passes and no doubt is open. An override needs a
    name and a reason, and stands on the certificate.
    """

    def make(state: State) -> Event:
        return closing(
            state,
            now(),
            by,
            __version__,
            ProofOutcome(outcome) if outcome else None,
            override_by=override_by,
            override_reason=reason,
        )

    with opened_work(store, tag, by) as work:
        note_known(work)
        work.append(make)
        if as_json:
            print_proof_json(work)
        else:
            print_dangers(work.state.dangers)
            print_closed(work.state)
        closed = work.state.closed
        ctx.exit(int(closed is None or closed.outcome is not ProofOutcome.ACCEPTED))


@click.command()
@PROOF
@STORE
@JSON
def show(tag: str, store: str | None, as_json: bool) -> None:
    """Show everything that PROOF says."""
    with opened_work(store, tag, reading=True) as work:
        if as_json:
            print_proof_json(work)
        else:
            print_proof(work)


@click.command()
@PROOF
@STORE
@JSON
@click.pass_context
def replay(ctx: click.Context, tag: str, store: str | None, as_json: bool) -> None:
    """Fold the events of PROOF again and say what differs from what was concluded.

    Exit code 0 if nothing does, bit for bit.
    """
    with opened_work(store, tag, reading=True) as work:
        found = replayed(work.state.events, work.files, __version__)
    if as_json:
        print_json(replay_shown(tag, found))
    else:
        print_replay(tag, found)
    ctx.exit(int(not found.identical))
