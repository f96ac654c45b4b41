"""`benchproof centre`: set the body by its electrical edges."""

from math import isfinite

import click

from benchproof.align.centring import ByMarks, Centring, by_marks
from benchproof.align.centring import centre as fitted
from benchproof.align.edges import read_edges
from benchproof.align.practice import scale_of
from benchproof.align.procedure import Procedure, procedure, way
from benchproof.align.remarks import centring_remarks, misfits, turning_cautions, window_remarks
from benchproof.align.window import shape_of, window_of
from benchproof.cli.diagnosis import print_cautions
from benchproof.cli.files import read_bytes, shown_name
from benchproof.cli.loading import load_family, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, PRIORS
from benchproof.cli.output import echo, styled
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.face.aligned import centred_shown, procedure_shown
from benchproof.family.sentence import percent

_ABOVE_ZERO = NumberType("", 0, 1e9, open_low=True)


@click.command()
@FAMILY
@click.option("--edges", metavar="FILE", help="The edges that were found, CSV or XLSX, or -.")
@click.option(
    "--scale",
    type=click.Choice(["deg", "mm", "turns", "counts"]),
    default="deg",
    show_default=True,
    help="What the turning was read on.",
)
@click.option(
    "--step",
    type=_ABOVE_ZERO,
    metavar="X",
    help="Finest step read on the scale.",
)
@click.option(
    "--per-degree",
    type=_ABOVE_ZERO,
    metavar="X",
    help="Units of the scale in a degree.",
)
@PRIORS
@JSON
@click.pass_context
def centre(
    ctx: click.Context,
    family: str,
    edges: str | None,
    scale: str,
    step: float | None,
    per_degree: float | None,
    priors: str | None,
    as_json: bool,
) -> None:
    """Tell how to centre FAMILY electrically; with --edges, where to set it and how good that is.

    Exit code 1 if the edges do not fit the family.
    """
    if family == edges == "-":
        raise Refused("centre: only one of FAMILY and --edges can come from standard input.")
    chart = load_family(family)
    known = load_priors(priors, chart.name)
    shape = shape_of(chart, known)
    window = window_of(shape, known)
    if window.centre is None:
        raise Refused(f"{chart.name}: there is no centre to set. {window_remarks(window)[0]}")
    cautions = turning_cautions(window)
    if edges is None:
        steps = procedure(window, shape, known)
        if steps is None:
            raise Refused(
                f"{chart.name}: no pair of the chart conducts over a dwell that is open on both "
                "sides and within reach, so it cannot be centred electrically."
            )
        remarks = window_remarks(window)
        if as_json:
            print_json(procedure_shown(steps, remarks, cautions))
        else:
            _print_procedure(steps, remarks, cautions)
        return
    approaches = read_edges(read_bytes(edges), shown_name(edges), window)
    try:
        found = fitted(window, shape, approaches, scale_of(scale, chart, step, per_degree))
    except ValueError as error:
        raise Refused(f"{shown_name(edges)}: {error}.") from None
    marks = by_marks(window, shape, known)
    wrong, remarks = misfits(found), centring_remarks(found)
    if as_json:
        print_json(centred_shown(found, marks, wrong, remarks, cautions))
    else:
        _print_centring(found, marks, wrong, remarks, cautions)
    ctx.exit(int(bool(wrong)))


def _print_procedure(steps: Procedure, remarks: list[str], cautions: list[str]) -> None:
    print_cautions(cautions)
    first = steps.choices[0].cell
    echo(styled("Watch: ", bold=True), first.name)
    echo(f"  {steps.why}")
    for number, step in enumerate(steps.steps, 1):
        echo(f"{number:>2}. {step}")
    for remark in remarks:
        echo(f"  {remark}")


def _print_centring(
    found: Centring,
    marks: ByMarks,
    wrong: list[str],
    remarks: list[str],
    cautions: list[str],
) -> None:
    name = found.scale.name
    for cell in found.cells:
        echo(
            f"{cell.cell.name}: from {cell.lower:.5g} ± {2 * cell.lower_sd:.2g} to "
            f"{cell.upper:.5g} ± {2 * cell.upper_sd:.2g}, middle {cell.middle:.5g} ± "
            f"{2 * cell.middle_sd:.2g} {name}"
        )
    if wrong:
        for sentence in wrong:
            echo(styled("DOES NOT FIT: ", bold=True, fg="red"), sentence)
    else:
        _print_setting(found, marks)
    for remark in remarks:
        echo(f"  {remark}")
    print_cautions(cautions)


def _print_setting(found: Centring, marks: ByMarks) -> None:
    name = found.scale.name
    unit = "deg" if found.found.window.unit == "deg" else "detent gaps"
    low, high = found.interval95
    echo(
        styled("Set at: ", bold=True),
        f"{found.set_at:.5g} {name}, standard uncertainty {found.set_sd:.2g}; the window's "
        f"centre lies in {low:.5g} to {high:.5g} with 95 %",
    )
    echo(
        f"  The scale rising stop at {found.coming_up:.5g}, falling at {found.coming_down:.5g} "
        f"(lash {found.lash:.2g} ± {2 * found.lash_sd:.2g} {name})."
    )
    echo(f"  {way(found)}")
    echo(
        f"  That is to {found.angle_sd:.2g} {unit}; by the marks it would be {marks.rms:.2g}, "
        f"{marks.rms / found.angle_sd:.1f} times as much."
    )
    echo(f"Margin once set, {unit}:")
    for m in found.margins:
        told = f"{m.margin:.2g}, with 95 % over {m.at_least:.2g}; holds with {percent(m.holds)}"
        echo(f"  {m.position:>4}  {told if isfinite(m.margin) else 'nothing ends it'}")
    echo(f"Every cell holds with {percent(found.holds)} (by the marks {percent(marks.holds)}).")
    echo(
        "Tighten the two bolts alternately, then check every pair in every position again, not "
        "only where the edges were found."
    )
