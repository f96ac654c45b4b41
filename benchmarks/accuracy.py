"""How right the diagnosis is: calibration, coverage, hazards, on simulated parts.

`make bench-accuracy` runs it whole and writes docs/accuracy.md; `make test` runs small samples of
the same functions.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import msgspec
import numpy as np

from benchproof.cli.files import load_family, load_meter, shipped, shipped_priors
from benchproof.diagnose.diagnosis import (
    decision,
    diagnose,
    offset_estimate,
    weighed,
)
from benchproof.diagnose.posterior import masses, observe, prior_of, tell
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import Verdict
from benchproof.network.faults import Fault
from benchproof.network.resistance import Floats
from benchproof.simulate.part import Source
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet
from figures import write_between

METER = "ordinary-handheld"
VERDICTS = list(Verdict)
DOC = Path(__file__).parents[1] / "docs" / "accuracy.md"

# What the parts are drawn from, in factors on the priors that the diagnosis believes in.
WORLDS: Mapping[str, Mapping[str, float]] = {
    "as believed": {},
    "wider edges": {"edge_sd_deg": 1.6},
    "three times the slips": {"slip_rate": 3.0, "other_cell_rate": 3.0, "wrong_key_rate": 3.0},
    "other faults": {
        "contact_open_rate": 0.4,
        "contact_high_rate": 2.0,
        "contact_stuck_rate": 2.5,
        "pin_open_rate": 2.0,
        "leak_rate": 2.0,
        "not_explained_rate": 3.0,
    },
    "other sizes of fault": {},
    "further out of line": {"misaligned_rate": 1.6, "aligned_sd_deg": 1.5},
}


def priors_of(world: str, family: str) -> Priors:
    """Return the priors of a world for a family."""
    believed = shipped_priors(family)
    changed = {name: getattr(believed, name) * factor for name, factor in WORLDS[world].items()}
    return msgspec.structs.replace(believed, **changed)


@lru_cache(maxsize=2)
def _tables(family: str) -> Tables:
    return tables_of(load_family(family), shipped_priors(family))


@lru_cache(maxsize=2)
def _source(family: str, world: str) -> Source:
    tables = tables_of(load_family(family), priors_of(world, family))
    return Source(tables, size_spread=0.3) if world == "other sizes of fault" else Source(tables)


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
    tables, meter = _tables(family), load_meter(METER)
    source, believed_rates = _source(family, world), priors_of(world, family)
    rng = np.random.default_rng([seed, *family.encode(), *world.encode()])
    rows = []
    for _ in range(parts):
        part = source.draw(rng)
        reader = Reader(part, tables, meter, rng, believed_rates)
        readings = full_sheet(tables, reader.read, meter, lean=lean)
        posterior = tell(prior_of(tables), observe(tables, readings, meter))
        found = masses(posterior)
        verdicts, danger = weighed(posterior, found)
        decided = decision(verdicts, danger)
        estimate = offset_estimate(tables, found)
        covered = any(low <= part.offset <= high for low, high in estimate.intervals95)
        first = float("nan")
        if len(part.faults) == 1:
            first = _ranked(part.faults[0], [(c.fault, c.tied) for c in diagnose(posterior).faults])
        rows.append(
            (
                [verdicts[verdict] for verdict in VERDICTS],
                VERDICTS.index(part.verdict),
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
    accepted = tally.decided == VERDICTS.index(Verdict.ACCEPT)
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


def _task(task: tuple[str, str, int, int, bool]) -> Tally:
    family, world, parts, seed, lean = task
    return run(family, world, parts, seed, lean=lean)


CHUNK = 500


def measured(
    pool: ProcessPoolExecutor, family: str, world: str, parts: int, *, lean: bool = True
) -> Summary:
    """Return the figures of many parts, spread over processes."""
    chunks = [(family, world, CHUNK, seed, lean) for seed in range(parts // CHUNK)]
    return summary(joined(pool.map(_task, chunks)))


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
        f"| {s.decided_right:.2%} | {s.hazards} | {s.hazards_accepted} | {s.first:.2%} "
        f"| {s.tied:.2%} |"
        for name, s in rows
    ]
    return "\n".join(lines)


def main() -> None:
    """Run it whole and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=10_000, help="parts a family")
    options.add_argument("--others", type=int, default=1_500, help="parts a misspecified world")
    options.add_argument("--hazards", type=int, default=100_000, help="parts of the hazard run")
    chosen = options.parse_args()
    began = time.perf_counter()
    families = shipped("families")
    with ProcessPoolExecutor() as pool:
        believed = [(f, measured(pool, f, "as believed", chosen.parts)) for f in families]
        write_between(DOC, "believed", table(believed))
        bare = [(f, measured(pool, f, "as believed", chosen.others, lean=False)) for f in families]
        write_between(DOC, "static", table(bare))
        others = [
            (f"{world}, {f}", measured(pool, f, world, chosen.others))
            for world in WORLDS
            if world != "as believed"
            for f in ("valley-coded-7", "orchard-single-7")
        ]
        write_between(DOC, "others", table(others))
        done = sum(s.parts for _, s in [*believed, *bare])
        more = measured(pool, "valley-coded-7", "as believed", max(chosen.hazards - done, CHUNK))
    every = [s for _, s in [*believed, *bare, ("", more)]]
    write_between(
        DOC,
        "hazards",
        f"{sum(s.parts for s in every)} parts drawn as believed, of which "
        f"{sum(s.hazards for s in every)} had a start permit that conducts in gear; "
        f"{sum(s.hazards_accepted for s in every)} of these were accepted.",
    )
    print(DOC.read_text(encoding="utf-8"))
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
