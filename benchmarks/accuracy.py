"""How right the diagnosis is: calibration, coverage, hazards, on simulated parts.

`make bench-accuracy` runs it whole and writes docs/accuracy.md; `make test` runs small samples of
the same functions.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import msgspec
import numpy as np

from benchproof.conduct.front import ground_for
from benchproof.diagnose.diagnosis import offset_estimate
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import Examination
from benchproof.examine.ground import Ground
from benchproof.network.faults import Fault
from benchproof.network.resistance import Floats
from benchproof.plan.actions import TakeReading
from benchproof.plan.survey import index_of
from benchproof.shipped.read import lever_parts, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource, SimulatedPart
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet
from figures import write_between, write_rows
from worlds import SHEETS, WORLDS, World, reader_of

METER = "ordinary-handheld"
VERDICTS = list(PartVerdict)
DOC = Path(__file__).parents[1] / "docs" / "accuracy.md"

MOST_FURTHER = 12
"""So many readings the policy may ask for once the sheet is read."""


def world_of(name: str) -> World:
    """Return a world, of parts or of sheets, by its name."""
    return WORLDS[name] if name in WORLDS else SHEETS[name]


def priors_of(world: str, family: str) -> Priors:
    """Return the priors of a world for a family."""
    believed = shipped_priors(family)
    factors = world_of(world).factors
    changed = {name: getattr(believed, name) * factor for name, factor in factors.items()}
    return msgspec.structs.replace(believed, **changed)


@lru_cache(maxsize=2)
def _ground(family: str) -> Ground:
    return ground_for(shipped_family(family), shipped_meter(METER), library=())


@lru_cache(maxsize=2)
def _source(family: str, world: str) -> PartSource:
    tables = tables_of(shipped_family(family), priors_of(world, family))
    return PartSource(tables, size_spread=world_of(world).size_spread)


def fits(world: World, part: SimulatedPart) -> bool:
    """Return whether a world can be made of a part, so that its right verdict is known."""
    if world.spoil is not None:
        return part.verdict is PartVerdict.ACCEPT
    hook_up = part.verdict in (PartVerdict.HOOK_UP, PartVerdict.CHART, PartVerdict.UNEXPLAINED)
    return world.alter is None or not hook_up


def followed(found: Examination, reader: Reader, most: int = MOST_FURTHER) -> Examination:
    """Return the examination after the readings that the policy asks for, until it stops."""
    tables = found.ground.tables
    assert tables is not None, "the families that are simulated have a diagnosis"
    for _ in range(most):
        action = found.next.action
        if not isinstance(action, TakeReading):
            break
        number, k, p = index_of(tables, action)
        found = found.telling(reader.read(k, p, LEANS[number]))
    return found


@dataclass(frozen=True)
class Tally:
    """What became of some parts, one row or item a part.

    Attributes
    ----------
    probabilities : array, shape (parts, verdicts)
        Of each verdict.
    truth : array of int, shape (parts,)
        Number of the right verdict.
    decided : array of int, shape (parts,)
        Number of the verdict that was decided; -1 for none.
    covered, width : array, shape (parts,)
        Whether the 95 % intervals hold the offset (nan if nothing explains the part); their width.
    hazard : array of bool, shape (parts,)
        Whether its start permit conducts in gear.
    first : array, shape (parts,)
        For a single fault: 1 if ranked first, 0.5 if tied with what was, 0 if not; else nan.
    """

    probabilities: Floats
    truth: Floats
    decided: Floats
    covered: Floats
    width: Floats
    hazard: Floats
    first: Floats


def run(family: str, world: str, parts: int, seed: int, *, lean: bool = True) -> Tally:
    """Return what becomes of simulated parts, each read as a full sheet."""
    ground, meter = _ground(family), shipped_meter(METER)
    tables = ground.tables
    assert tables is not None, "the families that come along have a diagnosis"
    source, rates, how = _source(family, world), priors_of(world, family), world_of(world)
    rng = np.random.default_rng([seed, *family.encode(), *world.encode()])
    rows = []
    for _ in range(parts):
        part = source.draw(rng)
        while not fits(how, part):
            part = source.draw(rng)
        if how.alter is not None:
            part = how.alter(part, tables, rng)
        reader = reader_of(how, part, tables, meter, rng, rates)
        readings = full_sheet(tables, reader.read, meter, lean=lean)
        if how.spoil is not None:
            readings = how.spoil(readings, tables, rng)
        found = examine(ground, readings)
        if lean and how.spoil is None:
            found = followed(found, reader)
        assert found.known is not None, "there is a diagnosis"
        assert found.posterior is not None, "there is a diagnosis"
        estimate = offset_estimate(tables, masses(found.posterior))
        covered = any(low <= part.offset <= high for low, high in estimate.intervals95)
        first = float("nan")
        if len(part.faults) == 1 and how.alter is None and found.believed is not None:
            first = _ranked(part.faults[0], [(c.fault, c.tied) for c in found.believed.faults])
        truth = PartVerdict.HOOK_UP if how.spoil else part.verdict
        decided = found.known.decided
        rows.append(
            (
                [found.known.verdicts[verdict] for verdict in VERDICTS],
                VERDICTS.index(truth),
                -1 if decided is None else VERDICTS.index(decided),
                float(covered) if part.explained else float("nan"),
                sum(high - low for low, high in estimate.intervals95),
                part.hazard,
                first,
            )
        )
    return Tally(*(np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)))


def _ranked(truth: Fault, claims: list[tuple[Fault, tuple[Fault, ...]]]) -> float:
    def same(fault: Fault) -> bool:
        alike = fault.kind is truth.kind and fault.at == truth.at
        return alike and (bool(truth.at) or fault.size == truth.size)

    if not claims:
        return 0.0
    fault, tied = claims[0]
    return 1.0 if same(fault) else 0.5 if any(same(other) for other in tied) else 0.0


def calibration_error(probability: Floats, happened: Floats, bins: int = 15) -> float:
    """Return the expected calibration error: the mean gap between claimed and true, by bins.

    References
    ----------
    M. P. Naeini, G. F. Cooper, M. Hauskrecht, "Obtaining well calibrated probabilities using
    Bayesian binning", AAAI 2015; from memory.
    """
    which = np.minimum((probability * bins).astype(int), bins - 1)
    gaps = [
        abs(float((probability[which == b] - happened[which == b]).sum()))
        for b in range(bins)
        if (which == b).any()
    ]
    return sum(gaps) / len(probability)


def joined(tallies: Iterable[Tally]) -> Tally:
    """Return several tallies as one."""
    columns = [[getattr(tally, name) for name in Tally.__dataclass_fields__] for tally in tallies]
    return Tally(*(np.concatenate(column) for column in zip(*columns, strict=True)))


@dataclass(frozen=True)
class Summary:
    """The figures of a tally."""

    parts: int
    right: float
    expected_right: float
    calibration: float
    worst_calibration: float
    coverage: float
    width: float
    undecided: float
    decided_right: float
    hazards: int
    hazards_accepted: int
    first: float
    tied: float


def summary(tally: Tally) -> Summary:
    """Return the figures of a tally."""
    best = tally.probabilities.argmax(axis=1)
    right = best == tally.truth
    each = [
        calibration_error(tally.probabilities[:, v], (tally.truth == v).astype(np.float64))
        for v in range(len(VERDICTS))
    ]
    top = tally.probabilities.max(axis=1)
    decided = tally.decided >= 0
    accepted = tally.decided == VERDICTS.index(PartVerdict.ACCEPT)
    ranked = tally.first[~np.isnan(tally.first)]
    told_apart = ranked[ranked != 0.5]
    return Summary(
        parts=len(right),
        right=float(right.mean()),
        expected_right=float(top.mean()),
        calibration=calibration_error(top, right.astype(np.float64)),
        worst_calibration=max(each),
        coverage=float(np.nanmean(tally.covered)),
        width=float(tally.width.mean()),
        undecided=float(1.0 - decided.mean()),
        decided_right=float((tally.decided == tally.truth)[decided].mean()),
        hazards=int(tally.hazard.sum()),
        hazards_accepted=int((tally.hazard.astype(bool) & accepted).sum()),
        first=float(told_apart.mean()) if len(told_apart) else float("nan"),
        tied=float((ranked == 0.5).mean()) if len(ranked) else float("nan"),
    )


def harmed(tally: Tally) -> tuple[float, float]:
    """Return how often a good part is decided to be repaired or realigned, and how often not.

    Not: the mistake is named, nothing is decided, or it is not explained.
    """
    bad = [VERDICTS.index(verdict) for verdict in (PartVerdict.REPAIR, PartVerdict.REALIGN)]
    left = [
        VERDICTS.index(v) for v in (PartVerdict.HOOK_UP, PartVerdict.CHART, PartVerdict.UNEXPLAINED)
    ]
    return float(np.isin(tally.decided, bad).mean()), float(
        (np.isin(tally.decided, left) | (tally.decided < 0)).mean()
    )


def _task(task: tuple[str, str, int, int, bool]) -> Tally:
    family, world, parts, seed, lean = task
    return run(family, world, parts, seed, lean=lean)


CHUNK = 250


def measured(
    pool: ProcessPoolExecutor, family: str, world: str, parts: int, *, lean: bool = True
) -> Summary:
    """Return the figures of many parts, spread over processes."""
    chunks = [(family, world, CHUNK, seed, lean) for seed in range(parts // CHUNK)]
    return summary(joined(pool.map(_task, chunks)))


def _share(value: float) -> str:
    return "–" if np.isnan(value) else f"{value:.2%}"


def table(rows: Iterable[tuple[str, Summary]]) -> str:
    """Return figures as a Markdown table."""
    lines = [
        "| parts of | parts | right | expected | ECE | worst ECE | offset covered | width "
        "| undecided | right if decided | hazards | accepted | first | tied |",
        "|" + " --- |" * 14,
    ]
    lines += [
        f"| {name} | {s.parts} | {s.right:.2%} | {s.expected_right:.2%} | {s.calibration:.4f} "
        f"| {s.worst_calibration:.4f} | {s.coverage:.2%} | {s.width:.2f} | {s.undecided:.2%} "
        f"| {s.decided_right:.2%} | {s.hazards} | {s.hazards_accepted} | {_share(s.first)} "
        f"| {_share(s.tied)} |"
        for name, s in rows
    ]
    return "\n".join(lines)


def sheets_table(rows: Iterable[tuple[str, Tally]]) -> str:
    """Return what becomes of good parts by mistakes with their sheet, as a Markdown table."""
    lines = [
        "| good parts of | parts | decided repair or realign | named, undecided or not explained |",
        "| --- | --- | --- | --- |",
    ]
    for name, tally in rows:
        bad, left = harmed(tally)
        lines.append(f"| {name} | {len(tally.truth)} | {bad:.2%} | {left:.2%} |")
    return "\n".join(lines)


def gathered(pool: ProcessPoolExecutor, family: str, world: str, parts: int) -> Tally:
    """Return what becomes of many parts, spread over processes."""
    return joined(pool.map(_task, [(family, world, CHUNK, n, True) for n in range(parts // CHUNK)]))


@dataclass(frozen=True)
class Row:
    """A row of one of the document's tables, by its mark: what is drawn, how often, how read."""

    mark: str
    world: str
    family: str
    parts: int

    @property
    def name(self) -> str:
        """What the row is called."""
        plain = self.mark in ("believed", "static")
        return self.family if plain else f"{self.world}, {self.family}"


