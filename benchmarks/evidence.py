"""Whether further evidence ever makes the diagnosis worse, on simulated parts.

Each part is told of in stages: readings in the detents, then leans, then every edge that a sweep
finds, then the offset by the marks. A stage that tells more must not lower the expected log score
of offset and verdict, and the interval of the offset must hold it as often as it says.

`make bench-evidence` runs it whole and writes docs/accuracy.md; `make test` runs small samples of
the same functions.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import hypot
from pathlib import Path

import numpy as np

from benchproof.diagnose.diagnosis import NARROW, finer, offset_estimate, weighed
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.evidence.offset import marks_sd
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.spreads import scattering
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.update import Posterior, prior_of, tell
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import MeasuredOffset
from benchproof.shipped.read import lever_parts, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.edges import EdgeSpread, edges_of
from benchproof.simulate.part import PartSource, SimulatedPart
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet
from figures import write_between

METER = "ordinary-handheld"
DOC = Path(__file__).parents[1] / "docs" / "accuracy.md"
STAGES = ("readings", "leans", "edges", "marks")


@dataclass(frozen=True)
class Way:
    """How edges are found, by how much parts scatter wider, and of which share of the parts."""

    found: EdgeSpread = field(default_factory=EdgeSpread)
    scatter: float = 1.0
    share: float = 1.0


WAYS = {
    "zero known": Way(),
    "edges 1.6 times as wide": Way(scatter=1.6),
    # Some ten times the work.
    "zero in doubt": Way(EdgeSpread(zero=0.03), share=0.2),
    "one edge in a hundred stray": Way(EdgeSpread(stray=0.01), share=0.4),
}
EVERYWHERE = ("zero known",)
"""The ways that are run for every family; the others for two of them."""
MARKS_U_DEG = 0.3
"""How well the marks are read off, besides how far they themselves are off."""
LEAST = 1e-6
"""A probability below this counts as this: one part in a million must not outweigh all others."""


REDUNDANT = "redundant-ladder-4"
_REDUNDANT = b"""
name = "redundant-ladder-4"
note = "Invented. A ladder read from two pins, so that each of its contacts is read twice."
positions = ["P", "R", "N", "D"]
detents_deg = [0, 20, 40, 60]
pins = [{name = "A"}, {name = "B"}, {name = "W"}, {name = "G"}, {name = "H"}]
inner = ["n1", "n2", "n3", "n4"]
chart = [
    {pair = "A-W", role = "range level"},
    {pair = "B-W", role = "range level"},
    {pair = "G-H", role = "start permit"},
]
branches = [
    {kind = "resistor", between = "A-n1", value = "100 ohm"},
    {kind = "resistor", between = "B-n1", value = "130 ohm"},
    {kind = "resistor", between = "n1-n2", value = "120 ohm"},
    {kind = "resistor", between = "n2-n3", value = "180 ohm"},
    {kind = "resistor", between = "n3-n4", value = "270 ohm"},
    {kind = "contact", between = "W-n1", dwells_deg = [[-9, 9]]},
    {kind = "contact", between = "W-n2", dwells_deg = [[11, 29]]},
    {kind = "contact", between = "W-n3", dwells_deg = [[31, 49]]},
    {kind = "contact", between = "W-n4", dwells_deg = [[51, 69]]},
    {kind = "contact", between = "G-H", dwells_deg = [[-4, 4], [36, 44]]},
]
"""


@lru_cache(maxsize=2)
def tables_for(family: str) -> Tables:
    """Return the tables of a family that comes along, or of the redundant ladder."""
    if family == REDUNDANT:
        known = completed(read_family(_REDUNDANT, "redundant-ladder-4.toml"))
    else:
        known = shipped_family(family)
    return tables_of(known, shipped_priors(family))


@dataclass(frozen=True)
class Tally:
    """What became of some parts, shape (parts, stages) each.

    Attributes
    ----------
    offset, verdict : array
        Log of the probability density of the offset at the true one (nan for a part that nothing
        explains), and of the probability of the right verdict.
    covered, width : array
        Whether the 95 % intervals hold the offset; their width.
    """

    offset: Floats
    verdict: Floats
    covered: Floats
    width: Floats


def stages_of(
    part: SimulatedPart, tables: Tables, way: EdgeSpread, rng: np.random.Generator
) -> list[Posterior]:
    """Return what is known of a part after each stage."""
    meter = shipped_meter(METER)
    reader = Reader(part, tables, meter, rng, tables.priors)
    sheet = full_sheet(tables, reader.read, meter)
    u = MARKS_U_DEG if tables.shape.unit == "deg" else 0.02
    off = float(rng.normal(0.0, hypot(u, marks_sd(tables.shape, tables.priors))))
    pieces = (
        [one for one in sheet if not one.lean],
        [one for one in sheet if one.lean],
        [*edges_of(part, tables, meter, way, rng)],
        [MeasuredOffset(part.offset + off, u, "the marks")],
    )
    found = []
    known = prior_of(tables)
    for more in pieces:
        known = tell(known, observe(tables, more, meter))
        found.append(known)
    return found


def run(family: str, way: str, parts: int, seed: int) -> Tally:
    """Return what becomes of simulated parts of a family."""
    tables, how = tables_for(family), WAYS[way]
    source = PartSource(replace(tables, priors=scattering(tables.priors, how.scatter)))
    rng = np.random.default_rng([seed, *family.encode(), *way.encode()])
    rows = []
    for _ in range(parts):
        part = source.draw(rng)
        each = [_scores(part, known) for known in stages_of(part, tables, how.found, rng)]
        rows.append([*zip(*each, strict=True)])
    return Tally(*(np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)))


def by_edges_alone(family: str, way: str, parts: int, seed: int) -> tuple[Floats, Floats]:
    """Return how often and how widely the intervals of edges alone hold the offset.

    Parameters
    ----------
    family, way : str
        Which parts, and how their edges are found.
    parts, seed : int
        How many, and of which chance.

    Returns
    -------
    tuple of arrays, shape (parts, 2) each
        Whether the offset is held, and the width, by the priors and by a spread that is known.
    """
    tables, how = tables_for(family), WAYS[way]
    certain = replace(tables, priors=scattering(tables.priors, 1.0))
    source = PartSource(replace(tables, priors=scattering(tables.priors, how.scatter)))
    rng, meter = np.random.default_rng([seed, *family.encode()]), shipped_meter(METER)
    covered, width = np.zeros((parts, 2)), np.zeros((parts, 2))
    for n in range(parts):
        part = source.draw(rng)
        while not part.explained:
            part = source.draw(rng)
        edges = edges_of(part, tables, meter, how.found, rng)
        for which, one in enumerate((tables, certain)):
            known = tell(prior_of(one), observe(one, edges, meter))
            found = offset_estimate(one, masses(known), known.besides.edges).intervals95
            covered[n, which] = any(low <= part.offset <= high for low, high in found)
            width[n, which] = sum(high - low for low, high in found)
    return covered, width


def alone_table(parts: int) -> str:
    """Return what edges alone come to as a Markdown table."""
    lines = [
        "| parts of | parts | covered | width | covered if the spread is taken as known | width |",
        "|" + " --- |" * 6,
    ]
    for family in ("valley-coded-7", REDUNDANT):
        for way in ("zero known", "edges 1.6 times as wide"):
            covered, width = (a.mean(axis=0) for a in by_edges_alone(family, way, parts, 5))
            lines.append(
                f"| {family}, {way} | {parts} | {covered[0]:.1%} | {width[0]:.2f} "
                f"| {covered[1]:.1%} | {width[1]:.2f} |"
            )
    return "\n".join(lines)


def _scores(part: SimulatedPart, known: Posterior) -> tuple[float, float, float, float]:
    tables, found = known.tables, masses(known)
    verdicts, _ = weighed(known, found)
    verdict = float(np.log(max(verdicts[part.verdict], LEAST)))
    estimate = offset_estimate(tables, found)
    width = sum(high - low for low, high in estimate.intervals95)
    if not part.explained:
        return float("nan"), verdict, float("nan"), width
    share = found.by_offset / found.by_offset.sum()
    narrow = found.measured and float(share.max()) > NARROW
    fine, share = finer(tables.grid, share, narrow=narrow)
    density = float(np.interp(part.offset, fine, share)) / float(fine[1] - fine[0])
    covered = any(low <= part.offset <= high for low, high in estimate.intervals95)
    return float(np.log(max(density, LEAST))), verdict, float(covered), width


def joined(tallies: Iterable[Tally]) -> Tally:
    """Return several tallies as one."""
    columns = [[getattr(tally, name) for name in Tally.__dataclass_fields__] for tally in tallies]
    return Tally(*(np.concatenate(column) for column in zip(*columns, strict=True)))


def gains(scores: Floats) -> tuple[Floats, Floats]:
    """Return by how much each stage raises the mean score, and its standard error."""
    steps = np.diff(scores, axis=1)
    counted = np.sum(~np.isnan(steps), axis=0)
    error: Floats = np.nanstd(steps, axis=0) / np.sqrt(counted)
    return np.nanmean(steps, axis=0), error


def _task(task: tuple[str, str, int, int]) -> Tally:
    return run(*task)


CHUNK = 50


def measured(pool: ProcessPoolExecutor, family: str, way: str, parts: int) -> Tally:
    """Return what becomes of many parts, spread over processes."""
    count = max(1, int(parts * WAYS[way].share) // CHUNK)
    chunks = [(family, way, CHUNK, seed) for seed in range(count)]
    return joined(pool.map(_task, chunks))


def table(rows: Iterable[tuple[str, Tally]]) -> str:
    """Return figures as a Markdown table."""
    lines = [
        "| parts of | parts | told | score of offset | gain | score of verdict | gain "
        "| offset covered | width |",
        "|" + " --- |" * 9,
    ]
    for name, tally in rows:
        offset, verdict = gains(tally.offset), gains(tally.verdict)
        for n, stage in enumerate(STAGES):
            more = [
                f"{mean[n - 1]:+.4f} ± {error[n - 1]:.4f}" if n else ""
                for mean, error in (offset, verdict)
            ]
            lines.append(
                f"| {name} | {len(tally.verdict)} | {'+ ' * bool(n)}{stage} "
                f"| {np.nanmean(tally.offset[:, n]):.3f} | {more[0]} "
                f"| {tally.verdict[:, n].mean():.4f} | {more[1]} "
                f"| {np.nanmean(tally.covered[:, n]):.1%} | {tally.width[:, n].mean():.2f} |"
            )
    return "\n".join(lines)


def main() -> None:
    """Run it and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=250, help="parts a family")
    options.add_argument("--only", action="append", help="run these families alone, write nothing")
    options.add_argument("--way", action="append", help="run these ways alone, write nothing")
    options.add_argument("--alone", type=int, help="so many parts by edges alone, nothing else")
    chosen = options.parse_args()
    if chosen.alone:
        write_between(DOC, "alone", alone := alone_table(chosen.alone))
        print(alone)
        return
    began = time.perf_counter()
    families = chosen.only or [*lever_parts(), REDUNDANT]
    ways = chosen.way or [*WAYS]
    with ProcessPoolExecutor() as pool:
        told = table(
            (f"{family}, {way}", measured(pool, family, way, chosen.parts))
            for way in ways
            for family in (families if way in EVERYWHERE or chosen.only else families[-2:])
        )
    if not (chosen.only or chosen.way):
        write_between(DOC, "evidence", told)
    print(told)
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
