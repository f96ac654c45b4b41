"""A sweep's trace in a proof: read once, and what it comes to as evidence."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

from benchproof.examine.ground import Ground
from benchproof.judge.overrun import stretches_of
from benchproof.reading.evidence import Evidence, FoundEdge
from benchproof.reading.meter import Meter
from benchproof.reading.trace import BLOCK_BYTES, open_trace
from benchproof.reading.value import Reading
from benchproof.trace.evidence import swept_evidence as evidence_of
from benchproof.trace.sweep import read_sweep


@dataclass(frozen=True)
class SweptEvidence:
    """What a sweep comes to.

    Attributes
    ----------
    evidence : Evidence
        As what it is examined; without readings if it was read with another meter than the proof
        is, without edges if nothing ties the trace's scale to the detents.
    samples : int
        How many samples the trace has.
    why : str
        What ties the scale to the detents, or why nothing does: part of a sentence.
    """

    evidence: Evidence
    samples: int
    why: str

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What was read at the detents; several of a cell where it chattered."""
        return self.evidence.readings

    @property
    def edges(self) -> tuple[FoundEdge, ...]:
        """Where pairs changed."""
        return self.evidence.edges

    @cached_property
    def cells(self) -> int:
        """How many cells were read."""
        return len({(one.position, one.pair) for one in self.evidence.readings})


@dataclass(frozen=True)
class _Asked:
    """A trace to be read once; its content and the ground's family are told by their keys."""

    key: str
    basis: str
    meter: Meter | None
    name: str
    series: int
    content: bytes = field(compare=False)
    ground: Ground = field(compare=False)

    def __hash__(self) -> int:
        return hash((self.key, self.basis, self.name, self.series))


def swept_evidence(
    content: bytes, key: str, name: str, ground: Ground, *, series: int, own_meter: bool
) -> SweptEvidence:
    """Return what a sweep comes to as evidence.

    Parameters
    ----------
    content : bytes
        The trace, CSV.
    key : str
        What tells it from others: its SHA-256.
    name : str
        Its name, for messages.
    ground : Ground
        What the proof stands on.
    series : int
        What tells this sweep's scale from others: the number of its event.
    own_meter : bool
        Whether it was read with the ground's meter. Of another one's numbers nobody here knows how
        good they are: then no cell is read by it, and an edge is from closed to open.

    Raises
    ------
    BadFile
        If it is no trace of the family.
    TooLarge
        If there is no end to its changes.
    """
    meter = ground.meter if own_meter else None
    return _read(_Asked(key, ground.basis.key, meter, name, series, content, ground))


@lru_cache(maxsize=16)
def _read(asked: _Asked) -> SweptEvidence:
    ground = asked.ground
    trace = open_trace(_chunks(asked.content), asked.name, ground.family)
    sweep = read_sweep(trace, ground.family, ground.priors.margins)
    found = evidence_of(sweep, ground.family, asked.meter, asked.series)
    # Whatever it was read with, a pair that conducts does.
    found = replace(found, conducting=stretches_of(sweep, ground.family))
    return SweptEvidence(found, sweep.boiled.samples, sweep.scale.why)


def _chunks(content: bytes) -> Iterator[bytes]:
    for at in range(0, len(content), BLOCK_BYTES):
        yield content[at : at + BLOCK_BYTES]
