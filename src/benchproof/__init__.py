"""Judges the electrical parts of a rebuilt automatic transmission against the maker's chart.

The front door is `examine`: all that is said of a part, from what it is read against and what was
read. One folder a layer; lower layers never import higher ones (see CONTRIBUTING.md).
"""

from typing import TYPE_CHECKING

from benchproof.examine import examine

if TYPE_CHECKING:
    from benchproof.conduct.front import ground_for, load_family, load_readings

__all__ = ["examine", "ground_for", "load_family", "load_readings"]
__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """Return what is loaded only when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"benchproof has no {name}")
    from benchproof.conduct import front

    return getattr(front, name)
