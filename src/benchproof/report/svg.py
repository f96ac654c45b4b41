"""A small writer of SVG: the same drawing gives the same bytes.

Lengths are millimetres, so that a figure printed at its own size is to scale. Meaning is carried by
shape, weight and label; the few colours only repeat it. Text is generic sans-serif; nothing is
fetched and nothing runs.
"""

import re
from collections.abc import Sequence
from math import isfinite
from unicodedata import east_asian_width
from xml.etree import ElementTree

from benchproof.family.sentence import one_line

Point = tuple[float, float]
Node = ElementTree.Element

INK = "#000000"
QUIET = "#4d4d4d"
FOUND = "#00407a"
SHADE = "#dedede"
PAPER = "#ffffff"

TEXT_MM = 3.2
"""Usual height of the letters' body, millimetres: about 9 point."""
SMALL_MM = 2.7

_EMS = ((frozenset("ijl.,:;'|! "), 0.34), (frozenset("tfrI()[]-"), 0.42))
"""Widths of the narrow letters, in sizes of the text."""
_WIDE = frozenset("mwMW@%—…")


class Shapes:
    """What is drawn on one part of a figure.

    Parameters
    ----------
    part : Node
        The part, such as ``<g class="rows">``.
    """

    def __init__(self, part: Node) -> None:
        self._part = part

    def _add(self, tag: str, attributes: dict[str, str]) -> Node:
        return ElementTree.SubElement(self._part, tag, attributes)

    def line(
        self, start: Point, end: Point, *, ink: str = INK, weight: float = 0.25, dash: str = ""
    ) -> None:
        """Draw a straight line; `dash` is lengths of ink and gap in millimetres."""
        (x1, y1), (x2, y2) = start, end
        ends = {"x1": number(x1), "y1": number(y1), "x2": number(x2), "y2": number(y2)}
        self._add("line", {**ends, **_stroke(ink, weight, dash)})

    def rect(
        self,
        corner: Point,
        width: float,
        height: float,
        *,
        fill: str = "none",
        ink: str = "",
        weight: float = 0.25,
        dash: str = "",
    ) -> None:
        """Draw a rectangle from its upper left corner."""
        place = {
            "x": number(corner[0]),
            "y": number(corner[1]),
            "width": number(width),
            "height": number(height),
            "fill": fill,
        }
        self._add("rect", {**place, **(_stroke(ink, weight, dash) if ink else {})})

    def circle(
        self,
        centre: Point,
        radius: float,
        *,
        fill: str = "none",
        ink: str = INK,
        weight: float = 0.25,
    ) -> None:
        """Draw a circle."""
        place = {"cx": number(centre[0]), "cy": number(centre[1]), "r": number(radius)}
        self._add("circle", {**place, "fill": fill, **_stroke(ink, weight, "")})

    def polygon(
        self, points: Sequence[Point], *, fill: str = INK, ink: str = INK, weight: float = 0.25
    ) -> None:
        """Draw a closed shape."""
        place = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self._add(
            "polygon",
            {"points": place, "fill": fill, **_stroke(ink, weight, ""), "stroke-linejoin": "round"},
        )

    def polyline(
        self, points: Sequence[Point], *, ink: str = INK, weight: float = 0.25, dash: str = ""
    ) -> None:
        """Draw an open run of lines."""
        place = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        attributes = {"points": place, "fill": "none", "stroke-linejoin": "round"}
        self._add("polyline", {**attributes, **_stroke(ink, weight, dash)})

    def text(
        self,
        at: Point,
        words: str,
        *,
        size: float = TEXT_MM,
        fill: str = INK,
        anchor: str = "start",
        bold: bool = False,
        turned: bool = False,
        room: float | None = None,
    ) -> None:
        """Write a line of text on a baseline.

        Parameters
        ----------
        at : (float, float)
            Where its anchor stands.
        words : str
            Anything a person may have typed.
        size : float
            Height of the letters' body, millimetres.
        fill : str
            Colour.
        anchor : str
            ``start``, ``middle`` or ``end``.
        bold : bool
            Whether it is heavy.
        turned : bool
            Whether it runs upward.
        room : float or None
            What it may take, millimetres; it is shortened to that, and its whole is its title.
        """
        line = one_line(words)
        if not line.strip():
            return
        shown = line if room is None else shortened(line, size, room, bold=bold)
        attributes = {
            "x": number(at[0]),
            "y": number(at[1]),
            "font-size": number(size),
            "fill": fill,
        }
        if anchor != "start":
            attributes["text-anchor"] = anchor
        if bold:
            attributes["font-weight"] = "bold"
        if turned:
            attributes["transform"] = f"rotate(-90 {number(at[0])} {number(at[1])})"
        node = self._add("text", attributes)
        node.text = shown
        if shown != line:
            ElementTree.SubElement(node, "title").text = line

    def text_of_part(self, level: int) -> str:
        """Return the part as it stands in a file, so many levels deep."""
        return _text(self._part, level)

    def text_of_shapes(self, level: int) -> str:
        """Return what the part holds as it stands in a file, so many levels deep."""
        return "".join(_text(one, level) for one in self._part)


