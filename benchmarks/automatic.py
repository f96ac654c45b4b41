"""Automatic proofs with injected faults: complete and right, or clearly stopped and resumable.

`make bench-automatic` runs 1,000 of them and writes into docs/performance.md. Each is of an
invented part on the simulated bench over TCP, in an archive of its own, and is run again and again
until it is complete. What it must have recorded is computed beforehand without instruments, disk or
faults: the proof's own next steps, answered by the part. The same list must stand in the archive,
reading by reading, so none was lost, repeated or changed.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pyvisa

from benchproof.conduct.automatic import Ended, ReadingDone
from benchproof.conduct.automatic import run as automatic
from benchproof.conduct.gearchecks import no_voltage
from benchproof.conduct.opening import open_proof
from benchproof.conduct.work import Work, now
from benchproof.diagnose.tables import tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.model import Pair, same_pair
from benchproof.instrument.dialect import Dialect, ohms_of
from benchproof.instrument.gearfile import (
    BenchGear,
    ScpiMeterGear,
    read_gear,
    simulated_gear,
)
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import InstrumentProblem
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import INFINITE, Faults, SimBench, Wiring
from benchproof.instrument.station import Station, open_station
from benchproof.plan.actions import Stop
from benchproof.proof.codec import decode
from benchproof.proof.events import LeverAt, Mode, ReadingSource, ReadingTaken
from benchproof.proof.state import State
from benchproof.proof.taking import text_of
from benchproof.reading.value import Measured, Value
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource as Parts
from benchproof.simulate.reader import Habits, Reader
from figures import write_between
from instrument import seconds_each

if TYPE_CHECKING:
    from benchproof.diagnose.tables import Tables
    from benchproof.proof.events import Event

DOC = Path(__file__).parents[1] / "docs" / "performance.md"
FAMILIES = ("valley-coded-7", "ferry-two-of-four-6", "orchard-single-7")
METER = "depot-bench"
KINDS = ("GARB", "CUT", "SIL", "LATE", "UNPL")
RATES = ((0.003, 0.40), (0.01, 0.30), (0.03, 0.24), (0.2, 0.06))
"""How many of the replies are disturbed, and in how many proofs."""
KILLED, MOVED, UNPLUGGED = 0.5, 0.2, 0.05
"""In how many proofs the program dies, somebody moves the lever, the bench goes away for long."""
AWAY_S = 2.5
TIMEOUT_S = 0.05
MOST_STOPS = 3
"""After so many stops in a row somebody has mended the line."""
MOST_RUNS = 30
MOST_KILLS = 4
WORKERS = 8
PROGRAM = "from benchproof.cli import main; main()"
TAG = "S-1.1"
TAKEN, BEFORE, RECORDED = "taken", "before it is recorded", "once it is recorded"


class Killed(BaseException):
    """The program died here."""


@dataclass
class Plan:
    """What goes wrong in one proof, by the number of the reading at which it does."""

    rate: float
    kinds: tuple[str, ...]
    positions: tuple[str, ...]
    kills: dict[int, str] = field(default_factory=dict)
    moves: set[int] = field(default_factory=set)
    away: set[int] = field(default_factory=set)
    readings: int = 0
    hang_up: Callable[[], None] = print

    def die(self, number: int, when: str) -> None:
        """Die if that is planned for this moment."""
        if self.kills.get(number) == when:
            self.hang_up()
            raise Killed


@dataclass(frozen=True)
class Outcome:
    """What came of one proof.

    Attributes
    ----------
    seed : int
        Its number.
    kept, taken : int
        How many readings must stand in the record, and how many the bench took of the part's ohms.
    runs, kills : int
        How often it was run, and how often the program died.
    stops : tuple of str
        Why it was stopped, a sentence each.
    wrong : str
        What is not as it must be; empty if all is.
    """

    seed: int
    kept: int
    taken: int
    runs: int
    stops: tuple[str, ...]
    kills: int
    wrong: str


@lru_cache(maxsize=8)
def tables_for(family: str) -> "Tables":
    """Return a family's tables."""
    return tables_of(shipped_family(family), shipped_priors(family))


