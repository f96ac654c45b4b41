"""`benchproof proof run`: selector and meter take the route; only the lever is asked for."""

import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchproof.cli.diagnosis import print_dangers, print_next
from benchproof.cli.files import named_bytes, shown_name
from benchproof.cli.gearfiles import load_dialect, load_gear
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE, along, temperature_options, under_of
from benchproof.cli.output import ask, echo, styled
from benchproof.cli.proofscreen import print_against, print_last_reading
from benchproof.cli.proofwork import BY, PROOF, opened_work
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.conduct.automatic import (
    LOOK_FOR_VOLTAGE,
    MOVED_MEANWHILE,
    MOVES_BY_ITSELF,
    Ended,
    LeverWanted,
    ReadingDone,
    Step,
    fits,
    moves_by_itself,
)
from benchproof.conduct.automatic import run as steps_of
from benchproof.conduct.gearchecks import (
    BEFORE_CHECK,
    Across,
    leads_nulled,
    no_voltage,
    resistor_limit_ohm,
    resistor_read,
)
from benchproof.conduct.metering import Instrument, identity_of, name_meter
from benchproof.face.proved import run_shown
from benchproof.family.names import match_name
from benchproof.instrument.problems import InstrumentProblem
from benchproof.instrument.station import Station, open_station
from benchproof.plan.actions import Stop
from benchproof.proof.closing import outcome_of
from benchproof.proof.events import ProofOutcome
from benchproof.reading.value import Conditions

if TYPE_CHECKING:
    from benchproof.conduct.work import Work


