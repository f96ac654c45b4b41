"""The words of a diagnosis: verdicts, claims, offset, and what the readings at hand cannot tell.

The last is a table of conditions and their sentences, which say what would tell.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from benchproof.family.model import Pair, pair_text
from benchproof.family.sentence import Sentence, said
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault

if TYPE_CHECKING:
    from benchproof.diagnose.posterior import Posterior


class Verdict(StrEnum):
    """What to do with the part."""

    ACCEPT = "accept"
    REALIGN = "realign"
    REPAIR = "repair or replace"
    HOOK_UP = "check the hook-up"
    CHART = "chart or family wrong"
    UNEXPLAINED = "not explained"


VERDICT_OF_KIND: Mapping[FaultKind, Verdict] = {
    PartFault.PINS_SWAPPED: Verdict.HOOK_UP,
    PartFault.LEVER_OFF: Verdict.HOOK_UP,
    PartFault.DETENT_PLAY: Verdict.HOOK_UP,
    PartFault.OTHER_FAMILY: Verdict.CHART,
}
"""The verdict of each kind of fault; all others are of the part and mean repair or replace."""

SURE = 0.95
"""A verdict is stated as decided from this probability on."""
MOST_HAZARD = 1e-6
"""A part is never accepted while a start permit that conducts in gear is likelier than this."""


@dataclass(frozen=True)
class Claim:
    """One fault and how likely it is, in whatever size and together with whatever other fault.

    Attributes
    ----------
    fault : Fault
        The fault, in its likeliest size.
    probability : float
        Of the fault.
    tied : tuple of Fault
        Other faults that make every reading just as likely: nothing read can tell them apart.
    evidence : tuple of str
        Sentences on the readings that speak for and against it, weightiest first.
    sizes : tuple of (float, float)
        The sizes that read the same as the likeliest, from and to; empty for a fault of no size.
    """

    fault: Fault
    probability: float
    tied: tuple[Fault, ...]
    evidence: tuple[str, ...]
    sizes: tuple[tuple[float, float], ...] = ()

    @property
    def told(self) -> str:
        """The fault as a person says it, its size no more exactly than the chart can tell."""
        if not self.sizes:
            return self.fault.told
        low, high = min(low for low, _ in self.sizes), max(high for _, high in self.sizes)
        return self.fault.told if high <= NARROW * low else self.fault.within(low, high)


NARROW = 1.5
"""Sizes that differ by no more than this factor are told as one."""


@dataclass(frozen=True)
class SheetClaim:
    """A mistake of the whole sheet in words, and how likely it is."""

    text: str
    probability: float


@dataclass(frozen=True)
class OffsetEstimate:
    """Where the moving part stands.

    Attributes
    ----------
    best : float
        The likeliest offset; degrees or gaps.
    intervals95 : tuple of (float, float)
        Where it is with 95 % probability; more than one where its sign is not known.
    sign_known : bool
        Whether one side of zero has at least 95 % of the probability.
    unit : str
        ``deg``, or ``gap`` for fractions of a detent gap.
    """

    best: float
    intervals95: tuple[tuple[float, float], ...]
    sign_known: bool
    unit: str


@dataclass(frozen=True)
class Diagnosis:
    """What the readings so far say of a part.

    Attributes
    ----------
    verdicts : mapping of Verdict to float
        Probability of each; they sum to one.
    decided : Verdict or None
        The verdict, once it is likely enough and, to accept, no hazard is left; else None.
    hazard : float
        Probability that the start permit conducts in a position where the starter must not turn.
    faults : tuple of Claim
        Likeliest first.
    offset : OffsetEstimate
        Where the moving part stands.
    unknowable : tuple of str
        What these readings cannot tell, and what would.
    sheets : tuple of SheetClaim
        Mistakes of the whole sheet that would explain it, likeliest first.
    unexplained_cells : tuple of (str, pair)
        Position and pair of the charted cells whose readings are all against the chart, likelier by
        mistake than not; they are to be read again before anything is concluded.
    """

    verdicts: Mapping[Verdict, float]
    decided: Verdict | None
    hazard: float
    faults: tuple[Claim, ...]
    offset: OffsetEstimate
    unknowable: tuple[str, ...]
    sheets: tuple[SheetClaim, ...] = ()
    unexplained_cells: tuple[tuple[str, Pair], ...] = ()


WORTH = 0.02
"""Verdicts less likely than this are not worth telling apart."""


@dataclass(frozen=True)
class Known:
    """All that the conditions look at."""

    posterior: "Posterior"
    verdicts: Mapping[Verdict, float]
    hazard: float
    claims: Sequence[Claim]
    offset: OffsetEstimate


def _sign(known: Known) -> Iterator[dict[str, str]]:
    centred = any(low <= 0.0 <= high for low, high in known.offset.intervals95)
    if known.verdicts[Verdict.REALIGN] >= WORTH and not (known.offset.sign_known or centred):
        yield {}


def _offset_or_fault(known: Known) -> Iterator[dict[str, str]]:
    likely = [v for v in (Verdict.REALIGN, Verdict.REPAIR) if known.verdicts[v] >= WORTH]
    of_part = [c for c in known.claims if c.fault.kind is not PartFault.PINS_SWAPPED]
    if len(likely) == 2 and of_part:
        yield {"fault": of_part[0].fault.name}


def _tied(known: Known) -> Iterator[dict[str, str]]:
    for claim in known.claims[:1]:
        if claim.tied:
            names = dict.fromkeys(fault.name for fault in (claim.fault, *claim.tied))
            yield {"faults": ", ".join(names)}


def _not_proved(known: Known) -> Iterator[dict[str, str]]:
    if known.hazard > MOST_HAZARD:
        tables = known.posterior.tables
        cells = [
            f"{pair_text(tables.pairs[k])} in {tables.family.positions[p]}"
            for k in range(tables.charted)
            for p in range(len(tables.family.positions))
            if tables.hazard[k, p] and len(known.posterior.cells.get((k, p), ())) < 2
        ]
        if cells:
            yield {"cells": ", ".join(cells)}


def _untested(known: Known) -> Iterator[dict[str, str]]:
    if pairs := known.posterior.tables.untested_pairs:
        yield {"count": str(len(pairs)), "pair": pairs[0]}


def _gaps(known: Known) -> Iterator[dict[str, str]]:
    if known.offset.unit == "gap":
        yield {}


_LIMITS = (
    Sentence(
        "The start permit is not yet proved open where the starter must not turn: {cells} must be "
        "read twice in all, the probes set anew, since a slipped probe reads open too.",
        _not_proved,
    ),
    Sentence(
        "Which way the part is out of line cannot be known from these readings: in the detents "
        "either way reads the same. Lean the lever toward a neighbour and read again.",
        _sign,
    ),
    Sentence(
        "A small offset and a {fault} can look the same in the detents: only a lean or a sweep "
        "tells them apart.",
        _offset_or_fault,
    ),
    Sentence("These readings do not tell apart: {faults}.", _tied),
    Sentence(
        "Leaks and swaps between pins that no charted pair brings together are not tested by this "
        "chart ({count} pairs, such as {pair}).",
        _untested,
    ),
    Sentence(
        "The family tells no detent angles, so offsets are in fractions of a detent gap.",
        _gaps,
    ),
)


def unknowable(known: Known) -> tuple[str, ...]:
    """Return a sentence for each thing that these readings cannot tell."""
    return tuple(said(_LIMITS, known))
