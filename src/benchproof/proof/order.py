"""What may follow what in a proof: one table, a row a kind of event, a column a phase.

Every act asks here whether it may be done at all. Whether what an event names is there, such as the
reading that it withdraws, is another question, which is asked where the event is taken in.
"""

from collections.abc import Mapping
from enum import StrEnum

from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Closed,
    EdgeFound,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    OffsetMeasured,
    Opened,
    OtherProof,
    Photographed,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    SweepTaken,
    TurnTakenBack,
    WorkDone,
)


class Phase(StrEnum):
    """How far a proof has come."""

    NEW = "not opened"
    UNREAD = "open, and nothing that was read counts"
    READ = "open, and something that was read counts"
    CLOSED = "closed"


MAY = ""
"""What stands in the table where an event may follow."""
_UNOPENED = "This proof does not begin by being opened; check the store."
_OPENED = "This proof is open already; open a new one for the part."
_OTHER_METER = "The readings so far were taken with another meter; open a new proof for this one."
_ENDED = "This proof is closed as {outcome}; open a new one for the part, or add a remark."

_ROWS: tuple[tuple[type[Event], str, str, str, str], ...] = (
    # event             NEW        UNREAD   READ          CLOSED
    (Opened,            MAY,       _OPENED, _OPENED,      _ENDED),
    (BenchChosen,       _UNOPENED, MAY,     MAY,          _ENDED),
    (MeterChosen,       _UNOPENED, MAY,     _OTHER_METER, _ENDED),
    (LeverAt,           _UNOPENED, MAY,     MAY,          _ENDED),
    (ReadingTaken,      _UNOPENED, MAY,     MAY,          _ENDED),
    (EdgeFound,         _UNOPENED, MAY,     MAY,          _ENDED),
    (OffsetMeasured,    _UNOPENED, MAY,     MAY,          _ENDED),
    (SweepTaken,        _UNOPENED, MAY,     MAY,          _ENDED),
    (ReadingWithdrawn,  _UNOPENED, MAY,     MAY,          _ENDED),
    (BodyTurned,        _UNOPENED, MAY,     MAY,          _ENDED),
    (TurnTakenBack,     _UNOPENED, MAY,     MAY,          _ENDED),
    (WorkDone,          _UNOPENED, MAY,     MAY,          _ENDED),
    (OtherProof,        _UNOPENED, MAY,     MAY,          _ENDED),
    (Photographed,      _UNOPENED, MAY,     MAY,          _ENDED),
    (InspectionNoted,   _UNOPENED, MAY,     MAY,          _ENDED),
    (GearChecked,       _UNOPENED, MAY,     MAY,          _ENDED),
    (Remarked,          _UNOPENED, MAY,     MAY,          MAY),
    (Closed,            _UNOPENED, MAY,     MAY,          _ENDED),
)  # fmt: skip

TABLE: Mapping[type[Event], Mapping[Phase, str]] = {
    kind: dict(zip(Phase, sentences, strict=True)) for kind, *sentences in _ROWS
}
"""By kind of event and phase: empty where it may follow, else the sentence why not."""

OF_A_LEVER: Mapping[type[Event], str] = {
    LeverAt: "move",
    EdgeFound: "find an edge of",
    OffsetMeasured: "measure an offset of",
    SweepTaken: "sweep",
    BodyTurned: "turn",
}
"""What is only done to a part with a lever, and what of it there is nothing to do without one."""


def why_not(kind: type[Event], phase: Phase, outcome: str = "") -> str:
    """Return why an event of some kind may not follow, a sentence; empty if it may.

    Parameters
    ----------
    kind : type of event
        What shall follow.
    phase : Phase
        How far the proof has come.
    outcome : str
        As what it was closed, if it was.

    Examples
    --------
    >>> why_not(Remarked, Phase.CLOSED), why_not(BodyTurned, Phase.UNREAD)
    ('', '')
    >>> why_not(BodyTurned, Phase.CLOSED, "realign")
    'This proof is closed as realign; open a new one for the part, or add a remark.'
    """
    return TABLE[kind][phase].format(outcome=outcome)