@click.command()
@PROOF
@click.option(
    "--gear",
    required=True,
    metavar="GEAR",
    shell_complete=along("gears"),
    help="Gear file, or one that comes along.",
)
@click.option("--until-failure", is_flag=True, help="Stop at the first cell that fails twice.")
@click.option("--null-leads", is_flag=True, help="First read the leads, their tips joined.")
@click.option(
    "--check",
    "known_ohm",
    type=NumberType("ohm", 0, 1e9, open_low=True),
    metavar="OHM",
    help="First read a known resistor.",
)
@click.option(
    "--check-limit",
    "limit_ohm",
    type=NumberType("ohm", 0, 1e9),
    metavar="OHM",
    help="How far it may be off; else 1 % and twice the meter's uncertainty.",
)
@temperature_options
@BY
@STORE
@JSON
@click.pass_context
def run(
    ctx: click.Context,
    tag: str,
    gear: str,
    until_failure: bool,
    null_leads: bool,
    known_ohm: float | None,
    limit_ohm: float | None,
    part_c: float | None,
    part_c_u: float | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Run PROOF with the selector and meter of GEAR; it asks for the lever moves.

    Each reading is on disk before the next one; stopped by whatever, run it again and it goes on.
    The part must be off the vehicle or unplugged, and de-energised, before it is joined to the
    selector. Exit code 0 if all is read and it can be accepted (or is likely good, to find), 1 if
    all is read and it cannot, 2 if it was stopped.
    """
    if limit_ohm is not None and known_ohm is None:
        raise Refused("--check-limit is of a known resistor; name it with --check OHM.")
    under, described = under_of(part_c, part_c_u), load_gear(gear)
    say = partial(echo, err=as_json)
    # A signal to end it stops it as Ctrl-C does: the selector is opened first.
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with opened_work(store, tag, by) as work:
            ended = _nothing_left(work)
            if ended is None:
                positions = work.state.ground.family.positions
                ask = partial(_ask, positions, say)
                beside = Path(gear).parent
                station = open_station(
                    described, lambda name: load_dialect(name, beside), ask, positions
                )
                with _closing(station):
                    fits(work, station)
                    instrument = Instrument(described.which, identity_of(station))
                    name_meter(work, instrument, by, meter_file)
                    _begin(work, station, by, null_leads, known_ohm, limit_ohm, say)
                    ended = _run(work, station, by, until_failure, ask, under, as_json=as_json)
            _tell(work, ended, say, as_json=as_json)
            code = int(ended.failed or not _good(work))
    except (KeyboardInterrupt, click.Abort):
        raise Refused(f"\nStopped. {_go_on(tag, gear)}") from None
    finally:
        signal.signal(signal.SIGTERM, before)
    if ended.problem:
        raise Refused(f"{ended.problem}\nStopped. {_go_on(tag, gear)}")
    ctx.exit(code)


def meter_file(kind: str, name: str) -> tuple[bytes, str]:
    """Return a file by its name, and its name as it is shown."""
    return named_bytes(kind, name), shown_name(name)


def _go_on(tag: str, gear: str) -> str:
    return f"Every reading is recorded; go on with: benchproof proof run {tag} --gear {gear}"


def _nothing_left(work: "Work") -> Ended | None:
    """Return the end of a proof that asks for nothing more, so that nothing is hooked up for it."""
    action = work.state.next.action
    return Ended(action, "") if isinstance(action, Stop) else None


@contextmanager
def _closing(station: Station) -> Iterator[None]:
    """Close a station after a block; what that finds does not hide how the block ended."""
    try:
        yield
    finally:
        try:
            station.close()
        except InstrumentProblem as problem:
            echo(f"! {problem}", err=True)


def _begin(
    work: "Work",
    station: Station,
    by: str,
    null_leads: bool,
    known_ohm: float | None,
    limit_ohm: float | None,
    say: Callable[[str], None],
) -> None:
    """Tell the cautions, and check what was asked to be checked and that no voltage stands."""
    pair = work.state.ground.family.charted_pairs[0]
    between, across = "-".join(pair), Across(station, pair)
    if null_leads:
        _confirm(f"{BEFORE_CHECK}join the tips, a short across {between}, and press Enter", say)
        say(leads_nulled(work, across, by).told)
    if known_ohm is not None:
        limit = resistor_limit_ohm(work, known_ohm) if limit_ohm is None else limit_ohm
        put = f"put the resistor of {known_ohm:g} ohm across {between}, and press Enter"
        _confirm(f"{BEFORE_CHECK}{put}", say)
        say(resistor_read(work, across, by, known_ohm, limit).told)
    for one in (*work.state.dangers, *work.state.cautions):
        say(f"! {one}")
    if moves_by_itself(work, station):
        say(f"! {MOVES_BY_ITSELF}")
    if null_leads or known_ohm is not None:
        _confirm("Take that away, join the part, unplugged and de-energised, and press Enter", say)
    checked = no_voltage(work, station, by)
    if checked is None:
        say(f"! {LOOK_FOR_VOLTAGE}")
    else:
        say(checked.told)


def _run(
    work: "Work",
    station: Station,
    by: str,
    until_failure: bool,
    ask: Callable[[str, str], str],
    under: Conditions,
    *,
    as_json: bool,
) -> Ended:
    steps = steps_of(work, station, by, ask, until_failure=until_failure, under=under)
    while True:
        try:
            step = next(steps)
        except StopIteration as stopped:
            ended: Ended = stopped.value
            return ended
        _show(work, step, as_json=as_json)


def _show(work: "Work", step: Step, *, as_json: bool) -> None:
    say = partial(echo, err=as_json)
    match step:
        case LeverWanted(position, lean, by_hand):
            toward = f", HOLD IT TOWARD {lean}" if lean else ""
            line = f"LEVER TO  {position}{toward}"
            say(styled(f"\n>>>>>>  {line}  <<<<<<\n", bold=True) if by_hand else f"{line}.")
        case ReadingDone() if as_json:
            pass
        case ReadingDone():
            print_last_reading(work.state, work.tag)
            print_dangers(work.state.dangers)
        case _:
            say(MOVED_MEANWHILE)


def _confirm(text: str, say: Callable[[str], None]) -> None:
    say(text)
    ask("", default="", show_default=False, prompt_suffix="", err=True)


def _ask(positions: Sequence[str], say: Callable[[str], None], position: str, _: str) -> str:
    """Return where a person says that the lever is: Enter for where it was asked for."""
    while True:
        typed = ask(
            f"Press Enter once it is in {position}, or type where it is",
            default="",
            show_default=False,
            err=True,
        )
        try:
            return match_name(typed, positions, "position") if typed.strip() else position
        except ValueError as error:
            say(f"{error}")


def _good(work: "Work") -> bool:
    return outcome_of(work.state) in (ProofOutcome.ACCEPTED, ProofOutcome.LIKELY_GOOD)


def _tell(work: "Work", ended: Ended, say: Callable[[str], None], *, as_json: bool) -> None:
    if as_json:
        print_json(run_shown(work, ended))
        return
    print_dangers(work.state.dangers)
    if ended.failed:
        assert ended.stop is not None, "it failed"
        say(f"Stopped at the first failure: {ended.stop.reason}.")
    elif not ended.problem:
        print_next(work.state.next)
        print_against(work.state)