class Part:
    """An invented part whose cells always read the same."""

    def __init__(self, family: str, seed: int) -> None:
        tables, rng = tables_for(family), np.random.default_rng(seed)
        part = Parts(tables).draw(rng)
        self._reader = Reader(
            part, tables, shipped_meter(METER), rng, tables.priors, Habits(marks=0.0)
        )
        self.positions = tables.family.positions
        self.channels: dict[str, Pair] = {f"{101 + k}": p for k, p in enumerate(tables.pairs)}
        self._number = {same_pair(pair): k for k, pair in enumerate(tables.pairs)}
        self._ohms: dict[tuple[frozenset[str], str, str], float] = {}
        self.taken = 0

    def read(self, pair: Pair, position: str, lean: str) -> float:
        """Return what the meter shows of a cell, ohms, and count it."""
        self.taken += 1
        return self.ohms(pair, position, lean)

    def ohms(self, pair: Pair, position: str, lean: str) -> float:
        """Return what a cell is, ohms."""
        key = same_pair(pair), position, lean
        if key not in self._ohms:
            p = self.positions.index(position)
            toward = self.positions.index(lean) - p if lean else 0
            value = self._reader.read(self._number[key[0]], p, toward).value
            self._ohms[key] = value.ohm if isinstance(value, Measured) else float("inf")
        return self._ohms[key]

    def value(self, pair: Pair, position: str, lean: str) -> Value:
        """Return what must be recorded of a cell."""
        ohm = self.ohms(pair, position, lean)
        sent = INFINITE if ohm == float("inf") else f"{ohm:+.8E}"
        return ohms_of(Decimal(sent), Dialect("standard"))


Told = tuple[str, Pair, str, bool, str]


def told(events: "Iterable[Event]") -> list[Told]:
    """Return the readings among events, without their times."""
    return [
        (one.position, one.pair, one.lean, one.again, one.value)
        for one in events
        if isinstance(one, ReadingTaken)
    ]


def expected(state: State, part: Part) -> list[Told]:
    """Return the readings that a proof must come to."""
    while not isinstance(asked := state.next.action, Stop):
        if (state.at.position, state.lean) != (asked.position, asked.lean):
            state = state.after(LeverAt(now(), "", asked.position, asked.lean))
        text = text_of(part.value(asked.pair, asked.position, asked.lean))
        state = state.after(
            ReadingTaken(
                now(),
                "",
                asked.position,
                asked.pair,
                text,
                lean=asked.lean,
                again=asked.again,
                source=ReadingSource.METER,
            )
        )
    return told(state.events)


class _Mortal(Work):
    """A proof whose program dies before or after it recorded a reading."""

    plan: Plan

    def record(self, event: "Event") -> None:
        """Record an event, and die."""
        number = self.plan.readings if isinstance(event, ReadingTaken) else 0
        self.plan.die(number, BEFORE)
        super().record(event)
        self.plan.die(number, RECORDED)


class _Disturbed(Station):
    """A station at which things happen during a reading."""

    plan: Plan
    bench: SimBench
    server: SimServer

    def read(self, pair: Pair) -> Value:
        """Take a reading, and let happen what is planned for it."""
        self.plan.readings += 1
        number = self.plan.readings
        if number in self.plan.away:
            self.server.unplug(AWAY_S)
        value = super().read(pair)
        if number in self.plan.moves:
            # A void reading is told by the number of the next one.
            self.bench.position = next(p for p in self.plan.positions if p != self.bench.position)
        self.plan.die(number, TAKEN)
        return value

    def hang_up(self) -> None:
        """Close the lines as the system does for a program that died: nothing is opened."""
        assert isinstance(self.meter, ScpiMeter)
        self.meter.close()
        self.selector = None


