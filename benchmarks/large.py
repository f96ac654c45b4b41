"""How long a large chart takes to open, and how much memory: invented charts, none of any part.

`make bench-large` runs it and writes into docs/performance.md. Each chart is opened by a Python of
its own: its tables, what one reading says, the next reading with the look-ahead that find mode
takes. Assemblies of a switch and ever more blocks of solenoids are held against their parts by
themselves. The yardstick is the same of the family that comes along with the most pins. Times are
of the processor, all on one thread, so that other work on the machine counts as little as may be.
"""

import json
import os
import resource
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.posterior import observe, prior_of, tell
from benchproof.diagnose.tables import tables_of
from benchproof.family.assembly import Assembly, node_of
from benchproof.family.model import Family
from benchproof.network.assembly import joined
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.actions import BenchPlace
from benchproof.plan.ahead import course
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import Reading, parse_value
from benchproof.shipped.read import shipped_bench, shipped_family, shipped_meter, shipped_priors
from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "performance.md"
FAMILY = "orchard-single-7"
METER = "ordinary-handheld"
CLOSED = 0.4
"""How often a cell of an invented chart is closed."""


@dataclass(frozen=True)
class Size:
    """A chart's size: pairs, on some common pins or, with none, each of two pins of its own."""

    pairs: int
    positions: int
    commons: int = 0

    def __str__(self) -> str:
        """As the table's first column has it."""
        pins = self.pairs + self.commons if self.commons else 2 * self.pairs
        return f"{self.pairs} pairs, {pins} pins, {self.positions} positions"


SIZES = (
    Size(24, 8), Size(24, 8, 1), Size(8, 30), Size(8, 30, 1), Size(16, 40), Size(16, 40, 1),
    Size(40, 8), Size(40, 8, 1), Size(30, 8), Size(59, 8, 1),
)  # fmt: skip


def chart_of(size: Size) -> Family:
    """Return an invented chart of a size."""
    rng = np.random.default_rng(0)
    lines = ["pins," + ",".join(f"P{p + 1}" for p in range(size.positions))]
    for k in range(size.pairs):
        closed = rng.random(size.positions) < CLOSED
        closed[k % size.positions] = True
        other = f"C{k % size.commons}" if size.commons else f"B{k}"
        cells = ",".join("closed" if here else "open" for here in closed.tolist())
        lines.append(f"A{k}-{other},{cells}")
    lines.append("start permit,none")
    return completed(read_family("\n".join(lines).encode(), "invented.csv"))


def opened(number: int) -> None:
    """Open a chart, by its number in `SIZES` or -1 for the family, and print what that took."""
    family = shipped_family(FAMILY) if number < 0 else chart_of(SIZES[number])
    meter, bench, at = (
        shipped_meter(METER),
        shipped_bench("selector-box"),
        BenchPlace(family.positions[0]),
    )
    began = time.process_time()
    tables = tables_of(family, shipped_priors(family.name))
    tabulated = time.process_time() - began
    reading = Reading(family.positions[0], family.charted_pairs[0], parse_value("0.2 ohm"))
    posterior = prior_of(tables)
    began = time.process_time()
    posterior = tell(posterior, observe(tables, [reading], meter))
    diagnose(posterior)
    course(posterior, bench, at)
    planned = time.process_time() - began
    print(
        json.dumps(
            {
                "tables": tabulated,
                "next": planned,
                "whole": time.process_time(),
                "causes": len(tables.causes),
                "pairs": len(tables.pairs) - tables.charted,
                "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
            }
        )
    )


BLOCKS = (1, 2, 4, 8)
"""How many blocks of solenoids an assembly has beside its switch."""
TIMES = 5
"""Each is timed so often, and the least counts."""
SWITCH, BLOCK = "valley-coded-7", "depot-coils-3"


