"""Families, meters, benches and priors that come with the program, by name."""

from benchproof.diagnose.priors import Priors, read_priors
from benchproof.family.model import Family
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.bench import Bench, read_bench
from benchproof.reading.meter import Meter
from benchproof.reading.meterfile import read_meter
from benchproof.shipped.contents import (
    USUAL_BENCH,
    USUAL_METER,
    shipped,
    shipped_bytes,
    usual_priors,
)


def shipped_family(name: str) -> Family:
    """Return a family that comes along, its chart completed; errors as of `shipped_bytes`."""
    return completed(read_family(shipped_bytes("families", name), f"{name}.toml"))


def lever_families() -> list[str]:
    """Return the names of the families that come along and have a lever."""
    return [name for name in shipped("families") if shipped_family(name).lever]


def lever_parts() -> list[str]:
    """Return the names of those of them that are a part by itself, not a unit of several."""
    return [name for name in lever_families() if not shipped_family(name).members]


def shipped_meter(name: str = USUAL_METER) -> Meter:
    """Return a meter that comes along, else the one taken where none is named."""
    return read_meter(shipped_bytes("meters", name), name)


def shipped_bench(name: str = USUAL_BENCH) -> Bench:
    """Return a bench profile that comes along, else the one taken where none is named."""
    return read_bench(shipped_bytes("benches", name), name)


def shipped_priors(family: str) -> Priors:
    """Return the priors that come along, for a family by name."""
    return read_priors(usual_priors(), "priors.toml", family)
