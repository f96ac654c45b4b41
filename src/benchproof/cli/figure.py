"""`benchproof figure`: drawings of a family, as SVG."""

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from benchproof.align.remarks import turning_cautions
from benchproof.align.window import Window, shape_of, window_of
from benchproof.cli.diagnosis import print_cautions
from benchproof.cli.files import shown_name, write_out
from benchproof.cli.loading import load_family, load_priors
from benchproof.cli.options import FAMILY, JSON
from benchproof.cli.quantity import NumberType
from benchproof.cli.refusals import Refused
from benchproof.cli.trace import trace_chunks
from benchproof.reading.trace import open_trace
from benchproof.report.dial import draw_dial
from benchproof.report.familyfigures import dial_of, strip_of
from benchproof.report.layout import Rest
from benchproof.report.strip import Strip, draw_strip
from benchproof.report.sweepfigures import Outline, as_found, trace_plot_of
from benchproof.report.traceplot import draw_trace
from benchproof.trace.sweep import Sweep, read_sweep

if TYPE_CHECKING:
    from benchproof.family.model import Family

_offset = click.option(
    "--offset",
    type=NumberType("deg", -180, 180),
    metavar="DEG",
    help="Draw the part out of line by so many degrees; positive toward the last position.",
)
_priors = click.option("--priors", metavar="FILE", help="Priors in place of the usual.")
_trace = click.option(
    "--trace", metavar="FILE", help="A sweep trace whose dwells and edges are drawn as found."
)
_out = click.option(
    "--out", required=True, metavar="FILE", help="Where to write the SVG; - for standard output."
)


@click.command()
@FAMILY
@_offset
@_trace
@_priors
@_out
@JSON
def strip(
    family: str,
    offset: float | None,
    trace: str | None,
    priors: str | None,
    out: str,
    as_json: bool,
) -> None:
    """Draw the travel strip of FAMILY: where each pair conducts and where the lever rests."""
    if trace is not None and offset is not None:
        raise Refused("figure: a trace shows its own offset; leave out --offset or --trace.")
    loaded = load_family(family)
    if trace is not None:
        _write(draw_strip(_found_strip(loaded, trace, priors)), out, as_json=as_json)
        return
    window = _window(loaded, priors)
    if offset is not None and window.unit != "deg":
        raise Refused(
            f"{window.family.name}: tells no detents_deg, so an offset in degrees cannot be drawn; "
            "add them to the family file (docs/family.md), or leave out --offset."
        )
    _write(draw_strip(strip_of(window, _rest(offset))), out, as_json=as_json)


@click.command()
@FAMILY
@_offset
@_priors
@_out
@JSON
def dial(family: str, offset: float | None, priors: str | None, out: str, as_json: bool) -> None:
    """Draw the dial of FAMILY: rotor and marks to scale, with the marks magnified."""
    window = _window(load_family(family), priors)
    if window.family.mark_radius_mm is None or window.unit != "deg":
        raise Refused(
            f"{window.family.name}: a dial needs mark_radius_mm and detents_deg; add them to the "
            "family file (docs/family.md)."
        )
    _write(draw_dial(dial_of(window, _rest(offset))), out, as_json=as_json)
    if out != "-" and not as_json:
        print_cautions(turning_cautions(window))


@click.command()
@FAMILY
@click.argument("trace_file", metavar="FILE")
@_priors
@_out
@JSON
def trace(family: str, trace_file: str, priors: str | None, out: str, as_json: bool) -> None:
    """Draw the sweep trace FILE of a part of FAMILY, with the edges found in it."""
    sweep, outline = _swept(trace_file, load_family(family), priors)
    plot = trace_plot_of(sweep, outline)
    if plot.blank:
        raise Refused(f"{shown_name(trace_file)}: has no reading to draw.")
    _write(draw_trace(plot), out, as_json=as_json)


def _found_strip(family: "Family", trace: str, priors: str | None) -> Strip:
    sweep, _ = _swept(trace, family, priors)
    if sweep.scale.shift_deg is None:
        raise Refused(
            f"{shown_name(trace)}: cannot be drawn against the detents: {sweep.scale.why}."
        )
    # A trace may tell the detents that a bare chart does not.
    placed = replace(family, detents_deg=sweep.family.detents_deg)
    return as_found(strip_of(_window(placed, priors)), sweep)


def _swept(name: str, family: "Family", priors: str | None) -> "tuple[Sweep, Outline]":
    """Return what a trace shows, and the outline of what it read."""
    outline = Outline()
    opened = open_trace(trace_chunks(name), shown_name(name), family)
    watched = replace(opened, blocks=outline.watch(opened.blocks))
    return read_sweep(watched, family, load_priors(priors, family.name).margins), outline


def _window(family: "Family", priors: str | None) -> Window:
    known = load_priors(priors, family.name)
    return window_of(shape_of(family, known), known)


def _rest(offset: float | None) -> Rest | None:
    return None if offset is None else Rest(offset)


def _write(svg: str, out: str, *, as_json: bool) -> None:
    write_out(svg.encode("utf-8"), out, "no SVG figure", as_json=as_json)
