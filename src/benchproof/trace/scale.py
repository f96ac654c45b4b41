"""Where a trace's scale of angles stands against the family's detents."""

from dataclasses import dataclass, replace

import numpy as np

from benchproof.family.model import Family
from benchproof.reading.trace import Trace

MOST_APART_DEG = 2.0
"""Detents noted on the scale that disagree by more about its zero are of no use."""


@dataclass(frozen=True)
class TraceScale:
    """The zero of a trace's scale.

    Attributes
    ----------
    shift_deg : float or None
        What is to be taken off its angles to have the family's own; None if not known.
    u_deg : float
        Standard uncertainty of that, degrees.
    why : str
        What ties the two, or why nothing does: part of a sentence.
    """

    shift_deg: float | None
    u_deg: float
    why: str


NOTED_U_DEG = 0.1
"""How well the place of a detent is noted. Common practice, no source."""


def trace_scale(trace: Trace, rest_deg: dict[int, float], family: Family) -> TraceScale:
    """Return how a trace's scale stands against the detents of a family that tells them.

    Parameters
    ----------
    trace : Trace
        The trace.
    rest_deg : mapping of int to float
        Where the lever was noted to rest, by number of the position.
    family : Family
        A family with detent angles.
    """
    detents = family.detents_deg
    assert detents is not None, "the caller has seen to the detents"
    if trace.own_scale:
        return TraceScale(0.0, 0.0, "the file says that its angles are the family's own")
    noted = {**rest_deg, **trace.noted_deg}
    if not noted:
        return TraceScale(
            None,
            float("inf"),
            "the file does not say where any detent stands on its scale",
        )
    shifts = np.array([at - detents[p] for p, at in noted.items()])
    names = ", ".join(family.positions[p] for p in sorted(noted))
    if float(np.ptp(shifts)) > MOST_APART_DEG:
        return TraceScale(
            None,
            float("inf"),
            f"the detents noted on it ({names}) disagree by {np.ptp(shifts):.2g} deg with the "
            "family's own; does its angle rise toward the last position?",
        )
    return TraceScale(float(shifts.mean()), NOTED_U_DEG / float(np.sqrt(len(shifts))),
                 f"the detents of {names} are noted on it")  # fmt: skip


def with_detents(family: Family, trace: Trace) -> Family | None:
    """Return a family that tells its detents, by the trace if need be; None if neither does."""
    if family.detents_deg is not None:
        return family
    places = [trace.noted_deg.get(p) for p in range(len(family.positions))]
    known = tuple(place for place in places if place is not None)
    if len(known) < len(places) or any(np.diff(known) <= 0.0):
        return None
    return replace(family, detents_deg=known)
