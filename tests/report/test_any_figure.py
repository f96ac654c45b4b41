"""What holds of every figure, however odd what it shows."""

from collections.abc import Callable
from itertools import combinations, pairwise
from math import inf, isfinite, nan
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchproof.report.dial import Dial, draw_dial
from benchproof.report.layout import Flags, Rest, spread, ticks
from benchproof.report.strip import Bar, Row, Strip, StripEdge, draw_strip
from benchproof.report.svg import FOUND, INK, PAPER, QUIET, SHADE, Drawing, shortened, text_width
from benchproof.report.traceplot import TraceEdge, TracePanel, TracePlot, draw_trace

if TYPE_CHECKING:
    from tests.report.conftest import Figure

Taken = Callable[[str], "Figure"]

texts = st.one_of(
    st.text(max_size=60),
    st.sampled_from(
        ['<&">', "]]>", "<script>x</script>", "\x00\x1b[31m", "名前", "\ud800", "W" * 200]
    ),
)
angles = st.floats(-3600.0, 3600.0)
spans = st.tuples(angles, angles).map(lambda pair: (min(pair), max(pair)))
rests = st.builds(Rest, st.floats(-1e6, 1e6), st.lists(spans, max_size=2).map(tuple))
maybe = st.none()


@st.composite
def detents(draw: st.DrawFn) -> tuple[tuple[str, float], ...]:
    places = draw(st.lists(angles, min_size=1, max_size=40, unique=True))
    return tuple((draw(texts), place) for place in sorted(places))


@st.composite
def bars(draw: st.DrawFn) -> tuple[Bar, ...]:
    """Make a row of arcs as a network gives them: one after the other."""
    ends = draw(st.lists(angles | st.sampled_from([-inf, inf]), max_size=8, unique=True))
    through = st.sampled_from(["", "270 ohm", "1.06 kohm"])
    return tuple(Bar(*pair, draw(through)) for pair in batched(sorted(ends)))


def batched(ends: list[float]) -> list[tuple[float, float]]:
    return list(zip(ends[::2], ends[1::2], strict=False))


edges_found = st.builds(StripEdge, angles, st.floats(0.0, 100.0), st.booleans())
rows = st.builds(
    Row,
    texts,
    texts,
    bars(),
    bars(),
    st.lists(edges_found, max_size=4).map(tuple),
    texts,
)


@st.composite
def strips(draw: st.DrawFn) -> Strip:
    found = draw(detents())
    return Strip(
        draw(texts),
        draw(st.sampled_from(["deg", "gap"])),
        (found[0][1] - draw(st.floats(0.1, 50.0)), found[-1][1] + draw(st.floats(0.1, 50.0))),
        found,
        tuple(draw(st.lists(rows, max_size=12))),
        draw(maybe | spans),
        draw(maybe | rests),
        draw(texts),
    )


turns = st.floats(-360.0, 360.0)
arcs = st.tuples(turns, turns).map(lambda pair: (min(pair), max(pair)))
dials = st.builds(
    Dial,
    texts,
    st.floats(0.01, 1000.0),
    st.floats(0.01, 20.0),
    texts,
    detents(),
    maybe | st.builds(Rest, turns, st.lists(arcs, max_size=2).map(tuple)),
    maybe | arcs,
    texts,
    st.sampled_from(["", "clockwise", "counter-clockwise"]),
    texts,
)
ohms = st.one_of(st.floats(-1.0, 1e12), st.sampled_from([inf, nan, 0.0]))


@st.composite
def plots(draw: st.DrawFn) -> TracePlot:
    panels = []
    for _ in range(draw(st.integers(1, 4))):
        read = draw(st.lists(st.tuples(angles, ohms), max_size=30))
        # One reading at least, so that there is something to draw.
        read.append((draw(angles), 1.0))
        edges = draw(
            st.lists(st.builds(TraceEdge, angles, st.booleans(), st.floats(0, 9)), max_size=20)
        )
        panels.append(
            TracePanel(
                draw(texts),
                np.array([angle for angle, _ in read]),
                np.array([ohm for _, ohm in read]),
                draw(texts),
                tuple(edges),
            )
        )
    return TracePlot(draw(texts), tuple(panels), draw(detents()), note=draw(texts))


def check(figure: "Figure") -> None:
    """Check what holds of every figure: whole numbers of finite places, words clear of words."""
    assert all(isfinite(value) for value in figure.numbers())
    assert figure.root.attrib["role"] == "img"
    assert [child.tag.rpartition("}")[2] for child in figure.root][:2] == ["title", "desc"]
    assert not [node for node in figure.root.iter() if "script" in node.tag]
    width, height = (float(n) for n in figure.root.attrib["viewBox"].split()[2:])
    words = figure.words()
    for said in words:
        assert said.box[0] >= -0.5, said
        assert said.box[1] >= 0.0, said
        assert said.box[2] <= width + 0.5, said
        assert said.box[3] <= height, said
        assert contrast(said.fill, figure.ground(said)) >= 4.5, said
    for one, other in combinations(words, 2):
        assert not overlap(one.box, other.box), (one, other)


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    slack = 0.05
    return (
        a[0] < b[2] - slack and b[0] < a[2] - slack and a[1] < b[3] - slack and b[1] < a[3] - slack
    )


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour (WCAG 2.2, its definition, read)."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio (WCAG 2.2, read in works that quote it)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_ratio_runs_from_1_to_21() -> None:
    # WCAG 2.2 says that ratios range from 1 to 21 (from memory).
    assert contrast(INK, PAPER) == pytest.approx(21.0)
    assert contrast(SHADE, SHADE) == 1.0


