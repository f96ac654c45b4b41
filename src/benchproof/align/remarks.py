"""What is said of a window and of a centring: tables of conditions and their sentences."""

from collections.abc import Iterable, Iterator
from math import isnan

from benchproof.align.centring import SURE, Centring
from benchproof.align.window import Window, names
from benchproof.family.model import cell_text, pair_text
from benchproof.family.safety import safety_of
from benchproof.family.sentence import Sentence, said

MOST_OFF = 3.3
"""A dwell's width is further off than this by chance once in a thousand times."""
MOST_SCATTER = 3.0
"""Repeats that scatter by more than this over what was expected were not all of one edge."""
WORTH_LEANING = 0.25
"""If taking the scale the wrong way round moves the centre less, in standard uncertainties, which
way it runs is no matter."""


def _none(window: Window) -> Iterator[dict[str, str]]:
    never = [cell for cell in window.cells if cell.never]
    if never:
        yield {"cells": names(never)}


def _disjoint(window: Window) -> Iterator[dict[str, str]]:
    if window.empty and not any(cell.never for cell in window.cells):
        yield {"low": names(window.low_cells), "high": names(window.high_cells)}


def _not_at_zero(window: Window) -> Iterator[dict[str, str]]:
    off = [cell for cell in window.cells if not cell.at_zero and not cell.never]
    if off:
        yield {"cells": names(off)}


def _implied(window: Window) -> Iterator[dict[str, str]]:
    if window.implied:
        yield {}


def _gaps(window: Window) -> Iterator[dict[str, str]]:
    if window.unit == "gap":
        yield {}


def _no_circle(window: Window) -> Iterator[dict[str, str]]:
    if window.unit == "deg" and window.family.mark_radius_mm is None:
        yield {}


def _unbounded(window: Window) -> Iterator[dict[str, str]]:
    if window.centre is None and not window.empty:
        yield {}


_OF_WINDOW = (
    Sentence(
        "No offset makes these cells hold, so there is no window: {cells}. The chart and the "
        "branches contradict each other (benchproof audit says where).",
        _none,
    ),
    Sentence(
        "No offset makes every cell hold: {low} needs more than {high} bears.",
        _disjoint,
    ),
    Sentence(
        "Not even set right do these hold: {cells}. For them the offsets nearest to zero are "
        "given; the family's detents and dwells do not fit its chart.",
        _not_at_zero,
    ),
    Sentence(
        "Edges that the file does not give are implied by the chart, and so known badly: go by the "
        "band, not by the single numbers.",
        _implied,
    ),
    Sentence(
        "The family tells no detent angles: offsets are in fractions of a detent gap.",
        _gaps,
    ),
    Sentence(
        "The family gives no mark_radius_mm, so nothing can be told in millimetres.",
        _no_circle,
    ),
    Sentence("Nothing ends the window on one side or both, so it has no centre.", _unbounded),
)


def window_remarks(window: Window) -> list[str]:
    """Return what is to be said of a window."""
    return said(_OF_WINDOW, window)


def _start_permit(window: Window) -> Iterator[dict[str, str]]:
    pairs = dict.fromkeys(map(pair_text, safety_of(window.family).permits))
    if pairs:
        yield {"pairs": ", ".join(pairs)}


def _always(_: Window) -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS = (
    Sentence(
        "Before you turn the body on a vehicle: chock the wheels, set the brake, engine off and "
        "the switch unplugged, linkage off. A vehicle whose linkage is off can roll.",
        _always,
    ),
    Sentence(
        "The start permit {pairs} must be open in every position but park and neutral after the "
        "bolts are tight: otherwise the engine could be cranked in gear (49 CFR 571.102 S3.1.3; "
        "local rules govern).",
        _start_permit,
    ),
    Sentence(
        "Tighten the bolts alternately and then check every position again: tightening turns the "
        "body.",
        _always,
    ),
    Sentence(
        "The maker's procedure comes first, then local rules and licensed practice, then this "
        "program.",
        _always,
    ),
)


def turning_cautions(window: Window) -> list[str]:
    """Return the cautions for whoever is about to turn the body."""
    return said(_CAUTIONS, window)


def _misfit(c: Centring) -> Iterator[dict[str, str]]:
    unit = "deg" if c.found.window.unit == "deg" else "of a detent gap"
    for found in c.cells:
        if abs(found.off) > MOST_OFF:
            yield {
                "cell": found.cell.name,
                "width": f"{found.width:.2g}",
                "expected": f"{found.cell.high - found.cell.low:.2g} {unit}",
            }


def _scattered(c: Centring) -> Iterator[dict[str, str]]:
    found = c.found
    if not isnan(found.scatter) and found.scatter > MOST_SCATTER * found.expected_noise:
        yield {
            "seen": f"{found.scatter * found.per_unit:.2g}",
            "expected": f"{found.expected_noise * found.per_unit:.2g} {c.scale.name}",
        }


_MISFITS = (
    Sentence(
        "{cell} was found closed over {width}, but the family makes it {expected}: the wrong pair, "
        "the wrong family, the wrong scale, or a misread edge. Find it again before you set "
        "anything.",
        _misfit,
    ),
    Sentence(
        "The same edge found again the same way strays by {seen}, where {expected} is usual: the "
        "scale slipped, the lever was not in its detent, or a number was misread.",
        _scattered,
    ),
)


def misfits(c: Centring) -> list[str]:
    """Return what makes a centring not to be relied on."""
    return said(_MISFITS, c)


def _one_way(c: Centring) -> Iterator[dict[str, str]]:
    ways: dict[tuple[str, bool], set[bool]] = {}
    for a in c.found.approaches:
        name = cell_text(a.pair, a.position)
        ways.setdefault((name, a.at_lower), set()).add(a.rising)
    for (name, lower), rising in ways.items():
        if len(rising) == 1:
            yield {"edge": f"the {'lower' if lower else 'upper'} edge of {name}"}


def _unchecked(c: Centring) -> Iterator[dict[str, str]]:
    if c.found.slope_sd is None and len(c.cells) == 1:
        yield {"scale": c.scale.told}


def _which_way(c: Centring) -> Iterator[dict[str, str]]:
    if 1.0 - SURE < c.rises < SURE and _turned_moves(c) > WORTH_LEANING * c.angle_sd:
        yield {"cell": c.cells[0].cell.name}


def _turned_moves(c: Centring) -> float:
    """Return how far the centre moves if the scale runs the other way, in angle."""
    centre = c.found.window.centre or 0.0
    middles = [(found.cell.low + found.cell.high) / 2.0 for found in c.cells]
    return 2.0 * abs(centre - sum(middles) / len(middles))


def _of_window(c: Centring) -> Iterable[dict[str, str]]:
    return _implied(c.found.window)


_OF_CENTRING = (
    Sentence(
        "Lash is not taken out at {edge}: it was approached one way only. Approach it from the "
        "other side too.",
        _one_way,
    ),
    Sentence(
        "The scale ({scale}) was itself taken from the dwell's width, so nothing shows whether "
        "this is the right pair and family.",
        _unchecked,
    ),
    Sentence(
        "Which way the scale runs is not known, and it matters here: at an edge of {cell} lean the "
        "lever toward a neighbour and note under toward which one closes the pair again.",
        _which_way,
    ),
    Sentence(
        "The family's edges are implied by its chart: what was not found by turning is known "
        "badly.",
        _of_window,
    ),
)


def centring_remarks(c: Centring) -> list[str]:
    """Return what else is to be said of a centring."""
    return said(_OF_CENTRING, c)
