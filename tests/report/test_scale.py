"""What is drawn is drawn to scale: coordinates read back out of the SVG."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from math import inf, nan
from typing import TYPE_CHECKING

import numpy as np
import pytest

from benchproof.report.dial import Dial, draw_dial
from benchproof.report.layout import Rest, Scale
from benchproof.report.strip import Bar, Row, Strip, StripEdge, draw_strip
from benchproof.report.traceplot import TraceEdge, TracePanel, TracePlot, draw_trace, envelope

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from tests.report.conftest import Figure

Taken = Callable[[str], "Figure"]
DETENTS = (("P", 0.0), ("R", 25.0), ("N", 40.0))
# Arc = radius x degrees x 0.01745 (common practice, no source: a trade rule of thumb).
MM_PER_DEG_AT_30 = 30.0 * 0.01745


def at(node: "Element", key: str) -> float:
    return float(node.attrib[key])


def middle(node: "Element") -> float:
    return at(node, "x") + at(node, "width") / 2.0


def times_of(figure: "Figure") -> float:
    """Return the magnification that the inset states."""
    said = [words.text for words in figure.words() if words.text.startswith("Marks ×")]
    found = re.match(r"Marks ×([\d.]+)", said[0])
    assert found is not None
    return float(found[1])


@pytest.mark.parametrize("offset", [1.0, -2.5, 12.0])
@pytest.mark.parametrize("grows", ["", "clockwise", "counter-clockwise"])
def test_the_inset_shows_offset_and_marks_at_the_magnification_it_states(
    taken_apart: Taken, offset: float, grows: str
) -> None:
    figure = taken_apart(
        draw_dial(Dial("d", 30.0, 0.5, rest=Rest(offset), viewed_from="x", offset_grows=grows))
    )
    times = times_of(figure)
    body, rotor = [node for node in figure.parts("rect", "inset") if at(node, "height") == 12.0]
    apart = middle(rotor) - middle(body)
    # Seen from the side where the body turns clockwise to let the offset grow, the rotor's mark
    # goes counter-clockwise against the body's, to the left at the top.
    way = -1.0 if grows == "clockwise" else 1.0
    assert apart == pytest.approx(way * offset * MM_PER_DEG_AT_30 * times, rel=1e-3)
    assert at(body, "width") == pytest.approx(0.5 * times, abs=2e-3)
    assert at(rotor, "width") == at(body, "width")


def test_one_degree_at_30_mm_is_0_524_mm(taken_apart: Taken) -> None:
    figure = taken_apart(draw_dial(Dial("d", 30.0, 0.5, rest=Rest(1.0))))
    assert any("= +0.524 mm" in words.text for words in figure.words())


def test_the_window_is_to_the_inset_s_scale_and_fills_it(taken_apart: Taken) -> None:
    figure = taken_apart(draw_dial(Dial("d", 30.0, 0.5, window=(-4.0, 3.0))))
    times = times_of(figure)
    frame, shade, *_ = figure.parts("rect", "inset")
    assert at(shade, "width") == pytest.approx(7.0 * MM_PER_DEG_AT_30 * times, rel=1e-3)
    centre = middle(frame)
    assert at(shade, "x") == pytest.approx(centre - 4.0 * MM_PER_DEG_AT_30 * times, rel=1e-3)
    assert at(shade, "width") > 0.4 * at(frame, "width")


def test_the_length_in_the_inset_is_as_long_as_it_says(taken_apart: Taken) -> None:
    figure = taken_apart(draw_dial(Dial("d", 30.0, 0.5, window=(-4.0, 4.0))))
    said = next(w.text for w in figure.words() if re.fullmatch(r"[\d.]+ mm", w.text))
    level = [n for n in figure.parts("line", "inset") if n.attrib["stroke-width"] == "0.5"]
    drawn = at(level[1], "x2") - at(level[1], "x1")
    assert drawn == pytest.approx(float(said.removesuffix(" mm")) * times_of(figure))


def test_the_dial_s_circle_is_at_the_magnification_it_states(taken_apart: Taken) -> None:
    figure = taken_apart(draw_dial(Dial("d", 30.0, 0.5, detents=DETENTS)))
    said = next(w.text for w in figure.words() if w.text.startswith("Drawn ×"))
    found = re.match(r"Drawn ×([\d.]+); mark circle radius 30 mm", said)
    assert found is not None
    radii = [at(node, "r") for node in figure.parts("circle", "dial")]
    assert pytest.approx(30.0 * float(found[1])) in radii


def test_no_turn_is_told_without_the_side_it_is_seen_from(taken_apart: Taken) -> None:
    unnamed = " ".join(w.text for w in taken_apart(draw_dial(Dial("d", 30.0, 0.5))).words())
    assert "clockwise" not in unnamed
    assert "check on the part" in unnamed
    named = Dial("d", 30.0, 0.5, viewed_from="cover side", offset_grows="clockwise")
    words = " ".join(w.text for w in taken_apart(draw_dial(named)).words())
    assert "Seen from the cover side" in words
    assert "clockwise" in words


STRIP = Strip(
    title="s",
    unit="deg",
    span=(-10.0, 50.0),
    detents=DETENTS,
    rows=(Row("A-B", expected=(Bar(-5.0, 10.0), Bar(30.0, inf))),),
)


def scale_of(figure: "Figure") -> Callable[[float], float]:
    """Return where the axis puts an angle, from its end and its first and last tick."""
    axis = figure.parts("line", "axis")[0]
    left, right = at(axis, "x1"), at(axis, "x2")
    return lambda angle: left + (angle + 10.0) / 60.0 * (right - left)


def test_bars_detents_and_window_stand_at_their_angles(taken_apart: Taken) -> None:
    figure = taken_apart(draw_strip(replace(STRIP, window=(-3.0, 4.0))))
    x = scale_of(figure)
    short, long = figure.parts("rect", "rows")
    assert at(short, "x") == pytest.approx(x(-5.0), abs=2e-3)
    assert at(short, "width") == pytest.approx(x(10.0) - x(-5.0), abs=2e-3)
    # One that goes on beyond the strip is drawn to its end, with a point.
    assert at(long, "x") + at(long, "width") == pytest.approx(x(50.0), abs=2e-3)
    assert len(figure.parts("polygon", "rows")) == 1
    lines = [at(node, "x1") for node in figure.parts("line", "detents")]
    assert lines == pytest.approx([x(angle) for _, angle in DETENTS], abs=2e-3)
    shades = figure.parts("rect", "window")
    assert [at(node, "x") for node in shades] == pytest.approx(
        [x(angle - 3.0) for _, angle in DETENTS], abs=2e-3
    )
    assert at(shades[0], "width") == pytest.approx(x(7.0) - x(0.0), abs=2e-3)
    for tick, words in zip(
        figure.parts("line", "axis")[1:], figure.parts("text", "axis"), strict=False
    ):
        assert at(tick, "x1") == pytest.approx(
            x(float((words.text or "").replace("−", "-"))), abs=2e-3
        )


def test_the_offset_moves_the_rest_and_not_the_bars(taken_apart: Taken) -> None:
    plain = taken_apart(draw_strip(STRIP))
    off = taken_apart(draw_strip(replace(STRIP, rest=Rest(2.0, ((1.0, 3.5),)))))
    x = scale_of(off)
    assert [at(n, "x") for n in off.parts("rect", "rows")] == [
        at(n, "x") for n in plain.parts("rect", "rows")
    ]
    dashed = [n for n in off.parts("line", "rest") if "stroke-dasharray" in n.attrib]
    assert [at(n, "x1") for n in dashed] == pytest.approx(
        [x(angle + 2.0) for _, angle in DETENTS], abs=2e-3
    )
    whiskers = [n for n in off.parts("line", "rest") if at(n, "x1") < at(n, "x2")]
    assert at(whiskers[-1], "x1") == pytest.approx(x(41.0), abs=2e-3)
    assert at(whiskers[-1], "x2") == pytest.approx(x(43.5), abs=2e-3)


def test_an_edge_found_has_a_whisker_of_two_sd_and_one_not_found_a_cross(
    taken_apart: Taken,
) -> None:
    row = Row("A-B", edges=(StripEdge(12.0, 0.8), StripEdge(30.0, found=False)))
    figure = taken_apart(draw_strip(replace(STRIP, rows=(row,))))
    x = scale_of(figure)
    lines = figure.parts("line", "rows")
    whisker = next(n for n in lines if at(n, "x1") == pytest.approx(x(12.0 - 1.6), abs=2e-3))
    assert at(whisker, "x2") == pytest.approx(x(12.0 + 1.6), abs=2e-3)
    crossed = [
        n for n in lines if at(n, "x1") + at(n, "x2") == pytest.approx(2 * x(30.0), abs=5e-3)
    ]
    assert len(crossed) == 2


def test_the_trace_s_edges_stand_at_their_angles_and_differ_in_shape(taken_apart: Taken) -> None:
    angle = np.linspace(0.0, 50.0, 200)
    ohm = np.where((angle > 10.0) & (angle < 30.0), 0.1, inf)
    edges = (TraceEdge(10.0, closing=True), TraceEdge(30.0, closing=False))
    figure = taken_apart(
        draw_trace(TracePlot("t", (TracePanel("A-B", angle, ohm, edges=edges),), DETENTS))
    )
    closing, opening = figure.parts("polygon", "trace")
    axis = figure.parts("line", "axis")[0]
    x = Scale(-1.0, 51.0, at(axis, "x1"), at(axis, "x2"))
    for node, angle_deg in ((closing, 10.0), (opening, 30.0)):
        tip = float(node.attrib["points"].split(",")[0])
        assert tip == pytest.approx(x(angle_deg), abs=2e-3)
    assert closing.attrib["fill"] != opening.attrib["fill"]
    heights = [
        [float(pair.split(",")[1]) for pair in node.attrib["points"].split()]
        for node in (closing, opening)
    ]
    assert heights[0][0] > heights[0][1]
    assert heights[1][0] < heights[1][1]


X, Y = Scale(0.0, 100.0, 0.0, 100.0), Scale(-2.0, 6.0, 100.0, 20.0)


def test_the_drawn_line_keeps_the_least_and_the_most(rng: np.random.Generator) -> None:
    angle = np.sort(rng.uniform(0.0, 100.0, 50_000))
    ohm = 10.0 ** rng.uniform(0.0, 2.0, len(angle))
    # One dropout among fifty thousand must not vanish.
    ohm[20_000] = inf
    line = envelope(TracePanel("A-B", angle, ohm), X, Y)
    assert len(line) <= 2 * 401
    heights = [y for _, y in line]
    assert min(heights) < 20.0
    assert max(heights) == pytest.approx(Y(float(np.log10(ohm.min()))), abs=1e-9)
    assert all(a[0] <= b[0] for a, b in pairwise(line))


def test_a_level_trace_needs_only_its_ends() -> None:
    angle = np.linspace(0.0, 99.0, 100_000)
    line = envelope(TracePanel("A-B", angle, np.full(len(angle), inf)), X, Y)
    assert len(line) == 2
    assert line[0][0] < 1.0
    assert line[1][0] > 98.0


def test_a_sparse_trace_is_drawn_through_every_reading() -> None:
    line = envelope(
        TracePanel("A-B", np.array([10.0, 20.0, 40.0]), np.array([0.1, 10.0, nan])), X, Y
    )
    assert line == [pytest.approx((10.0, Y(-1.0))), pytest.approx((20.0, Y(1.0)))]


def test_nothing_and_less_than_nothing_are_drawn_at_the_foot() -> None:
    line = envelope(TracePanel("A-B", np.array([10.0, 20.0]), np.array([0.0, -0.3])), X, Y)
    assert {y for _, y in line} == {100.0}


def test_a_million_samples_make_a_small_figure(rng: np.random.Generator) -> None:
    angle = np.linspace(0.0, 100.0, 1_000_000)
    ohm = 10.0 ** rng.uniform(-2.0, 5.0, len(angle))
    assert len(draw_trace(TracePlot("t", (TracePanel("A-B", angle, ohm),), DETENTS))) < 40_000