def shapes_of(name: str) -> Shapes:
    """Return a part of a figure by itself, to be put in a place that was left for it."""
    return Shapes(ElementTree.Element("g", {"class": name}))


def _text(node: Node, level: int) -> str:
    ElementTree.indent(node, " ", level)
    return f"\n{' ' * level}{ElementTree.tostring(node, encoding='unicode')}"


class Drawing(Shapes):
    """A figure under construction.

    Parameters
    ----------
    width_mm, height_mm : float
        Its size.
    title : str
        What it is, in a line; said by screen readers.
    description : str
        What it shows, in sentences, for those who cannot see it.
    """

    def __init__(self, width_mm: float, height_mm: float, title: str, description: str) -> None:
        width, height = number(width_mm), number(height_mm)
        self.width_mm, self.height_mm = width_mm, height_mm
        self._root = ElementTree.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": f"{width}mm",
                "height": f"{height}mm",
                "viewBox": f"0 0 {width} {height}",
                "role": "img",
                "font-family": "sans-serif",
            },
        )
        ElementTree.SubElement(self._root, "title").text = one_line(title)
        ElementTree.SubElement(self._root, "desc").text = one_line(description)
        super().__init__(self._root)
        self._definitions = ElementTree.SubElement(self._root, "defs")
        self.rect((0.0, 0.0), width_mm, height_mm, fill=PAPER)

    def group(self, name: str) -> None:
        """Begin a part of the figure; what follows belongs to it."""
        self._part = ElementTree.SubElement(self._root, "g", {"class": name})

    def hatching(self, name: str, ink: str = INK) -> str:
        """Define diagonal hatching and return the fill that paints it."""
        pattern = ElementTree.SubElement(
            self._definitions,
            "pattern",
            {
                "id": name,
                "width": "1.2",
                "height": "1.2",
                "patternUnits": "userSpaceOnUse",
                "patternTransform": "rotate(45)",
            },
        )
        ground = {"width": "1.2", "height": "1.2", "fill": PAPER}
        ElementTree.SubElement(pattern, "rect", ground)
        ElementTree.SubElement(pattern, "rect", {"width": "0.5", "height": "1.2", "fill": ink})
        return f"url(#{name})"

    def svg(self) -> str:
        """Return the figure as the text of an SVG file."""
        ElementTree.indent(self._root, " ")
        return f"{ElementTree.tostring(self._root, encoding='unicode')}\n"

    def place(self, name: str, *, whole: bool = False) -> None:
        """Leave a place for what moves from one figure to the next, or for a whole part of it."""
        ElementTree.SubElement(self._root if whole else self._part, _PLACE, {"name": name})

    def pieces(self) -> tuple[tuple[str, str], ...]:
        """Return the figure in pieces, each with the place left after it; the last has none."""
        found = re.split(rf'\n *<{_PLACE} name="([^"]*)" />', self.svg())
        return tuple(zip(found[::2], [*found[1::2], ""], strict=True))


_PLACE = "place"


def _stroke(ink: str, weight: float, dash: str) -> dict[str, str]:
    stroke = {"stroke": ink, "stroke-width": number(weight)}
    return {**stroke, "stroke-dasharray": dash} if dash else stroke


def number(value: float) -> str:
    """Return a coordinate, to the thousandth of a millimetre.

    Raises
    ------
    ValueError
        If it is no finite number.

    Examples
    --------
    >>> number(1 / 3), number(-0.0001), number(20.0)
    ('0.333', '0', '20')
    """
    if not isfinite(value):
        raise ValueError(f"a figure cannot be drawn at {value}")
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Return about how wide a line of text is, rather too wide than too narrow.

    Which typeface the reader has is not known; these are the widths of a wide one.
    """
    ems = sum(_letter_ems(letter) for letter in words)
    return ems * size * (1.12 if bold else 1.0)


def _letter_ems(letter: str) -> float:
    if letter in _WIDE or east_asian_width(letter) in "WF":
        return 1.0
    return next(
        (ems for letters, ems in _EMS if letter in letters), 0.7 if letter.isupper() else 0.63
    )


def wrapped(words: str, size: float, room: float) -> list[str]:
    """Return a text in lines that take no more than their room; a longer word stands alone."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def shortened(words: str, size: float, room: float, *, bold: bool = False) -> str:
    """Return a line of text, cut with an ellipsis so that it takes no more than its room."""
    if text_width(words, size, bold=bold) <= room:
        return words
    kept = len(words)
    while kept and text_width(f"{words[:kept]}…", size, bold=bold) > room:
        kept -= 1
    return f"{words[:kept]}…"


def fitting(words: str, most: float, room: float, *, bold: bool = False) -> float:
    """Return the size at which a line of text takes no more than its room, and no more than `most`.

    Examples
    --------
    >>> fitting("N", 10.0, 50.0), fitting("NN", 10.0, 7.0)
    (10.0, 5.0)
    """
    wide = text_width(words, 1.0, bold=bold)
    return most if wide * most <= room else room / wide
