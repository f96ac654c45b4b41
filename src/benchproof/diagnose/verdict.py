"""What a diagnosis says: verdicts, claims, offset."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from benchproof.family.model import Pair
from benchproof.family.sentence import percent
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault


class PartVerdict(StrEnum):
    """What to do with the part."""

    ACCEPT = "accept"
    REALIGN = "realign"
    REPAIR = "repair or replace"
    HOOK_UP = "check the hook-up"
    CHART = "chart or family wrong"
    UNEXPLAINED = "not explained"


VERDICT_OF_KIND: Mapping[FaultKind, PartVerdict] = {
    PartFault.PINS_SWAPPED: PartVerdict.HOOK_UP,
    PartFault.LEVER_OFF: PartVerdict.HOOK_UP,
    PartFault.DETENT_PLAY: PartVerdict.HOOK_UP,
    PartFault.OTHER_FAMILY: PartVerdict.CHART,
}
"""The verdict of each kind of fault; all others are of the part and mean repair or replace."""

SURE = 0.95
"""A verdict is stated as decided from this probability on."""
MOST_HAZARD = 1e-6
"""A part is never accepted while a start permit that conducts in gear is likelier than this."""


WORTH_NAMING = 0.2
"""The likeliest fault is named in a word or two from this probability on."""


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

    @property
    def others(self) -> tuple[str, ...]:
        """The names of the tied faults, each once."""
        return tuple(dict.fromkeys(map(str, self.tied)))

    @property
    def with_tied(self) -> str:
        """The fault, and in brackets what reads the same: "coil open at 2-C (or pin open at 2)"."""
        return f"{self.told} (or {', '.join(self.others)})" if self.tied else self.told


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
    verdicts : mapping of PartVerdict to float
        Probability of each; they sum to one. A part without a lever is not to be realigned.
    decided : PartVerdict or None
        The verdict, once it is likely enough and, to accept, no hazard is left; else None.
    hazard : float
        Probability that the start permit conducts in a position where the starter must not turn.
    faults : tuple of Claim
        Likeliest first.
    offset : OffsetEstimate or None
        Where the moving part stands; None for a part without a lever.
    unknowable : tuple of str
        What these readings cannot tell, and what would.
    sheets : tuple of SheetClaim
        Mistakes of the whole sheet that would explain it, likeliest first.
    unexplained_cells : tuple of (str, pair)
        Position and pair of the charted cells whose readings are all against the chart, likelier by
        mistake than not; they are to be read again before anything is concluded.
    seen : tuple of str
        What was seen by eye that makes a fault likelier, and by how much; sentences.
    only_prior : bool
        Whether nothing was read yet: all is of parts in general, and no finding.
    """

    verdicts: Mapping[PartVerdict, float]
    decided: PartVerdict | None
    hazard: float
    faults: tuple[Claim, ...]
    offset: OffsetEstimate | None
    unknowable: tuple[str, ...]
    sheets: tuple[SheetClaim, ...] = ()
    unexplained_cells: tuple[tuple[str, Pair], ...] = ()
    seen: tuple[str, ...] = ()
    only_prior: bool = False

    @property
    def likeliest(self) -> str:
        """The likeliest fault that readings speak for, with what reads the same; empty if none."""
        claim = next((one for one in self.faults if one.evidence), None)
        if claim is None or claim.probability < WORTH_NAMING:
            return ""
        return f"{claim.with_tied}, {percent(claim.probability)}"
