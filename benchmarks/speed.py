"""How quick the diagnosis is: after a reading, from a cold start, and in bulk.

`make bench-speed` runs it and writes into docs/performance.md. Everything is told as a ratio to a
reference in the same run.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy import METER
from benchproof.conduct.front import ground_for
from benchproof.diagnose.posterior import observe, prior_of, tell
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.examine import examine
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace
from benchproof.plan.ahead import course
from benchproof.plan.ask import ask
from benchproof.reading.sheet import read_readings, write_readings
from benchproof.shipped.read import shipped_bench, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet
from figures import write_between

FAMILY = "orchard-single-7"
DOC = Path(__file__).parents[1] / "docs" / "performance.md"


def seconds(work: Callable[[], object]) -> float:
    """Return the seconds that something takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def explicit_table(tables: Tables) -> NDArray[np.float32]:
    """Return a table of the size that a plain implementation passes over for each next reading.

    One row a hypothesis, one column an outcome of a charted cell in its detent; 4-byte floats.
    """
    cells = tables.charted * len(tables.family.positions)
    return np.random.default_rng(0).random(
        (tables.hypotheses, cells * tables.bins.count), dtype=np.float32
    )


def after_each_reading(tables: Tables, parts: int, most: int) -> tuple[Floats, Floats]:
    """Return the seconds of posterior and next reading after each of many readings.

    Returns
    -------
    tuple of arrays
        With the reading worth most for its own time, and with the look-ahead that find mode takes.
    """
    meter, bench = shipped_meter(METER), shipped_bench("selector-box")
    rng = np.random.default_rng(5)
    source = PartSource(tables)
    single, ahead = [], []
    for _ in range(parts):
        reader = Reader(source.draw(rng), tables, meter, rng, tables.priors)
        readings = full_sheet(tables, reader.read, meter)
        posterior = prior_of(tables)
        at = BenchPlace(tables.family.positions[0])
        for number in rng.permutation(len(readings))[:most].tolist():
            one = observe(tables, [readings[number]], meter)
            began = time.perf_counter()
            posterior = tell(posterior, one)
            told = time.perf_counter()
            ask(posterior, bench, at)
            asked = time.perf_counter()
            course(posterior, bench, at)
            ahead.append(time.perf_counter() - asked + told - began)
            single.append(asked - began)
            at = BenchPlace(readings[number].position, readings[number].pair)
    return np.array(single), np.array(ahead)


def bulk(tables: Tables, sheets: int) -> tuple[float, float]:
    """Return the seconds a sheet to read its file, and to examine it as `judge_all` does."""
    meter = shipped_meter(METER)
    ground = ground_for(shipped_family(FAMILY), meter)
    rng = np.random.default_rng(6)
    source = PartSource(tables)
    files = []
    for _ in range(sheets):
        reader = Reader(source.draw(rng), tables, meter, rng, tables.priors)
        files.append(write_readings(full_sheet(tables, reader.read, meter)).encode())
    began = time.perf_counter()
    read = [read_readings(data, "sheet.csv", tables.family, meter) for data in files]
    parsed = time.perf_counter()
    for readings in read:
        found = examine(ground, readings)
        assert found.known is not None, "the family has a diagnosis"
        _ = found.judged.verdict, found.dangers, found.known.decided
    return (parsed - began) / sheets, (time.perf_counter() - parsed) / sheets


def cold_start() -> tuple[float, float]:
    """Return the seconds of a whole `judge` of one sheet, and of a Python that imports numpy."""
    program = str(Path(sys.executable).parent / "benchproof")
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "demo", folder], check=True, capture_output=True)
        sheet = f"{folder}/misaligned.csv"
        judging = [program, "judge", "valley-coded-7", sheet, "--json"]
        importing = [sys.executable, "-c", "import numpy"]
        runs = [
            (
                seconds(lambda: subprocess.run(judging, check=False, capture_output=True)),
                seconds(lambda: subprocess.run(importing, check=True)),
            )
            for _ in range(7)
        ]
    judge, plain = np.median(np.array(runs), axis=0).tolist()
    return judge, plain


def main() -> None:
    """Run it and write the document's figures."""
    tables = tables_of(shipped_family(FAMILY), shipped_priors(FAMILY))
    table = explicit_table(tables)
    weights = np.random.default_rng(1).random(len(table), dtype=np.float32)
    one_pass = min(seconds(lambda: weights @ table) for _ in range(5))
    single, ahead = after_each_reading(tables, parts=25, most=20)
    one_pass = min(one_pass, *(seconds(lambda: weights @ table) for _ in range(5)))
    parse, judge = bulk(tables, 1000)
    cold, plain = cold_start()
    rows = [
        "| what | time | ratio | to |",
        "| --- | --- | --- | --- |",
        f"| one pass over {len(table)} hypotheses x {table.shape[1]} outcomes "
        f"({table.nbytes / 1e6:.0f} MB) | {one_pass * 1e3:.1f} ms | 1 | |",
    ]
    for name, times in (("next reading", single), ("next reading, looking ahead", ahead)):
        for what, value in (("median", np.median(times)), ("p99", np.quantile(times, 0.99))):
            rows.append(
                f"| posterior and {name}, {what} | {value * 1e3:.1f} ms | {value / one_pass:.2f} "
                "| one pass |"
            )
    rows += [
        f"| `judge` of one sheet, cold | {cold * 1e3:.0f} ms | {cold / plain:.1f} "
        "| starting Python with numpy |",
        f"| a sheet in bulk, examined | {judge * 1e3:.2f} ms, "
        f"{1 / judge:.0f} a second a core | {judge / parse:.2f} | reading its CSV |",
    ]
    write_between(DOC, "speed", "\n".join(rows))
    print("\n".join(rows))


if __name__ == "__main__":
    main()
