"""Sweep traces: how quick, how much memory, how well edges are found, and stuck against offset.

`make bench-trace` runs it whole and writes docs/performance.md and docs/traces.md; `make test` runs
small samples of the same functions.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from accuracy import METER
from benchproof.conduct.front import ground_for
from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.posterior import against_chart, masses, observe, prior_of, tell
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.examination import Examination
from benchproof.examine.ground import Ground
from benchproof.family.model import Family, Pair, Role
from benchproof.family.problems import Problems
from benchproof.judge.sweep import judge_trace
from benchproof.network.branches.base import Dwell
from benchproof.network.branches.contact import Contact, ContactFault
from benchproof.network.chart import completed
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.reading.trace import BLOCK_BYTES, Trace, open_trace
from benchproof.reading.tracerows import Columns, PlainReader
from benchproof.shipped.read import lever_parts, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource, SimulatedPart, cut_normal
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet
from benchproof.simulate.trace import Dropout, Logger, sweep_of, write_trace
from benchproof.trace.condensed import boil_down
from benchproof.trace.evidence import swept_evidence
from benchproof.trace.scale import NOTED_U_DEG
from benchproof.trace.settledruns import SETTLED_DEG, settle
from benchproof.trace.sweep import TURN_DEG
from figures import write_between

DOCS = Path(__file__).parents[1] / "docs"
FAMILY = "valley-coded-7"
PAIRS = (("A", "E"), ("B", "E"), ("G", "H"))

MEADOW = """
name = "meadow-near-edge-4"
note = "Invented. A range bit that closes for all but the last position."
positions = ["P", "R", "N", "D"]
pins = ["A", "B", "E", "G", "H", "J", "K"]
detents_deg = [0, 20, 40, 60]
[[chart]]
pair = "A-E"
role = "range bit"
expect = ["closed", "closed", "closed", "open"]
[[chart]]
pair = "B-E"
role = "range bit"
expect = ["closed", "open", "closed", "open"]
[[chart]]
pair = "G-H"
role = "start permit"
expect = ["closed", "open", "closed", "open"]
[[chart]]
pair = "J-K"
role = "reverse lamp"
expect = ["open", "closed", "open", "open"]
[[branches]]
kind = "contact"
between = "A-E"
dwells_deg = [[-15, 53.5]]
[[branches]]
kind = "contact"
between = "B-E"
dwells_deg = [[-15, 10], [30, 50]]
[[branches]]
kind = "contact"
between = "G-H"
dwells_deg = [[-9.5, 9.5], [30.5, 49.5]]
[[branches]]
kind = "contact"
between = "J-K"
dwells_deg = [[10.5, 29.5]]
"""
"""A part whose stuck bit and whose offset read alike in every detent; invented."""


@lru_cache(maxsize=8)
def family_of(name: str) -> Family:
    """Return a family that comes along, or the one above."""
    if name == "meadow-near-edge-4":
        return completed(read_family(MEADOW.encode(), f"{name}.toml"))
    return shipped_family(name)


@lru_cache(maxsize=8)
def ground_of(name: str) -> Ground:
    """Return what examinations of a family's parts stand on, no other family thought of."""
    family = family_of(name)
    return ground_for(family, shipped_meter(METER), priors=shipped_priors(name), library=())


def tables_of(name: str) -> Tables:
    """Return a family's hypotheses."""
    tables = ground_of(name).tables
    assert tables is not None, "no family here is too large"
    return tables


def made(
    tables: Tables, offset_deg: float, fault: Fault | None, rng: np.random.Generator
) -> SimulatedPart:
    """Return a part with a given offset and fault, each of its edges with a spread of its own."""
    sd = tables.priors.edge_sd_deg

    def moved(dwell: Dwell) -> Dwell:
        return Dwell(dwell.from_deg + cut_normal(rng, sd), dwell.to_deg + cut_normal(rng, sd))

    branches = tuple(
        replace(branch, dwells=tuple(map(moved, branch.dwells)))
        if isinstance(branch, Contact)
        else branch
        for branch in tables.family.branches
    )
    family = replace(tables.family, branches=branches)
    faults = () if fault is None else (fault,)
    for one in faults:
        family = faulty(family, one)
    verdict = PartVerdict.REALIGN if fault is None else PartVerdict.REPAIR
    return SimulatedPart(
        replace(tables.shape, family=family), offset_deg, faults, True, verdict, False
    )


