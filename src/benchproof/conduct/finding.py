"""What a person finds of edges and of the offset in a proof, each as one event on disk."""

from dataclasses import dataclass
from functools import partial
from hashlib import sha256

from benchproof.conduct.opening import FileOf, along, meter_chosen
from benchproof.conduct.work import Work, now
from benchproof.family import limits
from benchproof.proof.events import EdgeFound, Event, OffsetMeasured, SweepTaken, Turned
from benchproof.proof.noted import NotedSweep
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State
from benchproof.proof.taking import spelled

BY_MARKS_U_DEG = 0.5
"""How well the marks tell the offset, degrees, where nobody says (common practice, no source)."""


@dataclass(frozen=True)
class TypedEdge:
    """An edge as a person tells it.

    Attributes
    ----------
    position, pair : str
        The detent and the pins, as they were typed.
    angle, u : float
        Where it was found and how well that is known, in the family's unit of angle.
    below, above : str
        What is read at the smaller and at the greater angle.
    series : int
        Which edges were found on one scale.
    zero_u : float
        How well the zero of that scale is known.
    turned : Turned
        Which way the angle went.
    note : str
        What was noted with it.
    """

    position: str
    pair: str
    angle: float
    u: float
    below: str
    above: str
    series: int = 0
    zero_u: float = 0.0
    turned: Turned = Turned.NOT_TOLD
    note: str = ""


def note_edge(work: Work, by: str, typed: TypedEdge) -> str:
    """Record an edge that was found; return what was recorded, a sentence."""
    work.append(partial(_edge, by=by, typed=typed))
    return f"Recorded: {work.state.as_left.noted[-1].told}."


def note_edges(work: Work, by: str, typed: tuple[TypedEdge, ...]) -> str:
    """Record edges that were found, or none of them; return how many, a sentence."""
    work.record_all([_edge(work.state, by, one) for one in typed])
    count = len(typed)
    return f"{count} edge{' is' if count == 1 else 's are'} recorded."


def _edge(state: State, by: str, typed: TypedEdge) -> Event:
    state.check(EdgeFound)
    at, pins, _ = spelled(state.ground, typed.position, typed.pair)
    return EdgeFound(
        now(),
        by,
        at,
        pins,
        typed.angle,
        typed.u,
        typed.below,
        typed.above,
        typed.series,
        typed.zero_u,
        typed.turned,
        typed.note,
    )


def note_offset(work: Work, by: str, offset: float, u: float, how: str) -> str:
    """Record an offset that was measured otherwise; return what was recorded, a sentence."""
    work.record(OffsetMeasured(now(), by, offset, u, how.strip() or "the marks"))
    return f"Recorded: {work.state.as_left.noted[-1].told}."


def take_sweep(
    work: Work,
    by: str,
    content: bytes,
    name: str,
    *,
    meter: str = "",
    file_of: FileOf = along,
    note: str = "",
) -> str:
    """Keep a sweep's trace and record it; return what it comes to, a sentence.

    Parameters
    ----------
    content : bytes
        The trace, CSV.
    name : str
        The file's name.
    meter : str
        What it was read with, a tag of the gear or a file; empty for the proof's meter.
    file_of : callable
        Where such a file comes from; without it, only those that come along.
    note : str
        What was noted with it.

    Raises
    ------
    NoSuch
        If there is no such meter.
    BadFile
        If it is no trace of the family, or too large to be kept.
    """
    if not content:
        raise ProofProblem("Choose the sweep's file first.")
    limits.SWEEP_BYTES.check(len(content), name)
    work.state.check(SweepTaken)
    file, meter_name = _other_meter(work, by, meter, file_of) if meter else ("", "")
    key = sha256(content).hexdigest()
    event = SweepTaken(now(), by, key, name[:120] or "sweep", file, meter_name[:120], note)
    work.check_by(by)
    work.files[key] = content
    # Looked at before it is kept: a file that cannot be read is not kept.
    work.state.after(event)
    work.store.files.put(content, limits.SWEEP_BYTES)
    work.record(event)
    sweep = work.state.as_left.noted[-1]
    assert isinstance(sweep, NotedSweep), "it was just recorded"
    nothing = "" if sweep.found.edges else " It tells nothing of the part's edges."
    return f"Recorded: {sweep.told}.{nothing}"


def _other_meter(work: Work, by: str, meter: str, file_of: FileOf) -> tuple[str, str]:
    """Return file and name of a meter; both empty if it is the proof's own."""
    found, own = meter_chosen(work.store, meter, by, file_of=file_of), work.state.meter_chosen
    if own is not None and (own.file, own.tag) == (found.file, found.tag):
        return "", ""
    return found.file, found.tag or found.name
