"""The edges that were found while a body is aligned, as edges of a proof.

The scale reads how far the body is turned. In a proof an edge lies at an angle from where the
moving part stands with the body as it was found; so what the scale read then must be known, which
way it runs, and how many of its units make one of angle.
"""

from math import hypot

from benchproof.align.centring import SURE, Centring
from benchproof.conduct.aligning import Aligning, number_of
from benchproof.conduct.finding import TypedEdge
from benchproof.family.model import pair_text
from benchproof.proof.events import Turned
from benchproof.proof.problems import ProofProblem


def carried(found: Aligning, series: int) -> tuple[TypedEdge, ...]:
    """Return the edges of an alignment as edges of a proof.

    Parameters
    ----------
    found : Aligning
        The alignment, its edges enough for a centring.
    series : int
        What tells its scale from others in the proof.

    Raises
    ------
    ProofProblem
        If they cannot be carried: one sentence what is lacking.
    """
    centring, at_rest = found.centring, number_of(found.typed.found_at)
    if centring is None:
        why = found.missing[0] if found.missing else "note both edges of a pair"
        raise ProofProblem(f"The edges cannot be carried into the proof yet: {why.rstrip('.')}.")
    if at_rest is None:
        raise ProofProblem(
            "Type what the scale read before the body was turned: from there the proof tells how "
            "far off each edge is."
        )
    if 1.0 - SURE < centring.rises < SURE:
        raise ProofProblem(
            "Which way the scale runs is not known: at an edge lean the lever, and note toward "
            "which position that closed the pair again."
        )
    return tuple(_edges(centring, at_rest, series))


def _edges(centring: Centring, at_rest: float, series: int) -> "list[TypedEdge]":
    sign = 1.0 if centring.rises >= SURE else -1.0
    per_unit, noise = centring.per_unit, centring.found.noise
    half_lash = centring.lash / 2.0
    # Nobody knows from which side the body came to where it was found.
    zero_u = hypot(noise, half_lash / per_unit, centring.lash_sd / 2.0 / per_unit)
    edges = []
    for one in centring.found.approaches:
        scale = one.scale - (half_lash if one.rising else -half_lash)
        angle = sign * (scale - at_rest) / per_unit
        stretched = abs(angle) * centring.per_unit_sd / per_unit
        # Above on the scale is above in angle only where both run the same way.
        closed_above = one.at_lower == (sign > 0.0)
        edges.append(
            TypedEdge(
                one.position,
                pair_text(one.pair),
                angle,
                hypot(noise, stretched),
                "open" if closed_above else "closed",
                "closed" if closed_above else "open",
                series,
                zero_u,
                Turned.UP if one.rising == (sign > 0.0) else Turned.DOWN,
                f"scale read {one.scale:g} {centring.scale.name}, {at_rest:g} before turning",
            )
        )
    return edges
