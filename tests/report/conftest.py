"""Figures to look at, and a figure taken apart."""

from collections.abc import Callable
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np
import pytest

from benchproof.align.window import Window, shape_of, window_of
from benchproof.report.svg import text_width
from benchproof.shipped.read import shipped_family, shipped_priors

SVG = "{http://www.w3.org/2000/svg}"
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True)
class Words:
    """A line of text of a figure, and about where it lies."""

    text: str
    fill: str
    box: Box


@dataclass(frozen=True)
class Figure:
    """A figure taken apart."""

    root: ElementTree.Element

    def parts(self, tag: str, group: str = "") -> list[ElementTree.Element]:
        """Return the shapes of a kind, of the figure or of one of its parts, in drawing order."""
        if not group:
            return self.root.findall(f".//{SVG}g/{SVG}{tag}")
        return self.root.findall(f".//{SVG}g[@class='{group}']/{SVG}{tag}")

    def numbers(self) -> list[float]:
        """Return every coordinate and length."""
        found = []
        for node in self.root.iter():
            for name, value in node.attrib.items():
                if name in PLACES:
                    found += [float(n) for n in value.replace(",", " ").split()]
        return found

    def words(self) -> list[Words]:
        """Return every line of text."""
        found = []
        for node in self.root.iter(f"{SVG}text"):
            size, x, y = (float(node.attrib[key]) for key in ("font-size", "x", "y"))
            text = node.text or ""
            wide = text_width(text, size, bold="font-weight" in node.attrib)
            start = {"start": 0.0, "middle": wide / 2.0, "end": wide}
            before = start[node.attrib.get("text-anchor", "start")]
            # Letters reach three quarters of the size above the line; few go below it.
            box = (x - before, y - 0.75 * size, x - before + wide, y + 0.05 * size)
            if "transform" in node.attrib:
                assert before == 0.0
                box = (x - 0.75 * size, y - wide, x + 0.05 * size, y)
            found.append(Words(text, node.attrib["fill"], box))
        return found

    def ground(self, words: Words) -> str:
        """Return what is painted last below the middle of a line of text."""
        x, y = (words.box[0] + words.box[2]) / 2.0, (words.box[1] + words.box[3]) / 2.0
        ground = ""
        for node in self.root.iter(f"{SVG}rect"):
            if "x" not in node.attrib or node.attrib["fill"] == "none":
                continue
            left, top, wide, high = (
                float(node.attrib[key]) for key in ("x", "y", "width", "height")
            )
            if left <= x <= left + wide and top <= y <= top + high:
                ground = node.attrib["fill"]
        return ground


PLACES = {"x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "width", "height", "points"} | {
    "viewBox",
    "stroke-width",
    "font-size",
}


@pytest.fixture(scope="session")
def taken_apart() -> Callable[[str], Figure]:
    return lambda svg: Figure(
        # A size in millimetres is a length too.
        ElementTree.fromstring(svg.replace('mm"', '"').encode("utf-8"))
    )


@pytest.fixture(scope="session")
def window() -> Callable[[str], Window]:
    """Windows of the invented families that come along."""

    def of(name: str) -> Window:
        priors = shipped_priors(name)
        return window_of(shape_of(shipped_family(name), priors), priors)

    return of


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20)
