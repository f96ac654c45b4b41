"""How quick a proof is: its state and next step after each reading, and its replay.

`make bench-proof` runs it and writes into docs/performance.md. Everything is told as a ratio to
references in the same run: judging the whole chart once, and one numpy pass over a table of every
hypothesis by every outcome (see speed.py).
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import time
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import numpy as np

from accuracy import METER
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.tables import Tables
from benchproof.judge.sheet import judge_sheet
from benchproof.network.resistance import Floats
from benchproof.plan.actions import TakeReading
from benchproof.plan.survey import index_of
from benchproof.proof.conclusion import digest_of
from benchproof.proof.events import MeterChosen, Mode, Opened, ReadingTaken
from benchproof.proof.state import State, fold, start
from benchproof.reading.value import Measured, format_value
from benchproof.shipped.contents import shipped, shipped_bytes, usual_priors
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Habits, Reader
from figures import write_between
from speed import explicit_table

FAMILY = "orchard-single-7"
AT = "2026-03-02T14:05:09+01:00"
DOC = Path(__file__).parents[1] / "docs" / "performance.md"


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Return the least seconds that something takes."""
    least = float("inf")
    for _ in range(times):
        began = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - began)
    return least


def opened(family: str, mode: Mode) -> State:
    """Return a proof just opened of a family that comes along, its meter named."""
    files: dict[str, bytes] = {}

    def put(content: bytes) -> str:
        key = sha256(content).hexdigest()
        files[key] = content
        return key

    meter = put(shipped_bytes("meters", METER))
    first = Opened(
        at=AT,
        by="",
        part="S-1",
        mode=mode,
        version="0",
        family=family,
        family_file=put(shipped_bytes("families", family)),
        priors_file=put(usual_priors()),
        meter_file=meter,
        bench_file=put(shipped_bytes("benches", "selector-box")),
        library=tuple((name, put(shipped_bytes("families", name))) for name in shipped("families")),
    )
    return start(first, files).after(MeterChosen(AT, "", meter, METER))


def tables_of_state(state: State) -> Tables:
    """Return the hypotheses of a proof's ground."""
    tables = state.ground.tables
    if tables is None:
        raise AssertionError("the families that come along are not too large")
    return tables


@dataclass(frozen=True)
class Person:
    """Somebody who notes marks now and then, and reads ohms where asked once more."""

    usual: Reader
    careful: Reader


def conducted(state: State, person: Person) -> tuple[State, list[float]]:
    """Do what a proof asks for until it stops; return it, and the seconds after each reading."""
    tables = tables_of_state(state)
    times: list[float] = []
    while isinstance(action := state.next.action, TakeReading):
        number, k, p = index_of(tables, action)
        reader = person.careful if action.again else person.usual
        reading = reader.read(k, p, LEANS[number])
        unit = " ohm" if isinstance(reading.value, Measured) else ""
        event = ReadingTaken(
            AT,
            "",
            reading.position,
            reading.pair,
            f"{format_value(reading.value)}{unit}",
            lean=reading.lean,
            again=action.again,
        )
        began = time.perf_counter()
        state = state.after(event)
        _ = state.next
        times.append(time.perf_counter() - began)
    return state, times


def run(family: str, mode: Mode, parts: int, seed: int) -> tuple[list[State], Floats]:
    """Conduct proofs of simulated parts; return them, and the seconds after each reading."""
    rng = np.random.default_rng(seed)
    fresh = opened(family, mode)
    tables = tables_of_state(fresh)
    source = PartSource(tables)
    done, times = [], []
    for _ in range(parts):
        part, meter, priors = source.draw(rng), fresh.as_left.meter, tables.priors
        usual = Reader(part, tables, meter, rng, priors)
        careful = Reader(part, tables, meter, rng, priors, Habits(marks=0.0))
        state, taken = conducted(fresh, Person(usual, careful))
        done.append(state)
        times += taken
    return done, np.array(times)


def replayed(state: State) -> str:
    """Fold a proof again and digest what it concludes."""
    return digest_of(fold(state.events, state.files))


def main() -> None:
    """Run it and write the document's figures."""
    proofs, proving = run(FAMILY, Mode.PROVE, parts=15, seed=11)
    _, finding = run(FAMILY, Mode.FIND, parts=30, seed=12)
    whole = max(proofs, key=lambda state: len(state.as_left.taken))
    left = whole.as_left
    readings = [one.reading for one in left.taken]
    judge = seconds(lambda: judge_sheet(whole.ground.family, readings, left.meter), 50)
    table = explicit_table(tables_of_state(whole))
    weights = np.random.default_rng(1).random(len(table), dtype=np.float32)
    one_pass = seconds(lambda: weights @ table)
    again = seconds(lambda: replayed(whole), 10)
    rows = [
        "| what | time | times judging the chart once | times one pass |",
        "| --- | --- | --- | --- |",
    ]
    for what, value in (
        (f"judging the chart once, {len(readings)} readings", judge),
        (f"one pass over {len(table)} hypotheses", one_pass),
        ("prove: state and next step after a reading, median", float(np.median(proving))),
        ("prove: the same, p99", float(np.quantile(proving, 0.99))),
        ("find: state and next step after a reading, median", float(np.median(finding))),
        ("find: the same, p99", float(np.quantile(finding, 0.99))),
        (f"replay of a whole proof, {whole.seq} events", again),
    ):
        rows.append(
            f"| {what} | {value * 1e3:.2f} ms | {value / judge:.2f} | {value / one_pass:.2f} |"
        )
    write_between(DOC, "proof", "\n".join(rows))
    print("\n".join(rows))
    print(f"{len(proving)} readings to prove, {len(finding)} to find")


if __name__ == "__main__":
    main()