def stuck_bits(tables: Tables) -> list[Fault]:
    """Return a stuck contact for each range bit that is one contact."""
    bits = {row.pair for row in tables.family.rows(Role.RANGE_BIT)}
    return [
        Fault(ContactFault.STUCK, branch.ends, number)
        for number, branch in enumerate(tables.family.branches)
        if isinstance(branch, Contact) and branch.ends in bits
    ]


def examined(trace: Trace, ground: Ground) -> Examination:
    """Return the examination of a part by a sweep alone."""
    judged = judge_trace(trace, ground.family, ground.priors.margins)
    return examine(ground, swept_evidence(judged.sweep, ground.family, ground.meter))


def swept(part: SimulatedPart, name: str, rng: np.random.Generator) -> Examination:
    """Return a part examined by a sweep: all charted pairs, one detent noted, any zero.

    The detent is noted as well as it is said to be.
    """
    ground, tables = ground_of(name), tables_of(name)
    pairs = tables.pairs[: tables.charted]
    logged = sweep_of(part, tables.family, pairs, rng, zero_deg=float(rng.uniform(-30.0, 30.0)))
    noted = [str(rng.choice(ground.family.positions))]
    # Chance of its own, so that the parts stay the same.
    amiss_deg = float(rng.spawn(1)[0].normal(0.0, NOTED_U_DEG))
    logged = replace(logged, zero_deg=logged.zero_deg + amiss_deg)
    text = write_trace(logged, tables.family, noted)
    return examined(open_trace([text.encode()], "trace.csv", ground.family), ground)


@dataclass(frozen=True)
class Told:
    """How many parts, how many were rightly told, and of how many the offset was covered.

    `width_deg` is how wide the intervals of the offset were on average, degrees.
    """

    parts: int
    right: int
    covered: int
    width_deg: float


def right_about(found: Examination, part: SimulatedPart) -> bool:
    """Return whether the likeliest of no fault, each fault and none of these is the truth."""
    assert found.posterior is not None, "no family here is too large"
    assert found.believed is not None, "no family here is too large"
    each = masses(found.posterior)
    no_fault, claims = float(each.single[0].sum()), found.believed.faults
    likeliest = claims[0].probability if claims else 0.0
    if no_fault > max(likeliest, each.unexplained):
        return not part.faults
    if each.unexplained > likeliest:
        return False
    told = {(f.kind, f.at) for f in (claims[0].fault, *claims[0].tied)}
    return any((fault.kind, fault.at) in told for fault in part.faults)


def offset_of(found: Examination, part: SimulatedPart) -> tuple[bool, float]:
    """Return whether the offset's intervals hold the truth, and how wide they are, degrees."""
    assert found.believed is not None, "no family here is too large"
    assert found.believed.offset is not None
    spans = found.believed.offset.intervals95
    covered = any(low <= part.offset <= high for low, high in spans)
    return covered, sum(high - low for low, high in spans)


def _told(rows: Sequence[tuple[bool, bool, float]]) -> Told:
    right, covered, width = np.array(rows, dtype=np.float64).T
    return Told(len(rows), int(right.sum()), int(covered.sum()), float(width.mean()))


def stuck_or_offset(name: str, parts: int, seed: int) -> Told:
    """Return how often a sweep tells a stuck range bit from an offset, half the parts each."""
    tables = tables_of(name)
    rng = np.random.default_rng([seed, *name.encode()])
    faults = stuck_bits(tables)
    rows = []
    for number in range(parts):
        stuck = number % 2 == 0
        fault = faults[int(rng.integers(len(faults)))] if stuck else None
        sd = tables.priors.misaligned_sd_deg
        part = made(tables, float(np.clip(rng.normal(0.0, sd), -2.5 * sd, 2.5 * sd)), fault, rng)
        found = swept(part, name, rng)
        rows.append((right_about(found, part), *offset_of(found, part)))
    return _told(rows)


def as_believed(name: str, parts: int, seed: int) -> Told:
    """Return how often a sweep is right about parts drawn from the priors; hook-up faults aside."""
    tables = tables_of(name)
    rng = np.random.default_rng([seed, *name.encode()])
    source = PartSource(tables)
    rows: list[tuple[bool, bool, float]] = []
    shows = set(FaultKind) - {PartFault.LEVER_OFF, PartFault.DETENT_PLAY}
    while len(rows) < parts:
        part = source.draw(rng)
        if not part.explained or any(fault.kind not in shows for fault in part.faults):
            continue
        found = swept(part, name, rng)
        rows.append((right_about(found, part), *offset_of(found, part)))
    return _told(rows)


