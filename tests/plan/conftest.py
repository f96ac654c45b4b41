"""A family small enough for brute force, invented benches, and readings as the tables know them."""

from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

import benchproof
from benchproof.diagnose.posterior import Observed
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.priors import Priors, read_priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.actions import TakeReading
from benchproof.plan.bench import Bench, BenchKind
from benchproof.plan.survey import index_of

PACKAGE = Path(benchproof.__file__).parent
SMALL = b"""
name = "small"
positions = ["P", "R", "D"]
pins = [{ name = "A" }, { name = "B" }, { name = "E" }, { name = "C" }, { name = "F" }]
[[chart]]
pair = "A-E"
expect = ["closed", "open", "closed"]
[[chart]]
pair = "B-E"
expect = ["open", "closed", "100 ohm"]
[[chart]]
pair = "C-F"
role = "start permit"
expect = ["closed", "open", "open"]
"""


def shipped_priors() -> Priors:
    return read_priors((PACKAGE / "diagnose" / "priors.toml").read_bytes(), "priors.toml", "small")


@pytest.fixture(scope="session")
def small() -> Tables:
    """Return three pairs and one across two of them, three positions, on a coarse grid."""
    priors = msgspec.structs.replace(
        shipped_priors(),
        aligned_sd_gaps=0.06,
        misaligned_sd_gaps=0.15,
        edge_sd_gaps=0.15,
        play_gaps=0.1,
        contact_high_ohm=(40.0,),
        leak_ohm=(20.0,),
        bridged_ohm=(20.0,),
        resistor_factor=(0.6,),
    )
    return tables_of(read_family(SMALL, "small.toml"), priors)


@pytest.fixture(scope="session")
def orchard() -> Tables:
    """Return a shipped family with one contact a position."""
    data = (PACKAGE / "families" / "orchard-single-7.toml").read_bytes()
    return tables_of(completed(read_family(data, "orchard-single-7.toml")), shipped_priors())


@pytest.fixture
def probes() -> Bench:
    return Bench("probes", BenchKind.PROBES, 2.5, 1.5, 2.5, 2.0)


@pytest.fixture
def dial() -> Bench:
    return Bench("dial", BenchKind.SELECTOR, 2.0, 1.5, 2.5, 0.7, 12.0)


Seen = Callable[[Tables, int, int, int, int], Observed]


@pytest.fixture(scope="session")
def seen() -> Seen:
    """Return a maker of readings of one bin beyond doubt, from pair, position, lean and bin."""

    def make(tables: Tables, k: int, p: int, lean: int, number: int) -> Observed:
        return Observed(k, p, lean, np.eye(tables.bins.count)[number])

    return make


Part = Callable[[TakeReading], Observed]
MakePart = Callable[..., Part]


@pytest.fixture(scope="session")
def part_of() -> MakePart:
    """Return a maker of parts: with some causes, at an offset, read without noise or by chance."""

    def make(
        tables: Tables,
        causes: tuple[int, ...] = (0,),
        offset: int = 0,
        rng: np.random.Generator | None = None,
    ) -> Part:
        def read(wanted: TakeReading) -> Observed:
            number, k, p = index_of(tables, wanted)
            lean = LEANS[number]
            steps = int(tables.grid.lean_steps[p, (lean + 1) // 2]) if lean else 0
            angle = tables.grid.half + offset + steps
            there = [int(tables.cells.there(cause, k, p)[angle]) for cause in causes]
            changed = [b for b in there if b != tables.healthy[k, p, angle]]
            shares = tables.channel[(changed or there)[0]]
            found = int(shares.argmax() if rng is None else rng.choice(len(shares), p=shares))
            return Observed(k, p, lean, np.eye(tables.bins.count)[found])

        return read

    return make
