"""How soon find mode is sure: seconds of work to a verdict, against other ways of working.

`make bench-find` runs it whole and writes into docs/accuracy.md; `make test` runs small samples.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from math import log2

import msgspec
import numpy as np

from accuracy import DOC, METER
from benchproof.conduct.front import ground_for
from benchproof.diagnose.diagnosis import decision, verdict_masses, weighed
from benchproof.diagnose.posterior import (
    Observed,
    Posterior,
    masses,
    observe,
    prior_of,
    tell,
)
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.ground import Ground
from benchproof.family.model import same_pair
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.bench import Bench, seconds_between
from benchproof.plan.route import route
from benchproof.reading.value import Reading
from benchproof.shipped.read import shipped_bench, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Reader
from figures import write_between

FAMILIES = ("valley-coded-7", "ferry-two-of-four-6")
BENCHES = ("selector-box", "needle-probes")


@lru_cache(maxsize=2)
def _ground(family: str) -> Ground:
    return ground_for(shipped_family(family), shipped_meter(METER), library=())


def verdict_of(posterior: Posterior) -> PartVerdict | None:
    """Return the verdict that is decided, if any."""
    found = masses(posterior)
    return decision(*weighed(posterior, found))


@dataclass(frozen=True)
class Run:
    """How one part went: seconds and whether the verdict was right, for each way of working."""

    find_s: float
    find_right: bool
    find_decided: bool
    readings: int
    sheet_s: float
    random_s: float
    random_decided: bool


class Answerer:
    """Answers typed requests with readings of a simulated part."""

    def __init__(self, tables: Tables, reader: Reader) -> None:
        self._tables, self._reader = tables, reader
        self._meter = shipped_meter(METER)
        self._pair = {same_pair(pair): k for k, pair in enumerate(tables.pairs)}

    def reading(self, wanted: TakeReading) -> Reading:
        """Return what the meter shows."""
        positions = self._tables.family.positions
        p = positions.index(wanted.position)
        lean = positions.index(wanted.lean) - p if wanted.lean else 0
        return self._reader.read(self._pair[same_pair(wanted.pair)], p, lean)

    def __call__(self, wanted: TakeReading) -> Observed:
        """Return what is seen."""
        (one,) = observe(self._tables, [self.reading(wanted)], self._meter)
        return one


@dataclass(frozen=True)
class Went:
    """How find mode went: seconds by the bench profile, what was decided, how many readings."""

    seconds: float
    verdict: PartVerdict | None
    readings: int


def found(ground: Ground, answer: Answerer) -> Went:
    """Return how find mode went, by the policy that everybody is led by."""
    now, seconds = examine(ground, ()), 0.0
    while isinstance(wanted := now.next.action, TakeReading):
        seconds += now.next.seconds
        now = now.telling(answer.reading(wanted))
    return Went(seconds, wanted.verdict, len(now.readings))


def in_random_order(
    tables: Tables, bench: Bench, answer: Answerer, rng: np.random.Generator
) -> tuple[float, PartVerdict | None]:
    """Return the seconds to a verdict when cells are read in random order, and the verdict."""
    at = BenchPlace(tables.family.positions[0])
    posterior, seconds = prior_of(tables), 0.0
    wanted = route(tables.family, bench, at).readings
    for number in rng.permutation(len(wanted)):
        reading = replace(wanted[number], again=False)
        seconds += seconds_between(bench, tables.family, tables.pairs, at, reading)
        at = BenchPlace(reading.position, reading.pair)
        posterior = tell(posterior, [answer(reading)])
        verdict = verdict_of(posterior)
        if verdict is not None:
            return seconds, verdict
    return seconds, None


def run(family: str, bench_name: str, parts: int, seed: int) -> list[Run]:
    """Return how simulated parts went."""
    bench, meter = shipped_bench(bench_name), shipped_meter(METER)
    ground = replace(_ground(family), bench=bench)
    tables = ground.tables
    assert tables is not None, "the families that come along have a diagnosis"
    rng = np.random.default_rng([seed, 77])
    source = PartSource(tables)
    whole = route(tables.family, bench, BenchPlace(tables.family.positions[0])).seconds
    runs = []
    for _ in range(parts):
        part = source.draw(rng)
        answer = Answerer(tables, Reader(part, tables, meter, rng, tables.priors))
        went = found(ground, answer)
        random_s, random_verdict = in_random_order(tables, bench, answer, rng)
        runs.append(
            Run(
                went.seconds,
                went.verdict is part.verdict,
                went.verdict is not None,
                went.readings,
                whole,
                random_s,
                random_verdict is not None,
            )
        )
    return runs


def entropy_bit(probabilities: Mapping[PartVerdict, float]) -> float:
    """Return the entropy of the verdict, bits."""
    return -sum(p * log2(p) for p in probabilities.values() if p > 0.0)


def bound_s(tables: Tables, bench: Bench) -> float:
    """Return a bound that no way of working can beat on average, seconds.

    A reading tells at most the logarithm of its outcomes, and takes at least its own time; at the
    end at most the entropy of a verdict that is 95 % sure may be left, spread over all others.

    References
    ----------
    T. M. Cover, J. A. Thomas, "Elements of Information Theory", theorem 5.4.1, from memory: mean
    questions are at least the entropy in units of what a question can tell.
    """
    prior = prior_of(tables)
    start = entropy_bit(verdict_masses(prior, masses(prior)))
    others = len(PartVerdict) - 1
    left = -0.95 * log2(0.95) - 0.05 * log2(0.05 / others)
    return max(start - left, 0.0) / log2(tables.bins.count) * bench.reading_s


# The reduced problem: two pairs that share no pin, two positions, each cell read at most twice. All
# states fit a table, so the best policy is found exactly by dynamic programming.

SMALL = b"pins,P,D,role\nA-B,closed,open,start permit\nC-E,open,closed,reverse lamp\n"
MOST_EACH = 2


def small_tables() -> Tables:
    """Return the hypotheses of the reduced problem: no leans, since none is wide enough."""
    priors = msgspec.structs.replace(
        shipped_priors("invented"), lean_gaps=1e-9, lean_sd_gaps=1e-3, contact_high_ohm=(40.0,)
    )
    return tables_of(read_family(SMALL, "small.csv"), priors)


Seen = tuple[tuple[int, ...], ...]
"""For each cell the bins it was read in, sorted."""


class Reduced:
    """The reduced problem, its states and what each reading would show."""

    def __init__(self, bench: Bench) -> None:
        self.tables = small_tables()
        self.bench = bench
        self.cells = [(k, p) for k in range(2) for p in range(2)]
        self.bins = self.tables.bins.count
        self._posterior: dict[Seen, Posterior] = {}

    def posterior(self, seen: Seen) -> Posterior:
        """Return what is known in a state."""
        if seen not in self._posterior:
            eye = np.eye(self.bins)
            observed = [
                Observed(k, p, 0, eye[b])
                for (k, p), bins in zip(self.cells, seen, strict=True)
                for b in bins
            ]
            self._posterior[seen] = tell(prior_of(self.tables), observed)
        return self._posterior[seen]

    def log_evidence(self, seen: Seen) -> float:
        """Return the log probability of the readings of a state, in the order read."""
        return masses(self.posterior(seen)).log_evidence

    def outcomes(self, seen: Seen, cell: int) -> Floats:
        """Return the probability of each bin, were a cell read."""
        here = self.log_evidence(seen)
        chances = [np.exp(self.log_evidence(after(seen, cell, b)) - here) for b in range(self.bins)]
        return np.array(chances)

    def over(self, seen: Seen) -> bool:
        """Return whether a verdict is decided, or there is nothing left to read."""
        if all(len(bins) == MOST_EACH for bins in seen):
            return True
        return verdict_of(self.posterior(seen)) is not None

    def seconds(self, at: BenchPlace, cell: int) -> float:
        """Return the seconds to read a cell."""
        return seconds_between(
            self.bench, self.tables.family, self.tables.pairs, at, self.wanted(at, cell)
        )

    def wanted(self, at: BenchPlace, cell: int) -> TakeReading:
        """Return the reading of a cell, its probes set anew if it was just read."""
        k, p = self.cells[cell]
        position, pair = self.tables.family.positions[p], self.tables.pairs[k]
        return TakeReading(position, pair, again=at == BenchPlace(position, pair))

    def place(self, cell: int) -> BenchPlace:
        """Return where lever and meter stand after a cell was read."""
        k, p = self.cells[cell]
        return BenchPlace(self.tables.family.positions[p], self.tables.pairs[k])


def after(seen: Seen, cell: int, b: int) -> Seen:
    """Return the state after a reading."""
    bins = tuple(sorted((*seen[cell], b)))
    return (*seen[:cell], bins, *seen[cell + 1 :])


def best_s(problem: Reduced) -> float:
    """Return the mean seconds of the best policy there is, by dynamic programming."""
    worth: dict[tuple[Seen, BenchPlace], float] = {}

    def value(seen: Seen, at: BenchPlace) -> float:
        if problem.over(seen):
            return 0.0
        key = seen, at
        if key not in worth:
            worth[key] = min(
                problem.seconds(at, cell)
                + sum(
                    chance * value(after(seen, cell, b), problem.place(cell))
                    for b, chance in enumerate(problem.outcomes(seen, cell).tolist())
                )
                for cell in open_cells(seen)
            )
        return worth[key]

    return value(NOTHING, BenchPlace("P"))


NOTHING: Seen = ((), (), (), ())


def open_cells(seen: Seen) -> Iterator[int]:
    """Yield the cells that may still be read."""
    return (cell for cell, bins in enumerate(seen) if len(bins) < MOST_EACH)


def ours_s(problem: Reduced) -> float:
    """Return the mean seconds of find mode's own choices on the same problem, computed exactly."""
    worth: dict[tuple[Seen, BenchPlace], float] = {}

    def value(seen: Seen, at: BenchPlace) -> float:
        if problem.over(seen):
            return 0.0
        key = seen, at
        if key not in worth:
            cell = choice(problem, seen, at)
            worth[key] = problem.seconds(at, cell) + sum(
                chance * value(after(seen, cell, b), problem.place(cell))
                for b, chance in enumerate(problem.outcomes(seen, cell).tolist())
            )
        return worth[key]

    return value(NOTHING, BenchPlace("P"))