@dataclass(frozen=True)
class Static:
    """What becomes of parts that read alike in every detent.

    Attributes
    ----------
    parts : int
        How many.
    undecided : int
        Of how many the readings in the detents decide no verdict.
    said : int
        Of how many the diagnosis says that a lean or a sweep is needed.
    realign, repair : float
        Mean probability of either verdict by the readings in the detents.
    swept_right : int
        How many a sweep is right about.
    """

    parts: int
    undecided: int
    said: int
    realign: float
    repair: float
    swept_right: int


def static_and_swept(parts: int, seed: int) -> Static:
    """Return what detents and a sweep say of a stuck bit and of an offset that read alike.

    A part counts if, of all its charted cells, only A-E in D is against the chart.
    """
    name = "meadow-near-edge-4"
    tables = tables_of(name)
    meter = shipped_meter(METER)
    rng = np.random.default_rng(seed)
    stuck = next(f for f in stuck_bits(tables) if f.at == ("A", "E"))
    rows: list[tuple[float, ...]] = []
    while len(rows) < parts:
        fault = stuck if len(rows) % 2 == 0 else None
        small, large = tables.priors.aligned_sd_deg, tables.priors.misaligned_sd_deg
        part = made(tables, float(rng.normal(0.0, small if fault else large)), fault, rng)
        reader = Reader(part, tables, meter, rng, tables.priors)
        readings = full_sheet(tables, reader.read, meter, lean=False)
        observed = observe(tables, readings, meter)
        against = {(o.pair, o.position) for o in observed if against_chart(tables, o)}
        if against != {(0, 3)}:
            continue
        found = diagnose(tell(prior_of(tables), observed))
        said = any("sweep" in sentence for sentence in found.unknowable)
        verdicts = found.verdicts[PartVerdict.REALIGN], found.verdicts[PartVerdict.REPAIR]
        right = right_about(swept(part, name, rng), part)
        rows.append((found.decided is None, said, *verdicts, right))
    undecided, said_, realign, repair, right_ = np.array(rows, dtype=np.float64).T
    return Static(
        parts,
        int(undecided.sum()),
        int(said_.sum()),
        float(realign.mean()),
        float(repair.mean()),
        int(right_.sum()),
    )


@dataclass(frozen=True)
class EdgeScore:
    """How well edges were found.

    Attributes
    ----------
    missed, extra : int
        True edges not found within half a degree, and found ones that are none.
    rms_deg : float
        Of those found, degrees.
    ms : float
        Milliseconds a pass.
    """

    missed: int
    extra: int
    rms_deg: float
    ms: float


def noisy_passes(
    count: int, seed: int, bounce_deg: float, drops: int
) -> list[tuple[Floats, Floats, list[float]]]:
    """Return angles, ohms and true edges of single passes with bounce and dropouts."""
    tables = tables_of(FAMILY)
    rng = np.random.default_rng(seed)
    logger = Logger(passes=1, bounce_deg=bounce_deg, hysteresis_deg=0.0, noise_ohm=0.02)
    found = []
    for _ in range(count):
        part = made(tables, 0.0, None, rng)
        (contact,) = (b for b in part.family.branches if b.ends == ("A", "E"))
        assert isinstance(contact, Contact), "a range bit is a contact"
        edges = [edge for dwell in contact.dwells for edge in (dwell.from_deg, dwell.to_deg)]
        dropouts = [
            Dropout(0, float(rng.uniform(55.0, 93.0)), float(rng.uniform(0.06, 0.4)))
            for _ in range(drops)
        ]
        one = sweep_of(part, tables.family, [("A", "E")], rng, logger, dropouts)
        inside = [e for e in edges if one.angle_deg[0] + 1.5 < e < one.angle_deg[-1] - 1.5]
        found.append((one.angle_deg, one.ohm[:, 0], inside))
    return found


def own_edges(angle: Floats, ohm: Floats) -> list[float]:
    """Return the edges that benchproof finds."""
    text = "angle_deg,A-E\n" + "\n".join(
        f"{a:.3f},{'OL' if x == np.inf else f'{x:.3f}'}"
        for a, x in zip(angle.tolist(), ohm.tolist(), strict=True)
    )
    family = family_of(FAMILY)
    sweep = boil_down(open_trace([text.encode() + b"\n"], "x.csv", family), family, TURN_DEG)
    return [c.at_deg for c in settle(sweep.runs[0], sweep.passes, SETTLED_DEG).crossings]


