"""The mistakes that a person is told of in a sentence, and the status that goes with each."""

from benchproof.family.problems import BadFile, TooLarge
from benchproof.instrument.problems import InstrumentProblem
from benchproof.proof.problems import ProofProblem
from benchproof.record.problems import Conflict, NoSuch, RecordProblem, TagTaken

_STATUS: tuple[tuple[type[Exception], int], ...] = (
    (NoSuch, 404),
    (TagTaken, 409),
    (Conflict, 409),
    (TooLarge, 422),
    (BadFile, 422),
    (RecordProblem, 400),
    (ProofProblem, 409),
    (InstrumentProblem, 409),
)
"""The narrowest first."""
PROBLEMS = (BadFile, TooLarge, RecordProblem, ProofProblem, InstrumentProblem)
"""The widest of them, for whoever catches them."""


def status_of(error: Exception) -> int:
    """Return the status that goes with a mistake."""
    return next(status for kind, status in _STATUS if isinstance(error, kind))