def gear_at(resource: str, channels: dict[str, Pair]) -> BenchGear:
    """Return the gear of a simulated bench, that is waited for only a short time."""
    gear = read_gear(simulated_gear(resource, channels).encode(), "bench.toml")
    meter, selector, lever = gear.meter, gear.selector, gear.lever
    assert selector is not None
    assert lever is not None
    assert isinstance(meter, ScpiMeterGear)
    address = replace(selector.address, timeout_s=TIMEOUT_S)
    return replace(
        gear,
        meter=replace(meter, address=address),
        selector=replace(selector, address=address),
        lever=replace(lever, address=address),
    )


def planned(seed: int, positions: tuple[str, ...]) -> Plan:
    """Return what goes wrong in a proof."""
    rng = random.Random(seed)
    rates, weights = zip(*RATES, strict=True)
    kinds = tuple(rng.sample(KINDS, rng.randint(1, len(KINDS))))
    plan = Plan(rng.choices(rates, weights)[0], kinds, positions)
    while rng.random() < KILLED:
        plan.kills[rng.randint(1, 50)] = rng.choice((TAKEN, BEFORE, RECORDED))
    if rng.random() < MOVED:
        plan.moves.add(rng.randint(1, 50))
    if rng.random() < UNPLUGGED:
        plan.away.add(rng.randint(1, 30))
    return plan


@contextmanager
def archive(folder: str, family: str) -> Iterator[Store]:
    """Open a new archive with one part in it."""
    with open_store(f"{folder}/shop.sqlite", lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("families", family))
        store.parts.add(PartRow("S-1", family, file, datetime.now(UTC)))
        store.people.add(PersonRow("ab", "invented"))
        yield store


def run_once(store: Store, plan: Plan, bench: SimBench, server: SimServer, part: Part) -> Ended:
    """Run a proof as a program that is started anew does, until it ends.

    Raises
    ------
    Killed
        If it dies.
    """
    work = _Mortal(store, TAG)
    gear = gear_at(server.resource, part.channels)
    plain = open_station(gear, lambda _: Dialect("standard"), lambda p, _: p, part.positions)
    station = _Disturbed(plain.meter, plain.selector, plain.lever)
    work.plan = station.plan = plan
    station.bench, station.server, plan.hang_up = bench, server, station.hang_up
    try:
        no_voltage(work, station, "ab")
        steps = automatic(work, station, "ab", lambda position, _: position)
        while True:
            next(steps)
    except StopIteration as stopped:
        ended: Ended = stopped.value
    except InstrumentProblem as problem:
        ended = Ended(None, f"{problem}")
    with suppress(InstrumentProblem):
        station.close()
    return ended


def proof_with_faults(seed: int, plan: Plan | None = None) -> Outcome:
    """Run one proof until it is complete, and look at what it recorded."""
    family = FAMILIES[seed % len(FAMILIES)]
    part = Part(family, seed)
    plan = plan or planned(seed, part.positions)
    bench = SimBench(
        Wiring(part.channels, part.positions, part.read), Faults(plan.rate, plan.kinds)
    )
    server = SimServer(bench, random.Random(seed))
    try:
        with TemporaryDirectory() as folder, archive(folder, family) as store:
            work = open_proof(store, "S-1", Mode.PROVE, meter=METER, bench="relay-matrix")
            must = expected(work.state, part)
            return _until_complete(seed, store, plan, bench, server, part, must)
    finally:
        server.close()


