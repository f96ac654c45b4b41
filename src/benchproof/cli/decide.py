"""`benchproof decide`: what to do with a part, by what each choice is expected to cost."""

from dataclasses import replace

import click

from benchproof.cli.diagnosis import print_dangers, print_questions
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.loading import load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, METER, PRIORS, SAY, temperature_options, under_of
from benchproof.cli.output import echo, styled
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.cli.tables import print_table
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.face.examined import decided_shown
from benchproof.reading.sheet import read_readings
from benchproof.shipped.contents import USUAL_METER, usual_costs
from benchproof.shop.costs import Costs, read_costs
from benchproof.shop.decision import Decision
from benchproof.shop.decision import decide as price

INVENTED = "The costs are invented; put the shop's own into a file and name it with --costs."


@click.command()
@FAMILY
@click.argument("readings")
@click.option("--costs", metavar="FILE", help="The shop's own figures (TOML).")
@METER
@click.option(
    "--lead-ohm",
    type=NumberType("ohm", 0, 100),
    metavar="OHM",
    help="The leads read this and are not nulled.",
)
@temperature_options
@PRIORS
@SAY
@JSON
def decide(
    family: str,
    readings: str,
    costs: str | None,
    meter: str | None,
    part_c: float | None,
    part_c_u: float | None,
    lead_ohm: float | None,
    priors: str | None,
    say: tuple[str, ...],
    as_json: bool,
) -> None:
    """Price what can be done with a part of FAMILY after these READINGS.

    Reuse, realign, clean and retest, or replace: each with the work, the new part and the comebacks
    that it is expected to cost.
    """
    if family == readings == "-":
        raise Refused("decide: only one of FAMILY and READINGS can come from standard input.")
    chart = load_family(family, say)
    used = load_meter(meter or USUAL_METER)
    if lead_ohm is not None:
        used = replace(used, leads=replace(used.leads, ohm=lead_ohm, nulled=False))
    under = under_of(part_c, part_c_u)
    read = read_readings(read_bytes(readings), shown_name(readings), chart, used, under)
    figures = load_costs(costs, chart.name)
    found = examine(ground_for(chart, used, priors=load_priors(priors, chart.name)), read)
    decided = price(found, figures)
    remarks = [*decided.remarks, *([INVENTED] if costs is None else [])]
    if as_json:
        shown = decided_shown(found.dangers, found.questions, decided, figures.currency, remarks)
        print_json(shown)
    else:
        print_dangers(found.dangers)
        print_decision(decided, figures)
        for remark in remarks:
            echo(remark)
        print_questions(found.questions)


def load_costs(name: str | None, family: str) -> Costs:
    """Return the shop's figures from a file, which may leave out keys, or the invented ones.

    Raises
    ------
    BadFile
        With every mistake in it.
    """
    usual = read_costs(usual_costs(), "costs.toml", family)
    return usual if name is None else read_costs(read_bytes(name), shown_name(name), family, usual)


def print_decision(decided: Decision, costs: Costs) -> None:
    """Print the choices, the cheapest first."""
    echo(styled(f"Costs least: {decided.best.value}", bold=True))
    rows = [
        [
            one.choice.value,
            *(f"{amount:.2f}" for amount in (one.expected, one.work, one.parts, one.comebacks)),
            f"barred: {one.barred}" if one.barred else "",
        ]
        for one in decided.choices
    ]
    print_table(["choice", f"expected ({costs.currency})", "work", "parts", "comebacks", ""], rows)
