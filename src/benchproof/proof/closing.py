"""Closing a proof: as what, and who may say so."""

from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.model import without_lever
from benchproof.judge.cell import Result
from benchproof.judge.sheet import SheetVerdict
from benchproof.proof.conclusion import concluded_by, digest_of
from benchproof.proof.events import Closed, Mode, ProofOutcome
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State

_OUTCOME_OF = {
    PartVerdict.REALIGN: ProofOutcome.REALIGN,
    PartVerdict.REPAIR: ProofOutcome.REPAIR,
    PartVerdict.HOOK_UP: ProofOutcome.RECHECK,
    PartVerdict.CHART: ProofOutcome.RECHECK,
    PartVerdict.UNEXPLAINED: ProofOutcome.RECHECK,
}
"""As what a proof is closed whose diagnosis decided a verdict; accepting needs more."""


def outcome_of(state: State) -> ProofOutcome | None:
    """Return as what a proof would be closed by itself; None if nothing is decided."""
    if not state.objections:
        return ProofOutcome.ACCEPTED
    if state.as_left.judgement.verdict is SheetVerdict.RECHECK:
        return ProofOutcome.RECHECK
    known = state.as_left.known
    decided = None if known is None else known.decided
    if decided is PartVerdict.ACCEPT:
        good = state.mode is Mode.FIND and not _against_good(state)
        return ProofOutcome.LIKELY_GOOD if good else None
    return None if decided is None else _OUTCOME_OF[decided]


def _against_good(state: State) -> str:
    """Return why a part cannot be called likely good, a sentence; empty if it can."""
    left = state.as_left
    against = [
        cell
        for cell in left.judgement.cells
        if cell.outcome.result in (Result.FAIL, Result.UNDECIDED)
    ]
    if against:
        first = against[0]
        return f"{first.name} is against the chart or undecided: {first.outcome.reason}."
    if left.dangers:
        return f"{left.dangers[0]}"
    if left.judgement.verdict is SheetVerdict.RECHECK:
        return left.judgement.reasons[0]
    questions = state.ground.safety.questions
    return questions[0].sentence if questions else ""


def closing(
    state: State,
    at: str,
    by: str,
    version: str,
    outcome: ProofOutcome | None = None,
    *,
    override_by: str = "",
    override_reason: str = "",
) -> Closed:
    """Return the event that closes a proof.

    Parameters
    ----------
    state : State
        The proof.
    at, by : str
        When, and whose initials.
    version : str
        Version of the program.
    outcome : ProofOutcome or None
        As what; None for what is decided.
    override_by, override_reason : str
        Who answers for accepting the part although something stands against it, and why.

    Raises
    ------
    ProofProblem
        If it is closed already, nothing is decided, or it may not be closed so.
    """
    state.check(Closed)
    who, why = override_by.strip(), override_reason.strip()
    if bool(who) is not bool(why):
        raise ProofProblem(
            "An override needs both who answers for it (--override-by NAME) and why "
            "(--reason TEXT)."
        )
    against = state.objections
    if outcome is None:
        outcome = ProofOutcome.ACCEPTED if who else outcome_of(state)
    if outcome is None:
        raise ProofProblem(
            f"Nothing is decided yet ({_open(state).rstrip('.')}); read on, or say as what "
            "to close it (--as)."
        )
    if outcome is ProofOutcome.REALIGN and not state.ground.family.lever:
        raise ProofProblem(without_lever(state.ground.family, "realign"))
    if who and outcome is not ProofOutcome.ACCEPTED:
        raise ProofProblem(f"Closing as {outcome} needs no override; leave it out.")
    if who and not against:
        raise ProofProblem("Nothing stands against accepting this part; leave the override out.")
    if outcome is ProofOutcome.LIKELY_GOOD and (why_not := _against_good(state)):
        raise ProofProblem(f"Not likely good: {why_not}")
    if outcome is ProofOutcome.ACCEPTED and against:
        _may_override(state, bool(who))
    return Closed(
        at=at,
        by=by,
        outcome=outcome,
        reasons=tuple(objection.sentence for objection in against),
        override_by=who,
        override_reason=why,
        concluded=concluded_by(state, version),
        digest=digest_of(state),
    )


def _open(state: State) -> str:
    """Return why nothing is decided."""
    return (state.mode is Mode.FIND and _against_good(state)) or state.objections[0].sentence


def _may_override(state: State, named: bool) -> None:
    """Refuse what nobody can answer for, and what nobody answers for."""
    for objection in state.objections:
        if not objection.overridable:
            raise ProofProblem(f"Not accepted: {objection.sentence}")
    if not named:
        first = state.objections[0].sentence
        others = len(state.objections) - 1
        more = f" ({others} more: see benchproof proof show)" if others else ""
        raise ProofProblem(f"Not accepted: {first}{more}")
