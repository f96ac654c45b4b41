"""How good electrical centring is, against setting by the marks, on simulated parts.

`make bench-centring` runs it whole and writes docs/alignment.md; `make test` runs a small sample of
the same functions.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from math import sqrt
from pathlib import Path

import numpy as np

from benchproof.align.centring import centre
from benchproof.align.edges import Approach
from benchproof.align.practice import REPEAT_GAPS, TurningScale, gaps, scale_of
from benchproof.align.procedure import choose
from benchproof.align.window import CellWindow, Window, cell_windows, shape_of, window_of
from benchproof.diagnose.evidence.offset import marks_sd
from benchproof.family.branches import BranchLike
from benchproof.family.model import Family
from benchproof.network.branches.base import Dwell
from benchproof.network.branches.contact import Contact
from benchproof.network.resistance import Floats
from benchproof.shipped.read import lever_parts, shipped_family, shipped_priors
from benchproof.simulate.part import cut_normal
from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "alignment.md"
MOST_LASH_DEG = 1.5
ROUNDS = 2
"""Each edge is found so often from either side."""
TURNS_PER_DEGREE = 0.13
"""What the screw of the simulated fixture does; the program is not told."""


@dataclass(frozen=True)
class Way:
    """How the simulated parts are centred."""

    name: str
    scale: str = "deg"
    cells: int | None = None
    """How many dwells are found; None for as many as the procedure asks."""
    noise: float = 1.0
    """In what is believed of it."""
    scatter: float = 1.0
    """How wide the parts' edges spread, in what is believed of it."""


WAYS = (
    Way("as the procedure says"),
    Way("one dwell only", cells=1),
    Way("on a screw", scale="turns"),
    Way("twice the noise", noise=2.0),
    Way("parts that scatter 1.6 times as wide", scatter=1.6),
    Way("the same, one dwell only", cells=1, scatter=1.6),
    Way("parts that scatter 0.6 times as wide", scatter=0.6),
)


@dataclass(frozen=True)
class Tally:
    """What became of some parts, each of shape (parts,), degrees.

    Attributes
    ----------
    stated, body : array
        From the part's own best centre: the stated centre, and the body set to it.
    marks : array
        The same of a body set by the marks.
    covered : array of bool
        Whether the 95 % interval holds the part's own best centre.
    told : array
        The stated standard uncertainty.
    """

    stated: Floats
    body: Floats
    marks: Floats
    covered: Floats
    told: Floats


def run(family: str, way: Way, parts: int, seed: int) -> Tally:
    """Return what becomes of simulated parts of a family."""
    chart, priors = shipped_family(family), shipped_priors(family)
    shape = shape_of(chart, priors)
    window = window_of(shape, priors)
    cells = [choice.cell for choice in choose(window, shape)][: way.cells]
    scale = scale_of(way.scale, chart)
    noise = way.noise * gaps(shape, REPEAT_GAPS)
    by_eye = marks_sd(shape, priors) * sqrt(3.0)
    rng = np.random.default_rng([seed, *family.encode(), *way.name.encode()])
    rows = []
    for _ in range(parts):
        own = cell_windows(_part(shape.family, way.scatter * window.edge_sd, rng), window.edge_sd)
        best = (max(c.low for c in own) + min(c.high for c in own)) / 2.0
        hand = _Hand(scale, window, noise, rng)
        approaches = hand.approaches([own[window.cells.index(cell)] for cell in cells])
        found = centre(window, shape, approaches, scale)
        low, high = found.interval95
        where = hand.on_scale(best)
        rows.append(
            (
                (found.set_at - where) / hand.slope,
                hand.set_to(found.coming_up) - best,
                rng.uniform(-by_eye, by_eye) - best,
                low <= where <= high,
                found.set_sd / abs(hand.slope),
            )
        )
    return Tally(*(np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)))


def _part(family: Family, sd: float, rng: np.random.Generator) -> Family:
    """Return a part of a family: every edge with a deviation of its own."""

    def made(branch: BranchLike) -> BranchLike:
        if not isinstance(branch, Contact):
            return branch
        dwells = [
            Dwell(d.from_deg + cut_normal(rng, sd), d.to_deg + cut_normal(rng, sd))
            for d in branch.dwells
        ]
        return replace(branch, dwells=tuple(dwells))

    return replace(family, branches=tuple(made(branch) for branch in family.branches))