def _until_complete(
    seed: int,
    store: Store,
    plan: Plan,
    bench: SimBench,
    server: SimServer,
    part: Part,
    must: list[Told],
) -> Outcome:
    stops, kills, wrong = list[str](), 0, list[str]()
    ended = Ended(None, "")
    runs = 0
    while ended.stop is None and runs < MOST_RUNS:
        runs += 1
        try:
            ended = run_once(store, plan, bench, server, part)
        except Killed:
            kills += 1
        else:
            if ended.problem:
                stops.append(ended.problem)
            elif ended.stop is None:
                wrong.append("it ended without a word")
            if bench.closed and "switch it off" not in ended.problem:
                wrong.append("a channel was left closed")
        recorded = told(_events(store))
        if recorded != must[: len(recorded)]:
            wrong.append(f"after run {runs} other readings stand there than must")
        if len(stops) == MOST_STOPS:
            bench.faults.rate = 0.0
        plan.away.clear()
    if recorded != must:
        wrong.append(f"{len(recorded)} readings stand there, {len(must)} must")
    if ended.stop is None:
        wrong.append(f"not complete after {MOST_RUNS} runs")
    if bench.most_closed > 1:
        wrong.append("two pairs were closed together")
    wrong += [one.sentence for one in verify(store.database).found]
    return Outcome(seed, len(must), part.taken, runs, tuple(stops), kills, "; ".join(wrong))


def _events(store: Store) -> list["Event"]:
    return [decode(one.payload) for one in store.proofs.events(TAG)]


def killed_by_the_system(seed: int) -> Outcome:
    """Kill the whole program, the command itself, at random moments once it reads."""
    family = FAMILIES[seed % len(FAMILIES)]
    part, rng = Part(family, seed), random.Random(seed)
    bench = SimBench(Wiring(part.channels, part.positions, part.read), Faults(lag_s=0.003))
    server = SimServer(bench, rng)
    runs = kills = 0
    try:
        with TemporaryDirectory() as folder, archive(folder, family) as store:
            work = open_proof(store, "S-1", Mode.PROVE, meter=METER, bench="relay-matrix")
            must = expected(work.state, part)
            gear = Path(folder) / "bench.toml"
            gear.write_text(simulated_gear(server.resource, part.channels), encoding="utf-8")
            where = ["--gear", f"{gear}", "--store", f"{folder}/shop.sqlite"]
            command = [sys.executable, "-c", PROGRAM, "proof", "run", TAG, *where]
            wrong = list[str]()
            while runs < MOST_RUNS:
                runs += 1
                before = part.taken
                program = subprocess.Popen(command, stdout=subprocess.DEVNULL)
                while kills < MOST_KILLS and part.taken == before and program.poll() is None:
                    time.sleep(0.005)
                try:
                    code = program.wait(rng.uniform(0.0, 0.5) if kills < MOST_KILLS else 60.0)
                except subprocess.TimeoutExpired:
                    program.kill()
                    program.wait()
                    kills += 1
                    continue
                if code in (0, 1):
                    break
                wrong.append(f"exit code {code}")
            recorded = told(_events(store))
            if recorded != must:
                wrong.append(f"{len(recorded)} readings stand there, {len(must)} must")
            wrong += [one.sentence for one in verify(store.database).found]
            return Outcome(seed, len(must), part.taken, runs, (), kills, "; ".join(wrong))
    finally:
        server.close()


def seconds_a_reading(rounds: int) -> tuple[float, float, float]:
    """Return the least medians of rounds: bare query, reading of a pair, reading of a proof."""
    part = Part(FAMILIES[0], 0)
    bench = SimBench(Wiring(part.channels, part.positions, lambda *_: 0.1), Faults())
    least = [float("inf")] * 3
    for number in range(rounds):
        server = SimServer(bench, random.Random(number))
        session = pyvisa.ResourceManager("@py").open_resource(
            server.resource, read_termination="\n", write_termination="\n"
        )
        assert isinstance(session, pyvisa.resources.MessageBasedResource)
        bare = seconds_each(lambda: session.query("READ?"), 300)  # noqa: B023
        session.close()
        good = Part(FAMILIES[0], _good_seed())
        least = [min(a, b) for a, b in zip(least, (bare, *_timed(good)), strict=True)]
        server.close()
    return least[0], least[1], least[2]


def _good_seed() -> int:
    """Return the number of a part that a proof reads to its end."""
    return next(seed for seed in range(100) if _is_good(seed))


@lru_cache
def _is_good(seed: int) -> bool:
    tables = tables_for(FAMILIES[0])
    part = Parts(tables).draw(np.random.default_rng(seed))
    return part.verdict is PartVerdict.ACCEPT


