"""Aligning one part at the bench: edges typed one by one, where to set the body, and after."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import isfinite

import msgspec

from benchproof.align.band import WindowBand, band_of
from benchproof.align.centring import ByMarks, Centring, by_marks, centre
from benchproof.align.edges import HEADINGS, read_edges
from benchproof.align.practice import SCALES, scale_of
from benchproof.align.procedure import Procedure, procedure, way
from benchproof.align.remarks import (
    centring_remarks,
    misfits,
    turning_cautions,
    window_remarks,
)
from benchproof.align.toturn import good_range
from benchproof.align.window import Window, shape_of
from benchproof.conduct.families import KeptFamily, usable, window_read
from benchproof.family.model import Family, pair_text
from benchproof.family.names import match_name
from benchproof.family.problems import BadFile
from benchproof.family.safetext import csv_text
from benchproof.family.sentence import quoted
from benchproof.shipped.read import shipped_priors

MOST_EDGES = 200
MOST_ON_SCALE = 1e9
_FILE = "edges"


class Typed(msgspec.Struct, frozen=True):
    """What was typed while a body is aligned; it is kept as a draft.

    Attributes
    ----------
    scale : str
        What the turning is read on: a name of `align.practice.SCALES`.
    rows : tuple of rows
        One an edge, as `align.edges.HEADINGS` has them.
    now : str
        What the scale reads now.
    set_at : float or None
        Where it was said to set the body, once that was frozen.
    after : str
        What the scale reads after the bolts were tightened.
    found_at : str
        What the scale read before the body was turned.
    """

    scale: str = "deg"
    rows: tuple[tuple[str, ...], ...] = ()
    now: str = ""
    set_at: float | None = None
    after: str = ""
    found_at: str = ""

    def with_edge(self, row: tuple[str, ...]) -> "Typed":
        """Return it with one more edge."""
        scale = number_of(row[2])
        told = row if scale is None else (*row[:2], f"{scale:.12g}", *row[3:])
        return msgspec.structs.replace(self, rows=(*self.rows, told)[:MOST_EDGES])

    def without_last(self) -> "Typed":
        """Return it without the last edge."""
        return msgspec.structs.replace(self, rows=self.rows[:-1])


def encode(typed: Typed) -> str:
    """Return what was typed as the text of a draft."""
    return msgspec.json.encode(typed).decode()


def decode(text: str) -> Typed:
    """Return what was typed from the text of a draft; nothing, if there is none or it is spoilt."""
    try:
        found = msgspec.json.decode(text, type=Typed)
    except msgspec.DecodeError:
        return Typed()
    good = found.scale in SCALES and all(len(row) == len(HEADINGS) for row in found.rows)
    return found if good else Typed()


def number_of(text: str) -> float | None:
    """Return a number as people type it; None if it is none that a scale shows."""
    try:
        found = float(text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        return None
    return found if isfinite(found) and abs(found) <= MOST_ON_SCALE else None


@dataclass(frozen=True)
class EdgeAsked:
    """An edge to be found: where the lever stands, the pair to watch, the way to turn.

    Attributes
    ----------
    position, pins : str
        As in a row.
    turned : str
        Which way the scale runs meanwhile, ``up`` or ``down``.
    became : str
        What the pair becomes, ``open`` or ``closed``.
    """

    position: str
    pins: str
    turned: str
    became: str

    @property
    def told(self) -> str:
        """What to do, a sentence."""
        return f"Turn {self.turned} the scale until {self.pins} {_BECOMES[self.became]}"

    @property
    def row(self) -> tuple[str, str, str, str]:
        """All of it."""
        return self.position, self.pins, self.turned, self.became


_BECOMES = {"open": "opens", "closed": "closes"}
ROUND = (("up", "open"), ("down", "closed"), ("down", "open"), ("up", "closed"))
"""How the edges of one dwell are found, each from both sides: turning up over its upper end, back
over it, on over the lower one, and back."""


@dataclass(frozen=True)
class Crept:
    """Where the body is after the bolts were tightened.

    Attributes
    ----------
    by : float
        How far it moved from where it was set, on the scale.
    left : float
        How far it still is from the nearer end of the window, on the scale; below zero if outside.
    """

    by: float
    left: float

    @property
    def inside(self) -> bool:
        """Whether every cell should still hold."""
        return self.left > 0.0


@dataclass(frozen=True)
class Aligning:
    """How the alignment of one body stands.

    Attributes
    ----------
    kept : KeptFamily
        The family.
    typed : Typed
        What was typed so far.
    """

    kept: KeptFamily
    typed: Typed

    @cached_property
    def window(self) -> Window:
        """The family's window."""
        return window_read(self.kept.content, self.kept.family.name)

    @cached_property
    def band(self) -> WindowBand:
        """How the window's ends spread from part to part."""
        return band_of(self.window)

    @cached_property
    def steps(self) -> Procedure | None:
        """How to centre it; None if it cannot be centred electrically."""
        return _of_family(self.kept.content, self.kept.family.name)[0]

    @property
    def next_edge(self) -> EdgeAsked | None:
        """The edge to find next; None if the family cannot be centred electrically."""
        return None if self.steps is None else _edge_asked(self.steps, self.typed.rows)

    @cached_property
    def remarks(self) -> list[str]:
        """What is to be said of the window, and of the centring once there is one."""
        said = window_remarks(self.window)
        return said if self.centring is None else [*said, *centring_remarks(self.centring)]

    @cached_property
    def cautions(self) -> list[str]:
        """The cautions for whoever is about to turn the body."""
        return turning_cautions(self.window)

    @property
    def centring(self) -> Centring | None:
        """Where to set the body; None until there are edges enough."""
        return self._fitted[0]

    @property
    def missing(self) -> tuple[str, ...]:
        """What is still needed for a centring, or wrong with the edges."""
        return self._fitted[1]

    @cached_property
    def _fitted(self) -> tuple[Centring | None, tuple[str, ...]]:
        if not self.typed.rows or self.window.centre is None:
            return None, ()
        known = shipped_priors(self.kept.family.name)
        shape = shape_of(self.kept.family, known)
        try:
            approaches = read_edges(_csv(self.typed.rows), _FILE, self.window)
            scale = scale_of(self.typed.scale, self.kept.family)
            return centre(self.window, shape, approaches, scale), ()
        except BadFile as error:
            return None, tuple(one.sentence for one in error.problems)
        except ValueError as error:
            return None, (f"{error}.",)

    @cached_property
    def misfits(self) -> list[str]:
        """What makes the centring not to be relied on."""
        return [] if self.centring is None else misfits(self.centring)

    @cached_property
    def marks(self) -> ByMarks | None:
        """How good the marks alone would be; None if the window has no centre."""
        return _of_family(self.kept.content, self.kept.family.name)[1]

    @property
    def way(self) -> str:
        """Which way to turn, in a sentence."""
        return "" if self.centring is None else way(self.centring)

    @property
    def ends(self) -> tuple[float, float] | None:
        """The ends of the window on the scale; None until there is a centring."""
        found, window = self.centring, self.window
        if found is None or window.centre is None:
            return None
        half = (window.high - window.low) / 2.0 * abs(found.found.per_unit)
        return found.set_at - half, found.set_at + half

    @property
    def good(self) -> tuple[float, float] | None:
        """The range of the scale in which enough parts stay right; None without a centring."""
        found, good, window = self.centring, good_range(self.window), self.window
        if found is None or good is None or window.centre is None:
            return None
        low, high = sorted((end - window.centre) * found.found.per_unit for end in good)
        return found.set_at + low, found.set_at + high

    @property
    def to_go(self) -> float | None:
        """How far the scale has to move from what it reads now, up if above zero."""
        now = number_of(self.typed.now)
        return None if now is None or self.centring is None else self.centring.set_at - now

    @property
    def crept(self) -> Crept | None:
        """Where the body is after tightening; None until that was read."""
        after, ends = number_of(self.typed.after), self.ends
        if after is None or ends is None or self.typed.set_at is None:
            return None
        return Crept(after - self.typed.set_at, min(after - ends[0], ends[1] - after))


