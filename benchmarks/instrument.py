"""How long a reading takes, as a ratio to the bare query of the same server.

`make bench-instrument` runs it and writes into docs/performance.md. The server is the simulated
bench over TCP on this machine, so that what is measured is the program's own share.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import random
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import pyvisa

from benchproof.family.model import Pair
from benchproof.instrument.dialect import Dialect
from benchproof.instrument.gearfile import read_gear, simulated_gear
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.instrument.station import Station, open_station
from benchproof.reading.value import Measured
from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "performance.md"
CHANNELS: dict[str, Pair] = {f"{101 + n}": (f"A{n}", "E") for n in range(30)}
FIRST, SECOND = CHANNELS["101"], CHANNELS["102"]
OHM = 270.0
ROUNDS = 7
READINGS = 300


def seconds_each(work: Callable[[], object], times: int) -> float:
    """Return the median seconds of one call."""
    found = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return median(found)


def station_at(resource: str) -> Station:
    """Return a station of meter, selector and lever on one link."""
    gear = read_gear(simulated_gear(resource, CHANNELS).encode(), "bench.toml")
    return open_station(gear, lambda _: Dialect("standard"), lambda position, _: position, ("P",))


def measure(rounds: int, readings: int) -> dict[str, float]:
    """Return the least of the medians of interleaved rounds, seconds by what was done."""
    wiring = Wiring(CHANNELS, ("P",), lambda *_: OHM)
    server = SimServer(SimBench(wiring, Faults()), random.Random(0))
    session = pyvisa.ResourceManager("@py").open_resource(
        server.resource, read_termination="\n", write_termination="\n"
    )
    assert isinstance(session, pyvisa.resources.MessageBasedResource)
    station = station_at(server.resource)
    # Before anything is timed, all must agree on what is there.
    value = station.read(FIRST)
    assert isinstance(value, Measured)
    assert value.ohm == float(session.query("READ?")) == OHM

    def switch() -> None:
        station.read(SECOND)
        station.read(FIRST)

    works: dict[str, tuple[Callable[[], object], int]] = {
        "bare": (lambda: session.query("READ?"), 1),
        "reading": (station.meter.read_ohm, 1),
        "confirmed": (lambda: station.read(FIRST), 1),
        "switched": (switch, 2),
    }
    least = dict.fromkeys(works, float("inf"))
    for _ in range(rounds):
        for what, (work, count) in works.items():
            least[what] = min(least[what], seconds_each(work, readings // count) / count)
    station.close()
    session.close()
    server.close()
    return least


def main() -> None:
    """Run it and write the document's figures."""
    least = measure(ROUNDS, READINGS)
    told = {
        "bare": "bare `READ?` through pyvisa, no check at all",
        "reading": "reading: marked, told twice, parsed",
        "confirmed": "reading of a pair, selector read back before and after",
        "switched": "reading of another pair: all opened, read back, closed, read back, read, "
        "read back",
    }
    rows = ["| what | time | ratio |", "| --- | --- | --- |"]
    rows += [
        f"| {told[what]} | {1e3 * value:.2f} ms | {value / least['bare']:.1f} |"
        for what, value in least.items()
    ]
    write_between(DOC, "instrument", "\n".join(rows))
    print("\n".join(rows))


if __name__ == "__main__":
    main()