def choice(problem: Reduced, seen: Seen, at: BenchPlace) -> int:
    """Return the cell that find mode reads next, of those the reduced problem allows."""
    allowed = list(open_cells(seen))
    number = {
        (problem.tables.family.positions[p], same_pair(problem.tables.pairs[k])): cell
        for cell, (k, p) in enumerate(problem.cells)
    }
    ahead = course(problem.posterior(seen), problem.bench, at, most=99)
    for option in (*ahead.legs, *ahead.advice.options):
        cell = number[option.reading.position, same_pair(option.reading.pair)]
        if cell in allowed:
            return cell
    return allowed[0]


def states() -> int:
    """Return how many states the reduced problem has without the lever's place."""
    bins = small_tables().bins.count
    each = sum(len({tuple(sorted(s)) for s in product(range(bins), repeat=n)}) for n in range(3))
    return each**4


def _task(task: tuple[str, str, int, int]) -> list[Run]:
    return run(*task)


def main() -> None:
    """Run it whole and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=100, help="parts a family and bench")
    chosen = options.parse_args()
    began = time.perf_counter()
    lines = [
        "| parts of | bench | parts | find, s | readings | decided | right if decided | (a) whole "
        "sheet, s | (b) random order, s | (d) bound, s | find / (a) | find / (b) |",
        "|" + " --- |" * 12,
    ]
    with ProcessPoolExecutor() as pool:
        for family, bench_name in product(FAMILIES, BENCHES):
            tasks = [(family, bench_name, 25, seed) for seed in range(max(chosen.parts // 25, 1))]
            runs = [one for part in pool.map(_task, tasks) for one in part]
            mean_s = float(np.mean([r.find_s for r in runs]))
            decided = [r for r in runs if r.find_decided]
            random_s = float(np.mean([r.random_s for r in runs]))
            tables = _ground(family).tables
            assert tables is not None, "the families that come along have a diagnosis"
            bound = bound_s(tables, shipped_bench(bench_name))
            assert mean_s >= bound, "no way of working beats the entropy bound"
            lines.append(
                f"| {family} | {bench_name} | {len(runs)} | {mean_s:.1f} "
                f"| {np.mean([r.readings for r in runs]):.1f} | {len(decided) / len(runs):.1%} "
                f"| {np.mean([r.find_right for r in decided]):.1%} | {runs[0].sheet_s:.1f} "
                f"| {random_s:.1f} | {bound:.1f} | {mean_s / runs[0].sheet_s:.2f} "
                f"| {mean_s / random_s:.2f} |"
            )
    small = [
        "| bench | (c) best policy, s | find, s | find / (c) |",
        "| --- | --- | --- | --- |",
    ]
    for bench_name in BENCHES:
        problem = Reduced(shipped_bench(bench_name))
        best, ours = best_s(problem), ours_s(problem)
        assert ours >= best - 1e-9, "no policy beats the best one"
        small.append(f"| {bench_name} | {best:.2f} | {ours:.2f} | {ours / best:.3f} |")
    write_between(DOC, "find", "\n".join(lines))
    write_between(DOC, "reduced", "\n".join(small))
    print("\n".join([*lines, *small]))
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