@pytest.mark.parametrize("ink", [INK, QUIET, FOUND])
@pytest.mark.parametrize("ground", [PAPER, SHADE])
def test_every_ink_keeps_its_contrast_on_paper_and_in_the_shade(ink: str, ground: str) -> None:
    assert contrast(ink, ground) >= 4.5


@settings(max_examples=40)
@given(strip=strips())
def test_any_strip_can_be_drawn(taken_apart: Taken, strip: Strip) -> None:
    svg = draw_strip(strip)
    check(taken_apart(svg))
    assert draw_strip(strip) == svg


@settings(max_examples=40)
@given(dial=dials)
def test_any_dial_can_be_drawn(taken_apart: Taken, dial: Dial) -> None:
    svg = draw_dial(dial)
    check(taken_apart(svg))
    assert draw_dial(dial) == svg


@settings(max_examples=40)
@given(plot=plots())
def test_any_trace_can_be_drawn(taken_apart: Taken, plot: TracePlot) -> None:
    svg = draw_trace(plot)
    check(taken_apart(svg))
    assert draw_trace(plot) == svg


@pytest.mark.parametrize("count", [1, 9, 40])
@pytest.mark.parametrize("name", ["P", "a very long name of a position <&>"])
def test_labels_of_detents_keep_clear_of_one_another(
    taken_apart: Taken, count: int, name: str
) -> None:
    found = tuple((f"{name} {n}", 3.0 * n) for n in range(count))
    pairs = tuple(Row(f"A{n}-B", "range bit", (Bar(0.0, 1.0),)) for n in range(12))
    check(taken_apart(draw_strip(Strip("s", "deg", (-5.0, 3.0 * count), found, pairs))))


@pytest.mark.parametrize(
    "strip",
    [
        Strip("s", "deg", (0.0, 0.0), (("P", 0.0),), ()),
        Strip("s", "deg", (0.0, inf), (("P", 0.0),), ()),
        Strip("s", "deg", (0.0, 9.0), (("P", nan),), ()),
    ],
)
def test_a_strip_without_a_place_to_draw_is_refused(strip: Strip) -> None:
    with pytest.raises(ValueError, match=r"span|drawn at"):
        draw_strip(strip)


@pytest.mark.parametrize(
    "dial",
    [
        Dial("d", 0.0, 0.5),
        Dial("d", 30.0, -1.0),
        Dial("d", nan, 0.5),
        Dial("d", 30.0, 0.5, rest=Rest(nan)),
        Dial("d", 30.0, 0.5, window=(-inf, 3.0)),
    ],
)
def test_a_dial_of_no_size_is_refused(dial: Dial) -> None:
    with pytest.raises(ValueError, match=r"above zero|finite"):
        draw_dial(dial)


def test_a_trace_of_no_reading_is_refused() -> None:
    nothing = TracePanel("A-B", np.array([1.0]), np.array([nan]))
    for panels in ((), (nothing,)):
        with pytest.raises(ValueError, match="at least one reading"):
            draw_trace(TracePlot("t", panels, ()))


def test_what_a_person_typed_stays_text() -> None:
    drawing = Drawing(50.0, 20.0, '<a&"b>', "x\x00y")
    drawing.text((1.0, 5.0), '</text><script href="x">', room=30.0)
    root = ElementTree.fromstring(drawing.svg())
    assert root[0].text == '<a&"b>'
    assert root[1].text == "x y"
    words = root.find("{http://www.w3.org/2000/svg}text")
    assert words is not None
    # What does not fit is shortened, and whole in its title.
    assert (words.text or "").endswith("…")
    assert words[0].text == '</text><script href="x">'


@given(
    wanted=st.lists(st.floats(-50.0, 150.0), min_size=1, max_size=20).map(sorted),
    gap=st.floats(0.0, 5.0),
)
def test_spread_labels_keep_order_gap_and_bounds(wanted: list[float], gap: float) -> None:
    places = spread(wanted, gap, 0.0, 100.0)
    assert places[0] >= -1e-9
    assert places[-1] <= 100.0 + 1e-9
    steps = np.diff(places)
    assert (steps >= gap - 1e-9).all()
    clear = all(b - a >= gap for a, b in pairwise(wanted))
    if clear and wanted[0] >= 0.0 and wanted[-1] <= 100.0:
        assert places == pytest.approx(wanted)


@given(low=st.floats(-1e4, 1e4), wide=st.floats(1e-3, 1e4))
def test_ticks_lie_within_and_are_few(low: float, wide: float) -> None:
    found = ticks(low, low + wide, 14)
    assert 1 <= len(found) <= 15
    assert all(low - 1e-9 * wide <= tick <= low + wide * (1.0 + 1e-9) + 1e-9 for tick in found)


@given(words=texts, room=st.floats(3.0, 80.0))
def test_shortened_text_fits_its_room(words: str, room: float) -> None:
    short = shortened(words, 3.0, room)
    assert text_width(short, 3.0) <= room
    assert short == words or short.endswith("…")


def test_labels_stand_upright_only_where_they_would_touch() -> None:
    assert Flags((("P", "0°"), ("R", "20°")), (10.0, 30.0), 0.0, 40.0).level
    assert not Flags((("P", "0°"), ("R", "20°")), (10.0, 13.0), 0.0, 40.0).level
