"""What is likely wrong with a part that is not accepted, and what would settle it."""

from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.family.sentence import percent
from benchproof.judge.cell import Result
from benchproof.proof.events import ProofOutcome
from benchproof.proof.state import State
from benchproof.report.certificate import FaultTold

MOST_FAULTS = 3
WORTH_TELLING = 0.05
"""Faults and verdicts less likely than this are left to the record."""
SETTLED_BY = {
    PartVerdict.REALIGN: "set the body by its electrical edges or by the marks, then read every "
    "cell in a new proof.",
    PartVerdict.REPAIR: "the cells named above, read once more in a new proof by somebody else "
    "with new probes; if they read the same, repair or replace the part, note what was done, and "
    "prove it again.",
    PartVerdict.HOOK_UP: "check the connector, the order of the pins and the count of the lever "
    "positions, then read every cell in a new proof.",
    PartVerdict.CHART: "compare the chart with another copy of the maker's chart and with the "
    "part's own number, then prove it by the chart that is right.",
    PartVerdict.UNEXPLAINED: "the cells named above, read again in a new proof with the probes set "
    "anew and the lever moved away and back before each reading.",
}
"""What is to be done once a verdict is the likeliest (common practice, no source)."""
WITHOUT_LEVER = SETTLED_BY | {
    PartVerdict.HOOK_UP: "check the connector and the order of the pins, then read every cell in a "
    "new proof.",
    PartVerdict.UNEXPLAINED: "the cells named above, read again in a new proof with the probes set "
    "anew.",
}
"""The same of a part without a lever."""
READ_ON = "every cell of the chart, read in a new proof."


def likely_fault(state: State) -> FaultTold:
    """Return what is likely wrong with a part whose proof is closed as anything but accepted."""
    closed = state.closed
    if closed is None or closed.outcome is ProofOutcome.ACCEPTED:
        return FaultTold()
    left = state.as_left
    against = any(
        cell.outcome.result in (Result.FAIL, Result.UNDECIDED) for cell in left.judgement.cells
    )
    diagnosis = left.diagnosis
    if diagnosis is None or not against:
        return FaultTold(settle=READ_ON)
    likeliest = max(
        (one for one in diagnosis.verdicts if one is not PartVerdict.ACCEPT),
        key=lambda one: diagnosis.verdicts[one],
    )
    verdict = (likeliest.value, percent(diagnosis.verdicts[likeliest]))
    settled_by = SETTLED_BY if state.ground.family.lever else WITHOUT_LEVER
    return FaultTold((verdict, *_told(diagnosis)), settled_by[likeliest])


def _told(diagnosis: Diagnosis) -> tuple[tuple[str, str], ...]:
    """Return the likeliest faults, those that read alike together, and mistakes of the sheet."""
    faults = [
        (" or ".join(dict.fromkeys((claim.told, *claim.others))), claim.probability)
        for claim in diagnosis.faults
    ]
    faults += [(one.text, one.probability) for one in diagnosis.sheets]
    ranked = sorted(faults, key=lambda one: -one[1])[:MOST_FAULTS]
    return tuple((told, percent(share)) for told, share in ranked if share >= WORTH_TELLING)