@lru_cache(maxsize=32)
def aligning(kept_key: str, content: bytes, name: str, typed: Typed) -> Aligning:
    """Return how an alignment stands; it is computed once for all screens that show it.

    Parameters
    ----------
    kept_key, content, name : str, bytes, str
        The family's key, its file, and its name.
    typed : Typed
        What was typed so far.
    """
    return Aligning(KeptFamily(kept_key, usable(content, name), content), typed)


@lru_cache(maxsize=16)
def _of_family(content: bytes, name: str) -> tuple[Procedure | None, ByMarks | None]:
    """Return how a family is centred, and how good its marks are; None where it has no centre."""
    window = window_read(content, name)
    if window.centre is None:
        return None, None
    known = shipped_priors(window.family.name)
    shape = shape_of(usable(content, name), known)
    return procedure(window, shape, known), by_marks(window, shape, known)


def _edge_asked(steps: Procedure, rows: Sequence[tuple[str, ...]]) -> EdgeAsked:
    """Return the edge found least often so far, in the order in which they are found."""
    asked = [
        EdgeAsked(choice.cell.position, pair_text(choice.cell.pair), turned, became)
        for choice in steps.choices
        for turned, became in ROUND
    ]
    found = [(row[0], row[1], row[3], row[4]) for row in rows]
    return min(asked, key=lambda one: found.count(one.row))