def rows_of(parts: int, others: int) -> list[Row]:
    """Return every row: so many parts of each family as believed, and so many of all else."""
    families, pair = lever_parts(), ("valley-coded-7", "orchard-single-7")
    rows = [Row("believed", "as believed", f, parts) for f in families]
    rows += [Row("static", "as believed", f, others) for f in families]
    rows += [Row("others", w, f, others) for w in WORLDS if w != "as believed" for f in pair]
    return [*rows, *(Row("sheets", world, f, others) for world in SHEETS for f in pair)]


def table_of(pool: ProcessPoolExecutor, rows: Sequence[Row]) -> str:
    """Measure some rows of one table and return them as a Markdown table."""
    mark = rows[0].mark
    if mark == "sheets":
        return sheets_table((r.name, gathered(pool, r.family, r.world, r.parts)) for r in rows)
    lean = mark != "static"
    return table((r.name, measured(pool, r.family, r.world, r.parts, lean=lean)) for r in rows)


def main() -> None:
    """Run it, whole or some rows, and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=10_000, help="parts a family")
    options.add_argument("--others", type=int, default=1_500, help="parts another world")
    options.add_argument("--table", action="append", help="renew this table alone, by its mark")
    options.add_argument("--only", action="append", help="renew only rows whose name has this")
    chosen = options.parse_args()
    began = time.perf_counter()
    every = rows_of(chosen.parts, chosen.others)
    rows = [
        row
        for row in every
        if (not chosen.table or row.mark in chosen.table)
        and (not chosen.only or any(text in row.name for text in chosen.only))
    ]
    if not rows:
        options.error("no row is called so")
    with ProcessPoolExecutor() as pool:
        for mark in dict.fromkeys(row.mark for row in rows):
            these = [row for row in rows if row.mark == mark]
            whole = len(these) == sum(row.mark == mark for row in every)
            write = write_between if whole else write_rows
            write(DOC, mark, table_of(pool, these))
    print(DOC.read_text(encoding="utf-8"))
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
