"""`benchproof next` and `benchproof route`: what to read, in which order."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from benchproof.cli.diagnosis import print_dangers, print_diagnosis, print_next, print_questions
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.loading import load_bench, load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import (
    BENCH,
    FAMILY,
    FROM,
    JSON,
    METER,
    PRIORS,
    SAY,
    temperature_options,
    under_of,
)
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.face.examined import advised_shown, route_shown
from benchproof.family.names import match_name
from benchproof.plan.actions import BenchPlace
from benchproof.plan.route import route as shortest
from benchproof.plan.route import runs_of
from benchproof.reading.sheet import read_readings
from benchproof.shipped.contents import USUAL_BENCH, USUAL_METER

if TYPE_CHECKING:
    from benchproof.family.model import Family
    from benchproof.reading.value import Reading


@click.command("next")
@FAMILY
@click.argument("readings", required=False)
@METER
@temperature_options
@BENCH
@FROM
@PRIORS
@SAY
@JSON
def next_reading(
    family: str,
    readings: str | None,
    meter: str | None,
    part_c: float | None,
    part_c_u: float | None,
    bench: str | None,
    start: str | None,
    priors: str | None,
    say: tuple[str, ...],
    as_json: bool,
) -> None:
    """Tell the reading that says most for its time, given READINGS so far (none: the first one).

    This is for finding what is wrong; a part is only passed by a full proof (see route).
    """
    chart = load_family(family, say)
    used, under = load_meter(meter or USUAL_METER), under_of(part_c, part_c_u)
    read: tuple[Reading, ...] = ()
    if readings is not None:
        read = read_readings(read_bytes(readings), shown_name(readings), chart, used, under)
    profile, known = load_bench(bench or USUAL_BENCH), load_priors(priors, chart.name)
    at = place(chart, start, read)
    found = examine(ground_for(chart, used, profile, priors=known), read, at)
    if found.ground.no_diagnosis:
        raise Refused(found.ground.no_diagnosis)
    assert found.believed is not None, "there is a diagnosis"
    if as_json:
        print_json(advised_shown(found))
        return
    print_dangers(found.dangers)
    print_next(found.next)
    print_diagnosis(found.believed)
    print_questions(found.questions)


@click.command()
@FAMILY
@BENCH
@FROM
@SAY
@JSON
def route(
    family: str, bench: str | None, start: str | None, say: tuple[str, ...], as_json: bool
) -> None:
    """Tell the shortest order in which to read every cell of FAMILY's chart.

    A start permit cell that must be open stands twice: an open reading may be a slipped probe.
    """
    chart = load_family(family, say)
    profile = load_bench(bench or USUAL_BENCH)
    found = shortest(chart, profile, place(chart, start, ()))
    if as_json:
        print_json(route_shown(profile.name, found))
        return
    echo(f"{len(found.readings)} readings, about {found.seconds:.0f} s with {profile.name}.")
    if not chart.lever:
        echo("Part unplugged and de-energised.")
        for _, pairs in runs_of(found.readings):
            echo("  ".join(pairs))
        return
    echo("Part unplugged and de-energised; count the positions from the end stop.")
    for position, pairs in runs_of(found.readings):
        echo(f"{position:>4}: {'  '.join(pairs)}")


def place(family: "Family", start: str | None, read: Sequence["Reading"]) -> BenchPlace:
    """Return where lever and meter stand: as told, else at the last reading, else at the start."""
    if start is not None:
        if not family.lever:
            raise click.BadParameter(
                f"{family.name} has no lever; leave it out.", param_hint="'--from'"
            )
        try:
            return BenchPlace(match_name(start, family.positions, "position"))
        except ValueError as error:
            raise click.BadParameter(str(error), param_hint="'--from'") from None
    if read:
        return BenchPlace(read[-1].position, read[-1].pair)
    return BenchPlace(family.positions[0])
