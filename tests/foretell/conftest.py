"""Vehicles of the families that come along, and of invented ones."""

from collections.abc import Callable
from functools import cache

import pytest

from benchproof.foretell.foretelling import Vehicle, vehicle_of
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.geometry import Margins, geometry
from benchproof.shipped.read import shipped_family, shipped_priors


@cache
def _vehicle(name: str) -> Vehicle:
    priors = shipped_priors(name)
    margins = Margins(priors.single_margin_gaps, priors.run_margin_gaps)
    return vehicle_of(geometry(shipped_family(name), margins))


def _invented(toml: str) -> Vehicle:
    family = completed(read_family(toml.encode(), "invented.toml"))
    return vehicle_of(geometry(family, Margins()))


@pytest.fixture(scope="session")
def vehicle() -> Callable[[str], Vehicle]:
    """Return the vehicle of a family that comes along, by name."""
    return _vehicle


@pytest.fixture(scope="session")
def invented() -> Callable[[str], Vehicle]:
    """Return the vehicle of a family file."""
    return _invented