def library_edges(angle: Floats, ohm: Floats, penalty: float) -> list[float]:
    """Return the edges that a change-point library finds in the logarithm of the ohms."""
    import ruptures

    signal = np.log10(np.clip(ohm, 1e-3, 1e8))
    algorithm = ruptures.KernelCPD(kernel="linear", min_size=10).fit(signal[:, None])
    return [0.5 * float(angle[n - 1] + angle[n]) for n in algorithm.predict(pen=penalty)[:-1]]


def edge_score(
    passes: Sequence[tuple[Floats, Floats, list[float]]],
    find: Callable[[Floats, Floats], list[float]],
) -> EdgeScore:
    """Return how well a finder does."""
    missed = extra = 0
    errors: list[float] = []
    began = time.perf_counter()
    for angle, ohm, edges in passes:
        ends = angle[0] + 1.5, angle[-1] - 1.5
        found = [edge for edge in find(angle, ohm) if ends[0] < edge < ends[1]]
        near = [min(found, key=lambda f, e=edge: abs(f - e), default=np.inf) for edge in edges]  # type: ignore[misc]
        hits = [(f, e) for f, e in zip(near, edges, strict=True) if abs(f - e) < 0.5]
        errors += [f - e for f, e in hits]
        missed += len(edges) - len(hits)
        extra += len(found) - len({f for f, _ in hits})
    ms = (time.perf_counter() - began) / len(passes) * 1e3
    return EdgeScore(missed, extra, float(np.sqrt(np.mean(np.square(errors)))), ms)


def big_file(path: Path, samples: int, pairs: Sequence[Pair] = PAIRS) -> None:
    """Write a trace of many samples."""
    tables = tables_of(FAMILY)
    part = made(tables, 1.0, None, np.random.default_rng(1))
    detents = tables.family.detents_deg
    assert detents is not None, "this family has detents"
    span = detents[-1] - detents[0] + 20.0
    logger = Logger(spacing_deg=2.0 * span / samples)
    logged = sweep_of(part, tables.family, pairs, np.random.default_rng(2), logger)
    path.write_text(write_trace(logged, tables.family, ["N"]), encoding="utf-8")


def best_ms(work: Callable[[], object], rounds: int = 9) -> float:
    """Return the least milliseconds of several runs."""
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times) * 1e3


def speed_rows(folder: Path) -> list[str]:
    """Return the rows on time and memory."""
    import polars

    family, ground = family_of(FAMILY), ground_of(FAMILY)
    files = {n: folder / f"{n}.csv" for n in (10_000, 1_000_000, 4_000_000)}
    for samples, path in files.items():
        big_file(path, samples)
    names = ["angle_deg", *("-".join(pair) for pair in PAIRS)]
    schema = dict.fromkeys(names, polars.Float64)
    million = files[1_000_000]

    def reading() -> object:
        return polars.read_csv(million, schema=schema, null_values="OL", skip_lines=2)

    def judging(path: Path, known: Ground = ground) -> object:
        with path.open("rb") as file:
            chunks = iter(lambda: file.read(BLOCK_BYTES), b"")
            return examined(open_trace(chunks, path.name, family), known).believed

    def begun() -> Ground:
        return ground_for(family, ground.meter, priors=ground.priors, library=())

    def boiling() -> object:
        with million.open("rb") as file:
            chunks = iter(lambda: file.read(BLOCK_BYTES), b"")
            return boil_down(open_trace(chunks, "x", family), family, TURN_DEG)

    # Interleaved, so that all meet the same other work of the machine.
    rounds = [
        (best_ms(reading, 2), best_ms(boiling, 2), best_ms(lambda: judging(million), 2))
        for _ in range(12)
    ]
    read, boil, whole = np.array(rounds).min(axis=0).tolist()
    first = best_ms(lambda: judging(files[10_000], begun()), 3)
    fixed = best_ms(lambda: judging(files[10_000]), 3)
    plain = best_ms(lambda: _cell_by_cell(million), 1)
    size = million.stat().st_size / 1e6
    rows = [
        "| what | time | times reading alone |",
        "| --- | --- | --- |",
        f"| polars reads the {size:.0f} MB of 1,000,000 samples of 3 pairs | {read:.0f} ms | 1 |",
        f"| benchproof reads them, a block at a time, and finds every run | {boil:.0f} ms "
        f"| {boil / read:.2f} |",
        f"| and edges, dwells, dropouts, over-run, cells, offset, faults | {whole:.0f} ms "
        f"| {whole / read:.2f} |",
        f"| benchproof reads them cell by cell, as it would were they not plain | {plain:.0f} ms "
        f"| {plain / read:.2f} |",
        f"| benchproof judges 10,000 samples: what every trace costs | {fixed:.0f} ms "
        f"| {fixed / read:.2f} |",
        f"| the same, the family's hypotheses made first | {first:.0f} ms | {first / read:.2f} |",
        "",
        "| samples | most memory of `judge --trace` |",
        "| --- | --- |",
    ]
    for samples, path in files.items():
        rows.append(
            f"| {samples:,} ({path.stat().st_size / 1e6:.1f} MB) | {_peak_mb(path):.0f} MB |"
        )
    return rows


