"""What is found beside readings, from a screen or the API: edges, offsets, sweeps."""

from math import isfinite
from typing import TYPE_CHECKING

from benchproof.conduct.finding import TypedEdge, note_edge, note_offset, take_sweep
from benchproof.proof.problems import ProofProblem

if TYPE_CHECKING:
    from benchproof.web.site import Site


def found_edge(site: "Site", tag: str, by: str, typed: TypedEdge) -> str:
    """Record an edge that was found."""
    with site.works.opened(tag) as work:
        return note_edge(work, by, typed)


def measured_offset(site: "Site", tag: str, by: str, offset: float, u: float, how: str) -> str:
    """Record an offset that was measured otherwise than by readings."""
    with site.works.opened(tag) as work:
        return note_offset(work, by, offset, u, how)


def kept_sweep(
    site: "Site", tag: str, by: str, content: bytes, name: str, meter: str, note: str
) -> str:
    """Keep a sweep's trace and record it."""
    with site.works.opened(tag) as work:
        return take_sweep(work, by, content, name or "sweep", meter=meter, note=note)


def number_typed(text: str, what: str) -> float:
    """Return a number as it was typed.

    Raises
    ------
    ProofProblem
        If it is none.
    """
    try:
        found = float(text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        found = float("nan")
    if not isfinite(found):
        raise ProofProblem(f"Type {what}, a number such as 3.2.")
    return found