class _Hand:
    """Someone who turns a body: a scale of unknown zero and direction, lash, a shaky detent."""

    def __init__(
        self, scale: TurningScale, window: Window, noise: float, rng: np.random.Generator
    ) -> None:
        size = scale.per_degree or TURNS_PER_DEGREE
        self.slope = size * float(rng.choice([-1.0, 1.0]))
        self._zero = float(rng.uniform(-20.0, 20.0))
        self._lash = float(rng.uniform(0.0, MOST_LASH_DEG)) * size
        self._noise, self._step, self._rng = noise * size, scale.step, rng
        self._order = window.family.positions

    def on_scale(self, offset: float) -> float:
        """Return what the scale reads at an offset, lash and noise left out."""
        return self._zero + self.slope * offset

    def set_to(self, reading: float) -> float:
        """Return the offset at which the body stands once the rising scale reads so much."""
        read = reading + self._rng.normal(0.0, self._noise)
        read += self._rng.uniform(-0.5, 0.5) * self._step - self._lash / 2.0
        return float(read - self._zero) / self.slope

    def approaches(self, cells: Sequence[CellWindow]) -> list[Approach]:
        """Return the edges of a part's cells, each found from either side."""
        found = []
        for cell in cells:
            ends = sorted((self.on_scale(cell.low), self.on_scale(cell.high)))
            for _ in range(ROUNDS):
                for upper, end in enumerate(ends):
                    for rising in (True, False):
                        at = end + (self._lash / 2.0 if rising else -self._lash / 2.0)
                        at += self._rng.normal(0.0, self._noise)
                        at = round(at / self._step) * self._step
                        closed = rising == (not upper)
                        found.append(Approach(cell.position, cell.pair, at, rising, closed))
        return found


def joined(tallies: Iterable[Tally]) -> Tally:
    """Return several tallies as one."""
    columns = [[getattr(tally, name) for name in Tally.__dataclass_fields__] for tally in tallies]
    return Tally(*(np.concatenate(column) for column in zip(*columns, strict=True)))


@dataclass(frozen=True)
class Summary:
    """The figures of a tally, degrees."""

    parts: int
    stated: float
    told: float
    body: float
    marks: float
    coverage: float

    @property
    def ratio(self) -> float:
        """How many times setting by the marks is worse than the body as set."""
        return self.marks / self.body


def summary(tally: Tally) -> Summary:
    """Return the figures of a tally."""

    def rms(values: Floats) -> float:
        return sqrt(float((values**2).mean()))

    return Summary(
        len(tally.stated),
        rms(tally.stated),
        rms(tally.told),
        rms(tally.body),
        rms(tally.marks),
        float(tally.covered.mean()),
    )


def _task(task: tuple[str, Way, int, int]) -> Tally:
    return run(*task)


CHUNK = 500


def measured(pool: ProcessPoolExecutor, family: str, way: Way, parts: int) -> Summary:
    """Return the figures of many parts, spread over processes."""
    chunks = [(family, way, CHUNK, seed) for seed in range(max(1, parts // CHUNK))]
    return summary(joined(pool.map(_task, chunks)))


def table(rows: Iterable[tuple[str, Summary]]) -> str:
    """Return figures as a Markdown table."""
    lines = [
        "| parts of | parts | stated, deg | claimed, deg | as set, deg | by the marks, deg "
        "| times better | 95 % covered |",
        "|" + " --- |" * 8,
    ]
    lines += [
        f"| {name} | {s.parts} | {s.stated:.3f} | {s.told:.3f} | {s.body:.3f} | {s.marks:.3f} "
        f"| {s.ratio:.1f} | {s.coverage:.2%} |"
        for name, s in rows
    ]
    return "\n".join(lines)


def main() -> None:
    """Run it whole and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=10_000, help="parts a family")
    options.add_argument("--others", type=int, default=2_000, help="parts in each other way")
    chosen = options.parse_args()
    began = time.perf_counter()
    families = lever_parts()
    with ProcessPoolExecutor() as pool:
        usual = [(f, measured(pool, f, WAYS[0], chosen.parts)) for f in families]
        write_between(DOC, "centring", table(usual))
        others = [
            (f"{f}, {way.name}", measured(pool, f, way, chosen.others))
            for way in WAYS[1:]
            for f in ("valley-coded-7", "orchard-single-7")
        ]
        write_between(DOC, "others", table(others))
    print(table([*usual, *others]))
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
