"""The files that come with the program, by kind and name, as they are."""

from importlib import resources

USUAL_METER = "ordinary-handheld"
USUAL_BENCH = "selector-box"
DIALECTS = "instrument/dialects"
"""The kind under which the dialects of meters stand."""


def shipped(kind: str) -> list[str]:
    """Return the names of what comes along of a kind.

    Parameters
    ----------
    kind : str
        "families", "meters", "benches", "gears" or `DIALECTS`.
    """
    folder = resources.files("benchproof") / kind
    return sorted(
        f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")
    )


def shipped_bytes(kind: str, name: str) -> bytes:
    """Return the content of a file that comes along.

    Raises
    ------
    FileNotFoundError
        If there is none of this name.
    """
    return (resources.files("benchproof") / kind / f"{name}.toml").read_bytes()


def usual_priors() -> bytes:
    """Return the priors that come along, as they are."""
    return shipped_bytes("diagnose", "priors")


def usual_costs() -> bytes:
    """Return the shop's costs that come along, as they are."""
    return shipped_bytes("shop", "costs")
