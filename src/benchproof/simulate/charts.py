"""Charts that nobody tuned to, drawn at random, each with the truth that its text may not tell.

As a book or a tired person types them: without roles, with other names for the positions, with a
misprint on the start permit, with redundant pairs, of 3 to 16 positions, of one pair only. All
invented.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchproof.family.model import Family, Pair
from benchproof.network.files import read_family

FEWEST, MOST = 3, 16
"""Lever positions of a chart."""


@dataclass(frozen=True)
class Drawn:
    """A chart and the truth about it.

    Attributes
    ----------
    text : str
        The chart as it is typed, CSV.
    family : Family
        What is read from it.
    truth : Family
        The same without its misprint, with every role and position told.
    permits : tuple of pair
        The pairs that are the start permit; empty if the part has none.
    gears : tuple of str
        The positions in which it must not conduct.
    misprint : tuple of (pair, str) or None
        The cell that is printed wrongly: its pair and position.
    traits : frozenset of str
        What is peculiar about it, such as ``no roles``.
    """

    text: str
    family: Family
    truth: Family
    permits: tuple[Pair, ...]
    gears: tuple[str, ...]
    misprint: tuple[Pair, str] | None
    traits: frozenset[str]


@dataclass
class _Row:
    pair: Pair
    cells: list[str]
    role: str


_Rng = np.random.Generator
_NAMES: dict[str, Callable[[str, int], str]] = {
    "usual names": lambda kind, n: {"park": "P", "reverse": "R", "neutral": "N"}.get(
        kind, "D" if n == 0 else f"{n}"
    ),
    "short names": lambda kind, n: {"park": "Pk", "reverse": "Rv", "neutral": "Nt"}.get(
        kind, f"Dr{n}"
    ),
    "numbers": lambda _kind, _n: "",
    "local names": lambda kind, n: {"park": "yard", "reverse": "astern", "neutral": "idle"}.get(
        kind, f"field {n}"
    ),
}


def draw_chart(rng: np.random.Generator) -> Drawn:
    """Return a chart drawn at random, with the truth about it.

    Parameters
    ----------
    rng : numpy Generator
        Where all chance comes from.
    """
    traits: set[str] = set()
    kinds = _kinds(rng, traits)
    style = str(rng.choice(list(_NAMES)))
    traits.add(style)
    gears = 0
    names: list[str] = []
    for number, kind in enumerate(kinds):
        name = _NAMES[style](kind, gears) or str(number + 1)
        gears += kind == "drive"
        names.append(name)
    rows = _rows(rng, kinds, traits)
    truth = _text(names, kinds, rows, lever=True, roles=True)
    permits = tuple(row.pair for row in rows if row.role == "start permit")
    misprint = _misprint(rng, rows, names, traits) if rng.random() < 0.3 else None
    roles = rng.random() < 0.5
    lever = rng.random() < 0.5
    traits.add("roles" if roles else "no roles")
    traits.add("positions told" if lever else "positions not told")
    text = _text(names, kinds, rows, lever=lever, roles=roles)
    return Drawn(
        text,
        read_family(text.encode(), "drawn.csv"),
        read_family(truth.encode(), "drawn.csv"),
        permits,
        tuple(name for name, kind in zip(names, kinds, strict=True) if kind not in _FREE),
        misprint,
        frozenset(traits),
    )


_FREE = ("park", "neutral")


def _kinds(rng: _Rng, traits: set[str]) -> list[str]:
    count = int(rng.integers(FEWEST, MOST + 1))
    first = ["park", "reverse", "neutral"]
    if rng.random() < 0.15:
        traits.add("no park")
        first = first[1:]
    kinds = (first + ["drive"] * MOST)[:count]
    if rng.random() < 0.2:
        traits.add("other way round")
        kinds = kinds[::-1]
    return kinds


def _rows(rng: _Rng, kinds: list[str], traits: set[str]) -> list[_Row]:
    rows: list[_Row] = []
    shape = str(rng.choice(["bits", "parity bits", "single bits", "level", "one pair"]))
    traits.add(shape)
    count = len(kinds)
    if shape in ("bits", "parity bits"):
        width = int(np.ceil(np.log2(count + 1))) + (shape == "parity bits")
        words = rng.permutation(np.arange(1, 2 ** (width - (shape == "parity bits"))))[:count]
        for bit in range(width):
            ones = [
                bin(int(word)).count("1") % 2
                if shape == "parity bits" and bit == width - 1
                else int(word) >> bit & 1
                for word in words
            ]
            rows.append(_Row((f"A{bit}", "E"), [_mark(one) for one in ones], "range bit"))
    elif shape == "single bits":
        for n in range(count):
            cells = [_mark(n == other) for other in range(count)]
            rows.append(_Row((f"A{n}", "E"), cells, "range bit"))
    elif shape == "level":
        ohms = [f"{round(220 * 1.6**n)} ohm" for n in range(count)]
        rows.append(_Row(("L", "M"), [str(o) for o in rng.permutation(ohms)], "range level"))
    common = rng.random() < 0.3 and shape != "one pair"
    if common:
        traits.add("permit on the common pin")
    free = [_mark(kind in _FREE) for kind in kinds]
    if shape == "one pair" or rng.random() < 0.92:
        rows.append(_Row(("G", "E" if common else "H"), free, "start permit"))
    else:
        traits.add("no start permit")
    if rng.random() < 0.1 and rows[-1].role == "start permit":
        traits.add("two start permits")
        rows.append(_Row(("S", "T"), list(free), "start permit"))
    if shape != "one pair" and rng.random() < 0.6:
        traits.add("reverse lamp")
        rows.append(_Row(("J", "K"), [_mark(kind == "reverse") for kind in kinds], "reverse lamp"))
    if shape in ("bits", "parity bits") and rng.random() < 0.3:
        traits.add("redundant pair")
        both = zip(rows[0].cells, rows[1].cells, strict=True)
        rows.append(_Row(("A0", "A1"), [_mark(a == b == "closed") for a, b in both], "other"))
    if rng.random() < 0.3:
        rng.shuffle(rows)
    return rows


def _mark(closed: object) -> str:
    return "closed" if closed else "open"


def _misprint(
    rng: _Rng, rows: list[_Row], names: list[str], traits: set[str]
) -> tuple[Pair, str] | None:
    """Print one cell wrongly, the start permit's as often as any other's."""
    permits = [row for row in rows if row.role == "start permit"]
    row = permits[0] if permits and rng.random() < 0.5 else rows[int(rng.integers(len(rows)))]
    at = int(rng.integers(len(names)))
    was = row.cells[at]
    row.cells[at] = "any" if rng.random() < 0.3 else {"open": "closed"}.get(was, "open")
    traits.add("misprint on the permit" if row.role == "start permit" else "misprint")
    return row.pair, names[at]


def _text(names: list[str], kinds: list[str], rows: list[_Row], *, lever: bool, roles: bool) -> str:
    head = ["pins", *names, *(["role"] if roles else [])]
    lines = [head]
    if lever:
        lines.append(["lever", *kinds])
    if roles and not any(row.role == "start permit" for row in rows):
        lines.append(["start permit", "none"])
    lines += [["-".join(row.pair), *row.cells, *([row.role] if roles else [])] for row in rows]
    return "# Invented: drawn at random.\n" + "".join(",".join(line) + "\n" for line in lines)
