"""`benchproof foretell`: what the controller would read, and what the vehicle would do."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from benchproof.cli.diagnosis import print_dangers, print_questions
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.loading import load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, METER, PRIORS, SAY
from benchproof.cli.output import echo, print_grid, styled
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.face.aligned import foretold_shown
from benchproof.family.model import Family, Grade
from benchproof.family.sentence import one_line, percent, risk_percent
from benchproof.foretell.consequences import CODES, signal_of
from benchproof.foretell.faulttext import parse_fault
from benchproof.foretell.outlook import Outlook, of_condition
from benchproof.foretell.permitproof import PermitFacts, cautions_of, limits_of, loose_of, proof_of
from benchproof.foretell.travelplaces import where_text
from benchproof.reading.sheet import read_readings
from benchproof.shipped.contents import USUAL_METER

if TYPE_CHECKING:
    from benchproof.foretell.controller import Level, SeenByController
    from benchproof.foretell.foretelling import Foretold
    from benchproof.network.faults import Fault

MOST_FAULTS = 6
"""A part with more at once is not worth foretelling."""
GRADE_COLOUR = {"hazard": "red", "drivability": "yellow", "nuisance": "cyan"}


@click.command()
@FAMILY
@click.argument("readings", required=False)
@click.option(
    "--offset",
    type=NumberType("deg", -180, 180),
    metavar="DEG",
    help="The part leads by this; in detent gaps where the family tells no angles.",
)
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="F",
    help="What is wrong, such as 'contact stuck closed at A-E'; may be given again.",
)
@METER
@PRIORS
@SAY
@JSON
@click.pass_context
def foretell(
    ctx: click.Context,
    family: str,
    readings: str | None,
    offset: float | None,
    faults: tuple[str, ...],
    meter: str | None,
    priors: str | None,
    say: tuple[str, ...],
    as_json: bool,
) -> None:
    """Foretell what a vehicle does with a part of FAMILY.

    Either as its READINGS and their diagnosis have it, or in a stated condition: --offset, --fault,
    or neither for a good part in line. Exit code 1 if anything is foretold that is worth telling.
    """
    if family == readings == "-":
        raise Refused("foretell: only one of FAMILY and READINGS can come from standard input.")
    if readings is not None and (offset is not None or faults):
        raise Refused("foretell: give READINGS, or a condition by --offset and --fault; not both.")
    if len(faults) > MOST_FAULTS:
        raise Refused(f"foretell: more than {MOST_FAULTS} faults at once; leave some out.")
    chart, used = load_family(family, say), load_meter(meter or USUAL_METER)
    ground = ground_for(chart, used, priors=load_priors(priors, chart.name))
    vehicle = ground.basis.vehicle
    notes: list[str] = []
    found = None
    if readings is None:
        stated = [_fault(text, vehicle.family) for text in faults]
        outlook, subject = (
            of_condition(vehicle, offset or 0.0, stated),
            PermitFacts(vehicle, (), used),
        )
    else:
        read = read_readings(read_bytes(readings), shown_name(readings), chart, used)
        found = examine(ground, read)
        outlook = found.foretold
        if ground.no_diagnosis:
            notes.append(f"{ground.no_diagnosis} Only what was read itself is foretold.")
        subject = PermitFacts(vehicle, tuple(read), used)
        if meter is None:
            notes.append(
                f"No meter was named, so the readings are taken to be of an {used.name} "
                "(invented): name yours with --meter."
            )
    if as_json:
        dangers = () if found is None else found.dangers
        print_json(foretold_shown(outlook, subject, dangers, notes))
    else:
        if found is not None:
            print_dangers(found.dangers)
        print_questions(ground.safety.questions)
        print_outlook(outlook, subject, notes)
    ctx.exit(int(bool(outlook.worth_telling)))


def _fault(text: str, family: Family) -> "Fault":
    try:
        return parse_fault(text, family)
    except ValueError as error:
        sentence = one_line(f"{error}")
        raise Refused(
            f"--fault: {sentence}{'' if sentence.endswith(('.', '?')) else '.'}"
        ) from None


def print_outlook(outlook: Outlook, known: PermitFacts, notes: Sequence[str]) -> None:
    """Print hazards, what the controller sees, the other consequences, and what to mind."""
    told = outlook.worth_telling
    hazards = [one for one in told if one.rule.grade is Grade.HAZARD]
    others = [one for one in told if one.rule.grade is not Grade.HAZARD]
    echo(styled("Foretold of: ", bold=True), outlook.of)
    for one in hazards:
        _print_foretold(one)
    if known.vehicle.controller.rows:
        _print_detents(outlook)
        _print_between(outlook)
    for one in others:
        _print_foretold(one)
    if known.vehicle.controller.rows and not told:
        echo("No consequence is foretold.")
    for one in outlook.not_ruled_out:
        assert one.probability is not None, "a stated condition has no hazard that is unlikely"
        where = where_text(one.places)
        echo(f"Not ruled out ({one.rule.name}): {where}, {risk_percent(one.probability)}.")
    if any(one.rule.code for one in told):
        echo(CODES)
    if outlook.not_foretold is not None and outlook.not_foretold > NOT_FORETOLD:
        left = percent(outlook.not_foretold)
        echo(f"Nothing is foretold of explanations that come to {left} together.")
    _print_list("Start permit:", proof_of(known))
    _print_list("Not known:", limits_of(known))
    _print_list("Loose lever or worn linkage:", loose_of(told))
    _print_list("Cautions:", [*cautions_of(known), *notes])


NOT_FORETOLD = 0.001
"""More than this left out is worth telling."""


def _print_list(title: str, sentences: Sequence[str]) -> None:
    if sentences:
        echo(title)
    for sentence in sentences:
        echo(f"  {sentence}")


def _print_foretold(one: "Foretold") -> None:
    grade, signal = one.rule.grade.value, signal_of(one.rule)
    head = grade.capitalize() if signal is None else signal.value
    signed = styled(head, bold=True, fg=GRADE_COLOUR[grade])
    echo(signed, f" ({one.rule.name}): {_tagged(one)}")
    for chain in one.chains[:MOST_CHAINS]:
        echo(f"    {chain}")
    if len(one.chains) > MOST_CHAINS:
        echo(f"    and likewise elsewhere ({len(one.chains) - MOST_CHAINS} more)")


MOST_CHAINS = 3
"""More than this are the same again; JSON has them all."""


def _tagged(one: "Foretold") -> str:
    sentence = one.sentence if one.certain else f"It may be: {one.sentence}"
    tags = [f"({text})" for text in (one.rule.cite, one.rule.code) if text]
    if one.probability is not None:
        tags.append(f"[{'as read, ' if one.read else ''}{percent(one.probability)}]")
    return " ".join([sentence, *tags])


def _print_detents(outlook: Outlook) -> None:
    rows = []
    for name, seen in outlook.detents.items():
        turns = [[one.read_text, _level(one.start), _level(one.reverse)] for one in seen]
        columns = [" / ".join(dict.fromkeys(column)) for column in zip(*turns, strict=True)]
        told = [name, *(columns or ["not read", "-", "-"])]
        rows.append([(text, "") for text in told])
    print_grid(["lever", "controller reads", "start permit", "reverse lamp"], rows)


def _level(level: "Level | None") -> str:
    return "-" if level is None else level.value


def _print_between(outlook: Outlook) -> None:
    if outlook.explained is not None:
        echo(
            f"Between detents, by the likeliest explanation ({outlook.explanation}, "
            f"{percent(outlook.explained)}):"
        )
    elif outlook.stretches:
        echo("Between detents:")
    # What stays the same across the middle of a gap is one line for a person; JSON parts it.
    gap: tuple[str, ...] = ()
    line, start, stop = "", 0.0, 0.0
    for stretch in outlook.stretches:
        here = tuple(sorted((stretch.place.position, stretch.place.beside)))
        assert stretch.place.span is not None, "a stretch between detents has its angles"
        if here == gap and _stretch_text(stretch.seen) == line:
            stop = stretch.place.span[1]
            continue
        if line:
            echo(f"    {start:.4g} to {stop:.4g} {stretch.place.unit}: {line}")
        if here != gap:
            echo(f"  {stretch.place.position} to {stretch.place.beside}:")
        gap, line, (start, stop) = here, _stretch_text(stretch.seen), stretch.place.span
    if line:
        echo(f"    {start:.4g} to {stop:.4g} {stretch.place.unit}: {line}")


def _stretch_text(seen: "SeenByController") -> str:
    on = [f"start permit {seen.start}"] if seen.start and seen.start != "off" else []
    on += [f"reverse lamp {seen.reverse}"] if seen.reverse and seen.reverse != "off" else []
    return ", ".join([seen.read_text, *on])
