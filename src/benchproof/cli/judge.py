"""`benchproof judge`: a sheet of readings, or a sweep trace, against its chart."""

from dataclasses import replace

import click

from benchproof.cli.diagnosis import (
    print_cautions,
    print_dangers,
    print_diagnosis,
    print_judgement,
    print_next,
    print_questions,
)
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.loading import load_bench, load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import (
    BENCH,
    FAMILY,
    JSON,
    METER,
    PRIORS,
    SAY,
    temperature_options,
    under_of,
)
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.cli.trace import TRACE, load_sweep, passed, print_sweep, print_sweep_hazards
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.face.swept import judged_shown
from benchproof.family.danger import notes_on
from benchproof.judge.sheet import SheetVerdict
from benchproof.reading.evidence import Evidence
from benchproof.reading.sheet import read_readings
from benchproof.shipped.contents import USUAL_BENCH, USUAL_METER
from benchproof.trace.evidence import swept_evidence


@click.command()
@FAMILY
@click.argument("readings", required=False)
@METER
@click.option(
    "--lead-ohm",
    type=NumberType("ohm", 0, 100),
    metavar="OHM",
    help="The leads read this and are not nulled.",
)
@click.option(
    "--ambient",
    type=NumberType("°C", -40, 60),
    metavar="DEGC",
    help="Temperature at the meter.",
)
@temperature_options
@BENCH
@PRIORS
@TRACE
@SAY
@JSON
@click.pass_context
def judge(
    ctx: click.Context,
    family: str,
    readings: str | None,
    meter: str | None,
    part_c: float | None,
    part_c_u: float | None,
    lead_ohm: float | None,
    ambient: float | None,
    bench: str | None,
    priors: str | None,
    trace: str | None,
    say: tuple[str, ...],
    as_json: bool,
) -> None:
    """Judge READINGS against the chart of FAMILY, cell by cell, and say what is wrong.

    FAMILY is a family file (TOML), a chart (CSV or XLSX), or the name of a family that comes
    with the program. READINGS is a CSV or XLSX file: the chart's own grid with readings in it, or
    a list with the headings position, pin, pin, reading, unit, time, note. Either may be - for
    standard input. With --trace a sweep is judged too, or alone. Exit code 0 only if all passes.
    """
    if [family, readings, trace].count("-") > 1:
        raise Refused("judge: only one file can come from standard input.")
    if readings is None and trace is None:
        raise Refused("judge: give READINGS, or a sweep with --trace FILE, or both.")
    chart = load_family(family, say)
    known = load_priors(priors, chart.name)
    swept = None if trace is None else load_sweep(trace, chart, known.margins)
    used = load_meter(meter or USUAL_METER)
    if lead_ohm is not None:
        used = replace(used, leads=replace(used.leads, ohm=lead_ohm, nulled=False))
    evidence = Evidence()
    if readings is not None:
        under = under_of(part_c, part_c_u)
        content = read_bytes(readings)
        evidence = Evidence.of(read_readings(content, shown_name(readings), chart, used, under))
    profile = load_bench(bench or USUAL_BENCH)
    ground = ground_for(chart, used, profile, priors=known, ambient_c=ambient)
    found = examine(ground, evidence)
    if swept is not None:
        # A sweep leaves lever and meter where they were taken to be.
        told = evidence.together(swept_evidence(swept.sweep, chart, used))
        found = examine(ground, told, found.at)
    cautions = [*notes_on(found.dangers), *found.judged.cautions]
    if meter is None:
        cautions.append(
            f"No meter was named, so the readings are taken to be of an {used.name} (invented): "
            "name yours with --meter."
        )
    if found.ground.no_diagnosis:
        cautions.append(found.ground.no_diagnosis)
    if as_json:
        print_json(judged_shown(found, cautions, swept))
    else:
        if swept is not None:
            print_sweep_hazards(swept)
        print_dangers(found.dangers)
        if readings is not None:
            print_judgement(chart, found.judged)
        if swept is not None:
            print_sweep(swept)
        if found.believed is not None:
            print_diagnosis(found.believed)
        print_questions(found.questions)
        print_next(found.next)
        print_cautions(cautions)
    good = readings is None or found.judged.verdict is SheetVerdict.PASS
    ctx.exit(int(not (good and not found.dangers and (swept is None or passed(swept)))))
