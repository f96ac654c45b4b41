"""Parts whose start permit conducts in gear, over all worlds and charts: none may be accepted.

Shipped families and charts drawn at random (`simulate.charts`, everything told of them), each part
with a bridge of 1 ohm to 9 kohm across a start permit in one to all of the positions in which it
must be open, on top of whatever else the world makes of it. Each is read as a full sheet, slips
included, and examined; then the readings follow that the policy asks for.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache

import msgspec
import numpy as np

from accuracy import DOC, METER, fits, followed
from benchproof.conduct.front import ground_for
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.examine.ground import Ground
from benchproof.family.model import Family
from benchproof.shipped.read import lever_parts, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.charts import draw_chart
from benchproof.simulate.part import PartSource, SimulatedPart
from benchproof.simulate.sheet import full_sheet
from figures import write_between
from worlds import WORLDS, bridged_permit, reader_of

MOST_CELLS = 90
"""A drawn chart with more is left out for its time."""
MOST_FURTHER = 3
"""So many readings of the policy follow the sheet."""


def charts(drawn: int) -> list[str]:
    """Return names of charts: those that come along, and so many that are drawn."""
    names, seed = list(lever_parts()), 0
    while len(names) < drawn + len(lever_parts()):
        one = draw_chart(np.random.default_rng(seed))
        small = len(one.truth.chart) * len(one.truth.positions) <= MOST_CELLS
        if one.permits and one.gears and small:
            names.append(f"drawn {seed}")
        seed += 1
    return names


def family_of(chart: str) -> Family:
    """Return the family of a chart, everything told of it."""
    if chart.startswith("drawn "):
        return draw_chart(np.random.default_rng(int(chart.removeprefix("drawn ")))).truth
    return shipped_family(chart)


@lru_cache(maxsize=1)
def _ground(chart: str) -> Ground:
    return ground_for(family_of(chart), shipped_meter(METER), library=())


def run(chart: str, parts: int, seed: int) -> tuple[int, int]:
    """Return how many hazardous parts of a chart were read, and how many were accepted."""
    ground, meter = _ground(chart), shipped_meter(METER)
    tables = ground.tables
    assert tables is not None, "small charts have a diagnosis"
    rng = np.random.default_rng([seed, *chart.encode()])
    source, names = PartSource(tables), list(WORLDS)
    hazards = accepted = 0
    for _ in range(parts):
        how = WORLDS[str(rng.choice(names))]
        # The leak that drifts must stay the last branch, so the bridge comes first.
        part = bridged_permit(_drawn(source, rng), tables, rng)
        if how.alter not in (None, bridged_permit):
            assert how.alter is not None
            part = replace(how.alter(part, tables, rng), verdict=PartVerdict.REPAIR)
        believed = shipped_priors(ground.family.name)
        factors = {n: getattr(believed, n) * factor for n, factor in how.factors.items()}
        rates = msgspec.structs.replace(believed, **factors)
        reader = reader_of(how, part, tables, meter, rng, rates)
        found = examine(ground, full_sheet(tables, reader.read, meter))
        found = followed(found, reader, MOST_FURTHER)
        assert found.known is not None, "there is a diagnosis"
        hazards += part.hazard
        accepted += part.hazard and found.known.decided is PartVerdict.ACCEPT
    return hazards, accepted


def _drawn(source: PartSource, rng: np.random.Generator) -> SimulatedPart:
    part = source.draw(rng)
    while not fits(WORLDS["start permit bridged"], part):
        part = source.draw(rng)
    return part


def _task(task: tuple[str, int, int]) -> tuple[int, int]:
    return run(*task)


def main() -> None:
    """Run it whole and write the document's figure."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=100_000, help="hazardous parts, about")
    options.add_argument("--drawn", type=int, default=95, help="charts drawn at random")
    chosen = options.parse_args()
    began = time.perf_counter()
    names = charts(chosen.drawn)
    each = -(-chosen.parts * 10 // 9 // len(names))
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(_task, [(name, each, 1) for name in names]))
    hazardous, accepted = sum(n for n, _ in found), sum(n for _, n in found)
    write_between(
        DOC,
        "hazards",
        f"{hazardous} parts whose start permit conducts in gear, of the {len(names)} charts "
        f"({chosen.drawn} of them drawn at random) and over all worlds; {accepted} of these were "
        "accepted.",
    )
    print(f"{hazardous} hazardous parts, {accepted} accepted, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