def edge_typed(text: str, asked: EdgeAsked | None, family: Family) -> tuple[str, ...]:
    """Return the row of an edge as a person typed it in one field.

    Parameters
    ----------
    text : str
        What the scale read; then, where it is not as asked, ``up`` or ``down``, ``open`` or
        ``closed``, and ``toward`` with the position toward which a lean closed the pair again.
    asked : EdgeAsked or None
        The edge that was asked for.
    family : Family
        The family.

    Raises
    ------
    ValueError
        With one sentence, if a word is not understood or something is lacking.

    Examples
    --------
    >>> from benchproof.shipped.read import shipped_family
    >>> asked = EdgeAsked("N", "G-H", "up", "open")
    >>> edge_typed("-3,9 down toward D", asked, shipped_family("valley-coded-7"))
    ('N', 'G-H', '-3,9', 'down', 'open', 'D')
    """
    number, *words = text.split() or [""]
    if number_of(number) is None:
        raise ValueError(f"{quoted(number)} is no number; type what the scale read.")
    turned, became = (asked.turned, asked.became) if asked else ("", "")
    toward = ""
    told = iter(words)
    for word in told:
        meant = word.casefold().rstrip(",;")
        if meant in ("toward", "towards", "lean"):
            toward = _position_named(next(told, ""), family)
        elif meant in _WORDS:
            turned, became = (_WORDS[meant][0] or turned, _WORDS[meant][1] or became)
        else:
            raise ValueError(
                f"{quoted(word)} is not understood; after the number type up or down, open or "
                "closed, and toward with a position."
            )
    if asked is None or not turned or not became:
        raise ValueError("Say which way the scale ran, up or down, and what the pair became.")
    return asked.position, asked.pins, number, turned, became, toward


_WORDS = {
    **dict.fromkeys(("up", "u", "rising"), ("up", "")),
    **dict.fromkeys(("down", "d", "falling"), ("down", "")),
    **dict.fromkeys(("open", "opened", "opens", "o"), ("", "open")),
    **dict.fromkeys(("closed", "closes", "close", "c"), ("", "closed")),
}


def _position_named(text: str, family: Family) -> str:
    try:
        return match_name(text, family.positions, "position")
    except ValueError as error:
        raise ValueError(f"{error}".rstrip(".") + ".") from None


def check_row(window: Window, row: tuple[str, ...]) -> str:
    """Return what is wrong with one edge as it was typed, a sentence; empty if nothing is.

    Edges that other edges are needed for are not wrong.
    """
    scale = number_of(row[2])
    if scale is None:
        return f"{quoted(row[2])} is no number; type what the scale read."
    # Beside its partner at the other end of the dwell no edge lacks anything.
    is_lower = (row[3] == "up") == (row[4] == "closed")
    other = list(row)
    other[2] = repr(scale + 1.0 if is_lower else scale - 1.0)
    other[4] = "open" if row[4] == "closed" else "closed"
    other[5] = ""
    try:
        read_edges(_csv(((*row[:2], repr(scale), *row[3:]), tuple(other))), _FILE, window)
    except BadFile as error:
        return error.problems[0].sentence
    return ""


def _csv(rows: tuple[tuple[str, ...], ...]) -> bytes:
    return csv_text([HEADINGS, *rows], "\t").encode("utf-8", "replace")


def typed_anew(typed: Typed) -> Typed:
    """Return what stays when the edges are found anew: the scale."""
    return Typed(scale=typed.scale)
