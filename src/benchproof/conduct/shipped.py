"""The families, meters, benches and gears that come with the program, all invented."""

from importlib import resources
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.diagnose.priors import Priors

USUAL_METER = "ordinary-handheld"
USUAL_BENCH = "selector-box"


def shipped(kind: str) -> list[str]:
    """Return the names of the families, meters, benches or gears that come with the program."""
    folder = resources.files("benchproof") / kind
    return sorted(
        f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")
    )


def shipped_bytes(kind: str, name: str) -> bytes:
    """Return the content of a file that comes with the program."""
    return (resources.files("benchproof") / kind / f"{name}.toml").read_bytes()


def usual_priors() -> bytes:
    """Return the priors that come with the program, as they are."""
    return (resources.files("benchproof") / "diagnose" / "priors.toml").read_bytes()


def shipped_priors(family: str) -> "Priors":
    """Return the priors that come with the program, for a family by name."""
    from benchproof.diagnose.priors import read_priors

    return read_priors(usual_priors(), "priors.toml", family)