def _cell_by_cell(path: Path) -> None:
    """Read a trace by the reader that understands all that people type."""
    columns = Columns(1 + len(PAIRS), ",", 0, False, None, (1, 2, 3), (1.0,) * 3, ())
    reader = PlainReader(columns, Problems(path.name))
    with path.open("rb") as file:
        # The remarks and the headings.
        for _ in range(3):
            file.readline()
        while lines := file.readlines(BLOCK_BYTES):
            reader.samples(b"".join(lines), 1)


def _peak_mb(path: Path) -> float:
    """Return the most memory that `judge --trace` takes, megabytes."""
    program = str(Path(sys.executable).parent / "benchproof")
    command = [program, "judge", FAMILY, "--trace", str(path), "--json"]
    # A child is counted as large as its parent was, so a small one starts it.
    script = (
        "import resource, subprocess, sys; "
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *command], capture_output=True, text=True, check=True
    )
    return float(done.stdout) / 1024.0


def edge_rows(count: int) -> list[str]:
    """Return the rows on edge finding."""
    rows = [
        "| passes with | who | missed | extra | rms error | a pass |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    worlds = (("bounce over 0.2 deg", 0.2, 0), ("bounce over 0.6 deg", 0.6, 0),
              ("that and 4 dropouts", 0.6, 4))  # fmt: skip
    for what, bounce, drops in worlds:
        passes = noisy_passes(count, 4, bounce, drops)
        own = edge_score(passes, own_edges)
        rows.append(_edge_row(what, "benchproof, its own reading included", own))
        for penalty in (20.0, 200.0, 1000.0):
            score = edge_score(passes, lambda a, x, p=penalty: library_edges(a, x, p))  # type: ignore[misc]
            rows.append(_edge_row(what, f"ruptures, penalty {penalty:.0f}", score))
    return rows


def _edge_row(what: str, who: str, score: EdgeScore) -> str:
    return (
        f"| {what} | {who} | {score.missed} | {score.extra} | {score.rms_deg:.3f} deg "
        f"| {score.ms:.1f} ms |"
    )


def told_rows(what: str, told: Sequence[tuple[str, Told]]) -> list[str]:
    """Return the rows on right answers."""
    rows = [
        f"| {what} | parts | right | offset covered | its interval |",
        "| --- | --- | --- | --- | --- |",
    ]
    return rows + [
        f"| {name} | {t.parts} | {t.right / t.parts:.2%} | {t.covered / t.parts:.2%} "
        f"| {t.width_deg:.2f} deg |"
        for name, t in told
    ]


def main() -> None:
    """Run it whole and write the documents' figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=400, help="parts a family")
    parts = options.parse_args().parts
    with tempfile.TemporaryDirectory() as folder:
        write_between(DOCS / "performance.md", "trace", "\n".join(speed_rows(Path(folder))))
    traces = DOCS / "traces.md"
    write_between(traces, "edges", "\n".join(edge_rows(200)))
    static = static_and_swept(parts, 8)
    write_between(
        traces,
        "static",
        f"Of {static.parts} parts of which only A-E in D was against the chart, half stuck, half "
        f"out of line: the readings in the detents gave `realign` {static.realign:.0%} and `repair "
        f"or replace` {static.repair:.0%} on average, decided neither for {static.undecided}, and "
        f"said for {static.said} that only a lean or a sweep tells. A sweep was right about "
        f"{static.swept_right} ({static.swept_right / static.parts:.1%}).",
    )
    bits = [name for name in lever_parts() if stuck_bits(tables_of(name))]
    stuck = [(name, stuck_or_offset(name, parts, 9)) for name in bits]
    write_between(traces, "stuck", "\n".join(told_rows("stuck bit or offset", stuck)))
    believed = [(name, as_believed(name, parts, 10)) for name in lever_parts()]
    write_between(traces, "believed", "\n".join(told_rows("drawn as believed", believed)))
    print(traces.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