def _timed(part: Part) -> tuple[float, float]:
    """Return the median seconds of a reading by the station, and of one of a proof."""
    bench = SimBench(Wiring(part.channels, part.positions, part.read), Faults())
    server = SimServer(bench, random.Random(0))
    gear = gear_at(server.resource, part.channels)
    station = open_station(gear, lambda _: Dialect("standard"), lambda p, _: p, part.positions)
    pairs = [*part.channels.values()]
    alone = []
    for pair in (*pairs[:6], *pairs[:6]):
        began = time.perf_counter()
        station.read(pair)
        alone.append(time.perf_counter() - began)
    with TemporaryDirectory() as folder, archive(folder, FAMILIES[0]) as store:
        work = open_proof(store, "S-1", Mode.PROVE, meter=METER, bench="relay-matrix")
        times = []
        began = time.perf_counter()
        for step in automatic(work, station, "ab", lambda position, _: position):
            if isinstance(step, ReadingDone):
                times.append(time.perf_counter() - began)
                began = time.perf_counter()
        assert len(times) == len(told(_events(store))), "timed a whole proof"
    station.close()
    server.close()
    return median(alone), median(times)


def main() -> None:
    """Run it and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--proofs", type=int, default=1000)
    options.add_argument("--killed", type=int, default=20, help="proofs whose program is killed")
    chosen = options.parse_args()
    began = time.perf_counter()
    # Most of the time is spent waiting for replies that do not come.
    with ProcessPoolExecutor(WORKERS) as pool:
        found = list(pool.map(proof_with_faults, range(chosen.proofs), chunksize=8))
        killed = list(pool.map(killed_by_the_system, range(chosen.killed)))
    for one in (*found, *killed):
        if one.wrong:
            print(f"proof {one.seed}: {one.wrong}")
    wrong = sum(bool(one.wrong) for one in (*found, *killed))
    write_between(DOC, "automatic", f"{table(found, killed)}\n\n{pace(*seconds_a_reading(5))}")
    print(f"{wrong} wrong, {time.perf_counter() - began:.0f} s")
    sys.exit(bool(wrong))


def table(found: Sequence[Outcome], killed: Sequence[Outcome]) -> str:
    """Return what came of the proofs as a table."""
    columns = (
        "proofs",
        "complete and right in one run",
        "complete and right after more runs",
        "wrong",
        "runs",
        "stops",
        "program died",
        "readings kept",
        "readings made by the bench",
    )
    rows = [f"| what was done | {' | '.join(columns)} |", f"| --- {'| ---: ' * len(columns)}|"]
    told_as = (
        ("faults on the line, the lever moved, the program dead at a chosen moment", found),
        ("the command killed by the system (`kill -9`) at a random moment", killed),
    )
    for what, outcomes in told_as:
        right = [one for one in outcomes if not one.wrong]
        figures = (
            len(outcomes),
            sum(one.runs == 1 for one in right),
            sum(one.runs > 1 for one in right),
            len(outcomes) - len(right),
            sum(one.runs for one in outcomes),
            sum(len(one.stops) for one in outcomes),
            sum(one.kills for one in outcomes),
            sum(one.kept for one in outcomes),
            sum(one.taken for one in outcomes),
        )
        rows.append(f"| {what} | {' | '.join(map(str, figures))} |")
    return "\n".join(rows)


def pace(bare: float, reading: float, proof: float) -> str:
    """Return the times of a reading as a table."""
    rows = ["| what | time | ratio |", "| --- | --- | --- |"]
    told_as = (
        ("bare `READ?` through pyvisa", bare),
        ("reading of another pair by the station, selector read back", reading),
        ("reading of an automatic proof: the same, lever read back before and after, next step "
         "computed, on disk", proof),
    )  # fmt: skip
    rows += [f"| {what} | {1e3 * s:.2f} ms | {s / bare:.0f} |" for what, s in told_as]
    return "\n".join(rows)


if __name__ == "__main__":
    main()
