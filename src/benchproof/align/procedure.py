"""Which pair to watch in which position, and the procedure in sentences."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.align.centring import SURE, Centring, by_marks, centre
from benchproof.align.edges import HEADINGS, Approach, shows_edges
from benchproof.align.practice import REACH_GAPS, TurningScale, gaps
from benchproof.align.toturn import OTHER_WAY
from benchproof.align.window import CellWindow, Window
from benchproof.diagnose.priors import Priors
from benchproof.family.model import Family, pair_text
from benchproof.network.geometry import Geometry

MOST_CANDIDATES = 12
"""Only so many cells, the narrowest, are weighed against each other."""
MOST_CELLS = 4
"""More dwells than this nobody goes through."""
WORTH = 0.9
"""A further dwell is worth finding if it brings the uncertainty below this part of what it was."""
ALIKE = 1.02
"""Cells whose uncertainties differ by less are as good as each other; neutral then goes first."""


@dataclass(frozen=True)
class EdgeChoice:
    """A cell whose edges to find.

    Attributes
    ----------
    cell : CellWindow
        The cell.
    sd : float
        Standard uncertainty of the window's centre to be expected once its edges and those of
        the cells before it are found, in the family's unit of angle.
    """

    cell: CellWindow
    sd: float


@dataclass(frozen=True)
class Procedure:
    """How to centre a family.

    Attributes
    ----------
    choices : tuple of EdgeChoice
        The cells whose edges to find, the one that tells most first.
    why : str
        Why that one.
    finding, setting : tuple of str
        What to do, in order: to find the edges, and once they are noted.
    marks_rms : float
        How far setting by the marks is from the part's own best, root mean square.
    """

    choices: tuple[EdgeChoice, ...]
    why: str
    finding: tuple[str, ...]
    setting: tuple[str, ...]
    marks_rms: float

    @property
    def steps(self) -> tuple[str, ...]:
        """All of it, for somebody who types the edges in a file."""
        return (*self.finding, _BY_FILE, *self.setting)


def candidates(window: Window, shape: Geometry) -> list[CellWindow]:
    """Return the cells whose edges can both be found, the narrowest first.

    They conduct over a dwell that holds offset 0, are open on both sides of it, and both edges lie
    within what the slots let the body turn.
    """
    reach = gaps(shape, REACH_GAPS)
    found = [
        cell
        for cell in window.cells
        if cell.at_zero and -cell.low <= reach and cell.high <= reach and shows_edges(window, cell)
    ]
    neutral = window.family.neutral
    return sorted(found, key=lambda c: (round(c.high - c.low, 9), c.position not in neutral))


def choose(window: Window, shape: Geometry) -> tuple[EdgeChoice, ...]:
    """Return the cells whose edges to find, the one that tells most of the centre first.

    Notes
    -----
    Each cell is tried as if its edges were found once either way just where the family has them;
    the one taken leaves the centre least uncertain. Further cells follow while they are worth it.
    Empty if no cell has two edges that can be found.
    """
    left = candidates(window, shape)[:MOST_CANDIDATES]
    taken: list[EdgeChoice] = []
    while left and len(taken) < MOST_CELLS:
        so_far = [choice.cell for choice in taken]
        tried = [EdgeChoice(cell, expected_sd(window, shape, [*so_far, cell])) for cell in left]
        least = min(choice.sd for choice in tried)
        best = next(choice for choice in tried if choice.sd <= ALIKE * least)
        if taken and best.sd > WORTH * taken[-1].sd:
            break
        taken.append(best)
        left.remove(best.cell)
    return tuple(taken)


def expected_sd(window: Window, shape: Geometry, cells: Sequence[CellWindow]) -> float:
    """Return the uncertainty of the centre to be expected once the edges of cells are found."""
    approaches = [
        Approach(cell.position, cell.pair, at, rising, closed=rising == (at == cell.low))
        for cell in cells
        for at in (cell.low, cell.high)
        for rising in (True, False)
    ]
    # Read to the detent's own scatter, whatever the scale will be; edges spread as the family says.
    scale = TurningScale("", "", 0.0, 1.0)
    as_told = [(1.0, 1.0)]
    return centre(window, shape, approaches, scale, as_told).angle_sd


def procedure(window: Window, shape: Geometry, priors: Priors) -> Procedure | None:
    """Return how to centre a family; None if no cell has two edges that can be found."""
    choices = choose(window, shape)
    if not choices:
        return None
    marks_rms = by_marks(window, shape, priors).rms
    return Procedure(
        choices,
        _why(window, choices, marks_rms),
        tuple(_finding(window, [choice.cell for choice in choices])),
        _setting(choices[0].cell),
        marks_rms,
    )


def notches(family: Family) -> str:
    """Return the sentence on how neutral is found."""
    if not family.neutral:
        return (
            "Take the linkage off and find each position by counting notches from the end stop at "
            f"{family.positions[0]}, which is notch 1."
        )
    number = family.positions.index(family.neutral[0]) + 1
    return (
        f"Take the linkage off and find {family.neutral[0]} by counting notches from the end stop: "
        f"with {family.positions[0]} at the stop as notch 1 it is notch {number}. Never trust the "
        "linkage for it."
    )


def way(found: Centring) -> str:
    """Return the sentence on which way to turn to where the body is to be set.

    Clockwise is named only where the family tells from which side, and it is known which way the
    scale runs.
    """
    family = found.found.window.family
    watched = found.cells[0].cell
    sentence = f"Watch {watched.name}: turn the way that closes it, then on to the setting."
    if family.offset_grows and not 1.0 - SURE < found.rises < SURE:
        grows = family.offset_grows
        up = grows if found.rises >= SURE else OTHER_WAY[grows]
        sentence += (
            f" Up the scale is {up} seen from the {family.viewed_from}, down it {OTHER_WAY[up]}."
        )
    return sentence


def _why(window: Window, choices: Sequence[EdgeChoice], marks_rms: float) -> str:
    first = choices[0]
    unit = "deg" if window.unit == "deg" else "of a detent gap"
    why = (
        f"{first.cell.name} is closed over {first.cell.high - first.cell.low:.2g} {unit} and open "
        "on both sides; of the dwells within reach its middle tells most of the window's centre: "
        f"to {first.sd:.2g} {unit} (by the marks alone {marks_rms:.2g})"
    )
    if len(choices) > 1:
        more = ", ".join(f"with {c.cell.name} too {c.sd:.2g}" for c in choices[1:])
        why += f"; {more}"
    return f"{why}. Standard uncertainties, to be expected."


_BY_FILE = (
    f"Type one row an edge under the headings {','.join(HEADINGS)} and run benchproof centre "
    "again with --edges FILE. It says where to set the body and how good that is."
)


def _setting(first: CellWindow) -> tuple[str, ...]:
    return (
        "Set the body there; tighten the two bolts alternately, a little at a time, for tightening "
        "turns the body.",
        "Check again after tightening: every pair of the chart in every position, not only in "
        f"{first.position}. A start permit must be open everywhere outside park and neutral.",
    )


def _finding(window: Window, cells: Sequence[CellWindow]) -> list[str]:
    family = window.family
    first = cells[0]
    pair = pair_text(first.pair)
    order = family.positions
    at = order.index(first.position)
    later = order[at + 1] if at + 1 < len(order) else order[at - 1] if at else ""
    steps = [
        notches(family),
        f"Put the lever into {first.position} and the meter across {pair}. Fix the scale: a "
        "protractor, a rule along the rim, a screw or an encoder. Loosen both bolts only so far "
        "that the body turns stiffly.",
        f"Watch this pair: if {pair} is open, turn the way that closes it. Then turn one way "
        "until it opens: note the scale, whether it was rising (up) or falling (down), and open.",
        "Turn back: note where it closes; go on until it opens on the other side and note that; "
        "turn back and note where it closes. Each edge is now found from both sides, so that lash "
        "and detent play drop out. Go through it once more.",
    ]
    if later:
        steps.append(
            f"At an edge where {pair} has just opened, lean the lever lightly toward {later}, "
            f"without leaving {first.position}. If the pair closes, note {later} under toward: "
            "that tells which way the scale runs."
        )
    if len(cells) > 1:
        others = " and with ".join(cell.name for cell in cells[1:])
        steps.append(f"Do the same with {others}, the scale left as it is.")
    return steps
