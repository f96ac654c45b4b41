"""The figures of docs/figures.md are what the program draws today.

Run as a program, this writes them anew: ``.venv/bin/python tests/report/test_examples.py``.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchproof.align.window import Window, shape_of, window_of
from benchproof.family.model import Family, pair_text
from benchproof.network.branches.base import States
from benchproof.network.states import pair_ohms
from benchproof.reading.trace import open_trace
from benchproof.report.dial import draw_dial
from benchproof.report.familyfigures import dial_of, strip_of
from benchproof.report.layout import Rest
from benchproof.report.strip import draw_strip
from benchproof.report.sweepfigures import Outline, as_found, trace_plot_of
from benchproof.report.traceplot import draw_trace
from benchproof.shipped.read import shipped_family, shipped_priors
from benchproof.trace.sweep import Sweep, read_sweep

FOLDER = Path(__file__).parents[2] / "docs" / "figures"
FAMILY = "valley-coded-7"
OFFSET_DEG = 2.5


def window() -> Window:
    priors = shipped_priors(FAMILY)
    return window_of(shape_of(shipped_family(FAMILY), priors), priors)


def sweep_of(family: Family, offset_deg: float, play_deg: float = 0.4) -> str:
    """Return an invented sweep, there and back, of a sound part out of line, as a trace file."""
    up = np.arange(-12.0, 114.0, 0.1)
    lever = np.concatenate((up, up[::-1]))
    # The rotor comes late by half the play in either direction.
    late = np.where(np.arange(len(lever)) < len(up), -play_deg / 2.0, play_deg / 2.0)
    pairs = [row.pair for row in family.chart]
    states = States(np.zeros(len(lever), dtype=np.intp), lever + offset_deg + late)
    ohms = pair_ohms(family, pairs, states)
    lines = ["# Invented.", "# scale = family", ",".join(["angle", *map(pair_text, pairs)])]
    for angle, read in zip(lever.tolist(), ohms.tolist(), strict=True):
        told = ["OL" if ohm > 1e7 else f"{ohm:.2f}" for ohm in read]
        lines.append(",".join([f"{angle:.1f}", *told]))
    return "\n".join([*lines, ""])


def sweep_read(offset_deg: float) -> tuple[Sweep, Outline]:
    family, outline = shipped_family(FAMILY), Outline()
    trace = open_trace([sweep_of(family, offset_deg).encode()], "sweep.csv", family)
    watched = replace(trace, blocks=outline.watch(trace.blocks))
    return read_sweep(watched, family, shipped_priors(FAMILY).margins), outline


def strip() -> str:
    return draw_strip(strip_of(window(), Rest(OFFSET_DEG, ((OFFSET_DEG - 1.1, OFFSET_DEG + 1.1),))))


def ladder() -> str:
    name = "harvest-ladder-8"
    priors = shipped_priors(name)
    return draw_strip(strip_of(window_of(shape_of(shipped_family(name), priors), priors)))


def found() -> str:
    return draw_strip(as_found(strip_of(window()), sweep_read(OFFSET_DEG)[0]))


def dial() -> str:
    return draw_dial(dial_of(window(), Rest(OFFSET_DEG, ((OFFSET_DEG - 1.1, OFFSET_DEG + 1.1),))))


def trace() -> str:
    return draw_trace(trace_plot_of(*sweep_read(OFFSET_DEG)))


EXAMPLES = {
    "strip.svg": strip,
    "strip-ladder.svg": ladder,
    "strip-found.svg": found,
    "dial.svg": dial,
    "trace.svg": trace,
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_stored_figure_is_drawn_again_byte_for_byte(name: str) -> None:
    assert (FOLDER / name).read_bytes() == EXAMPLES[name]().encode("utf-8")


def test_no_figure_is_stored_that_nothing_draws_and_each_is_shown() -> None:
    assert {path.name for path in FOLDER.glob("*.svg")} == set(EXAMPLES)
    shown = (FOLDER.parent / "figures.md").read_text(encoding="utf-8")
    assert all(f"(figures/{name})" in shown for name in EXAMPLES)


def test_the_sweep_of_a_part_out_of_line_is_drawn_out_of_line() -> None:
    # Planted: every contact of the part lies the offset before where it should, by the lever.
    drawn = as_found(strip_of(window()), sweep_read(OFFSET_DEG)[0])
    permit = next(row for row in drawn.rows if row.pair == "G-H")
    assert [edge.at for edge in permit.edges] == pytest.approx([-6.5, 1.5, 34.5, 42.5], abs=0.15)
    assert [bar.through for bar in permit.found] == ["", ""]
    resistor = next(row for row in drawn.rows if row.pair == "C-E")
    assert [bar.through.partition(" ohm")[0] for bar in resistor.found] == ["", "270"]


def test_the_trace_plot_s_edges_tell_closing_from_opening() -> None:
    plot = trace_plot_of(*sweep_read(0.0))
    permit = next(panel for panel in plot.panels if panel.pair == "G-H")
    assert [edge.closing for edge in permit.edges] == [True, False, True, False]
    assert [edge.at for edge in permit.edges] == pytest.approx([-4, 4, 37, 45], abs=0.15)
    assert dict(plot.detents)["N"] == pytest.approx(41.0)


def test_an_outline_keeps_the_least_and_the_most_whatever_the_blocks() -> None:
    family = shipped_family(FAMILY)
    data = sweep_of(family, 0.0).encode()

    def outline_of(size: int) -> Outline:
        outline = Outline()
        chunks = (data[at : at + size] for at in range(0, len(data), size))
        for _ in outline.watch(open_trace(chunks, "sweep.csv", family).blocks):
            pass
        return outline

    whole, pieces = outline_of(len(data)), outline_of(5_000)
    for number in range(len(family.chart)):
        for one, other in zip(whole.of(number), pieces.of(number), strict=True):
            np.testing.assert_array_equal(one, other)
    angle, ohm = whole.of(0)
    # A-E is closed up to 10.5; in play's reach of it both were read.
    near = np.abs(angle - 10.5) < 0.1
    assert ohm[near].min() < 1.0
    assert ohm[near].max() == np.inf


def write(name: str, draw: Callable[[], str]) -> None:
    (FOLDER / name).write_text(draw(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    for each, draws in EXAMPLES.items():
        write(each, draws)