def unit_of(blocks: int) -> Family:
    """Return a switch and some blocks as one assembly, each read at its own pins."""
    switch = shipped_family(SWITCH)
    members = {"switch": switch} | {f"b{n}": shipped_family(BLOCK) for n in range(blocks)}
    pins = tuple(
        replace(pin, name=node_of(name, pin.name))
        for name, family in members.items()
        for pin in family.pins
    )
    detents = switch.detents_deg
    harness = Family("unit", switch.positions, pins, (), detents_deg=detents)
    return completed(joined(Assembly(harness, members)))


def assembled(what: str) -> None:
    """Tabulate a family or an assembly, judge a full sheet, and print what that took."""
    family = unit_of(int(what)) if what.isdecimal() else shipped_family(what)
    meter, priors = shipped_meter(METER), shipped_priors(family.name)
    tables = tables_of(family, priors)
    sheet = ideal_readings(tables.family, meter)
    tabulated, told = [], []
    # What comes once a process is not counted, and other work on the machine as little as may be.
    for _ in range(TIMES):
        began = time.process_time()
        tables = tables_of(family, priors)
        tabulated.append(time.process_time() - began)
        began = time.process_time()
        diagnose(tell(prior_of(tables), observe(tables, sheet, meter)))
        told.append(time.process_time() - began)
    cells = len(family.chart) * len(family.positions)
    least = {"tables": min(tabulated), "told": min(told)}
    print(json.dumps({**least, "causes": len(tables.causes), "cells": cells}))


def assemblies() -> list[str]:
    """Return the rows of the table of assemblies."""
    parts = {name: in_a_child("of", name) for name in (SWITCH, BLOCK)}
    rows = [
        "| assembly | faults | cells | tables | of the sum of its parts' | a full sheet, a cell "
        "| of the switch's |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    a_cell = parts[SWITCH]["told"] / parts[SWITCH]["cells"]
    for name, found in parts.items():
        rows.append(
            f"| `{name}` by itself | {found['causes']} | {found['cells']} "
            f"| {found['tables']:.3f} s | | {1e3 * found['told'] / found['cells']:.1f} ms | |"
        )
    for blocks in BLOCKS:
        found = in_a_child("of", str(blocks))
        apart = parts[SWITCH]["tables"] + blocks * parts[BLOCK]["tables"]
        told = found["told"] / found["cells"]
        rows.append(
            f"| the switch and {blocks} blocks | {found['causes']} | {found['cells']} "
            f"| {found['tables']:.3f} s | {found['tables'] / apart:.2f} "
            f"| {1e3 * told:.1f} ms | {told / a_cell:.2f} |"
        )
    return rows


def in_a_child(*asked: str) -> dict[str, float]:
    """Return what opening a chart takes in a Python of its own, with its start as `whole`."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, __file__, *asked],
        check=True, capture_output=True, text=True, env=environment,
    )  # fmt: skip
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> None:
    """Run it and write the document's figures."""
    yardstick = min((in_a_child("-1") for _ in range(3)), key=lambda found: found["whole"])
    rows = [
        "| chart | faults | pairs off it | tables | diagnosis and next reading | all told, "
        "a fresh process | ratio | peak memory |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    of_family = [(f"`{FAMILY}`, which comes along", yardstick)]
    for name, found in [
        *of_family,
        *((str(size), in_a_child(str(n))) for n, size in enumerate(SIZES)),
    ]:
        rows.append(
            f"| {name} | {found['causes']} | {found['pairs']} | {found['tables']:.2f} s "
            f"| {found['next']:.2f} s | {found['whole']:.1f} s "
            f"| {found['whole'] / yardstick['whole']:.2f} | {found['mb']:.0f} MB |"
        )
    write_between(DOC, "large", "\n".join(rows))
    print("\n".join(rows))
    rows = assemblies()
    write_between(DOC, "assemblies", "\n".join(rows))
    print("\n".join(rows))


if __name__ == "__main__":
    if sys.argv[1:2] == ["of"]:
        assembled(sys.argv[2])
    elif len(sys.argv) > 1:
        opened(int(sys.argv[1]))
    else:
        main()
