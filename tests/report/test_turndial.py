"""The dial of a body to be turned: marks where the numbers say, and the way between them."""

import re
from math import atan2, degrees
from xml.etree import ElementTree

import pytest

from benchproof.report.turndial import TurnDial, draw_turn_dial


def drawn(dial: TurnDial) -> ElementTree.Element:
    return ElementTree.fromstring(draw_turn_dial(dial))


def points(node: ElementTree.Element) -> list[tuple[float, float]]:
    pairs = (one.split(",") for one in node.attrib["points"].split())
    return [(float(x), float(y)) for x, y in pairs]


def angle_of(root: ElementTree.Element, words: str) -> float:
    """Return where words stand, degrees to the right of the top."""
    found = next(one for one in root.iter() if one.tag.endswith("text") and one.text == words)
    x, y = float(found.attrib["x"]), float(found.attrib["y"])
    return degrees(atan2(x - 82.0, 115.0 - y))


@pytest.mark.parametrize("clockwise", [True, False])
def test_now_lies_on_the_scale_where_its_number_would(clockwise: bool) -> None:
    root = drawn(TurnDial("deg", 0.0, (-3.0, 3.0), 4.0, ((3.5, 4.5),), clockwise))
    assert angle_of(root, "now") == pytest.approx(angle_of(root, "4"), abs=1.0)
    assert (angle_of(root, "now") > 0.0) is clockwise
    assert angle_of(root, "0") == pytest.approx(0.0, abs=0.1)
    assert angle_of(root, "2") == pytest.approx(-angle_of(root, "−2"), abs=0.2)
    arrow = next(one for one in root.iter() if one.attrib.get("stroke-width") == "2.2")
    first, *_, last = points(arrow)
    assert abs(first[0] - 82.0) > abs(last[0] - 82.0), "it runs to where to set it"


def test_an_unknown_side_is_drawn_on_both() -> None:
    dial = TurnDial("deg", 0.0, (-3.0, 3.0), 4.0, ((-4.5, -3.5), (3.5, 4.5)), is_known=False)
    svg = draw_turn_dial(dial)
    assert svg.count(">now?<") == 2
    assert "or as far to the other side" in svg


def test_it_is_told_in_words_too_and_stands_whatever_is_not_known() -> None:
    told = draw_turn_dial(TurnDial("mm", 12.5, None))
    assert "The marks meet at 12.5 mm." in told
    assert "now" not in re.sub(r"<desc>.*?</desc>", "", told)
    alike = draw_turn_dial(TurnDial("mm", 12.5, (10.0, 15.0), 12.5))
    assert "The range from 10 to 15 mm is good. The body is at 12.5 mm now." in alike
