"""Replaying a proof: the same events, folded again, and what differs from what was concluded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from benchproof.family.sentence import Sentence, said
from benchproof.proof.conclusion import concluded_by, digest_of
from benchproof.proof.events import Closed, Concluded, Event
from benchproof.proof.ground import Files
from benchproof.proof.state import State, fold

CLOSE = 1e-9
"""Probabilities nearer than this differ in rounding only."""
MOST_TOLD = 20
"""No more cells than these are told one by one."""


@dataclass(frozen=True)
class Replayed:
    """What came of a replay.

    Attributes
    ----------
    state : State
        The proof's state now.
    concluded : Concluded
        What this version concludes; of a closed proof, just before it was closed.
    digest : str
        Of all that is concluded.
    recorded : Closed or None
        What was recorded when it was closed; None for a proof still open.
    differences : tuple of str
        What differs between the two, a sentence each; empty if nothing does, or if open.
    """

    state: State
    concluded: Concluded
    digest: str
    recorded: Closed | None
    differences: tuple[str, ...]

    @property
    def identical(self) -> bool:
        """Whether it is the same as recorded, bit for bit; True for a proof still open."""
        return self.recorded is None or self.recorded.digest == self.digest


def replay(events: Sequence[Event], files: Files, version: str) -> Replayed:
    """Replay a proof.

    Parameters
    ----------
    events : sequence of Event
        All its events.
    files : mapping of hash to bytes
        The files that they name.
    version : str
        Version of this program.

    Raises
    ------
    ProofProblem
        If the events make no proof.
    BadFile
        If a file cannot be used by this version.
    """
    state = fold(events, files)
    until = next((n for n, event in enumerate(events) if isinstance(event, Closed)), len(events))
    before = state if until == len(events) else fold(events[:until], files)
    now, digest = concluded_by(before, version), digest_of(before)
    if state.closed is None:
        return Replayed(state, now, digest, None, ())
    both = _Both(state.closed, now, digest)
    return Replayed(state, now, digest, state.closed, tuple(said(_DIFFERENCES, both)))


@dataclass(frozen=True)
class _Both:
    closed: Closed
    now: Concluded
    digest: str

    @property
    def then(self) -> Concluded:
        return self.closed.concluded


def _verdict(both: _Both) -> list[dict[str, str]]:
    pairs = (
        ("as left", both.then.verdict, both.now.verdict),
        ("as found", both.then.as_found_verdict, both.now.as_found_verdict),
    )
    return [{"which": w, "then": then, "now": now} for w, then, now in pairs if then != now]


def _cells(both: _Both) -> list[dict[str, str]]:
    changed = _changed("as left", both.then.cells, both.now.cells)
    changed += _changed("as found", both.then.as_found_cells, both.now.as_found_cells)
    return changed[:MOST_TOLD]


def _more_cells(both: _Both) -> list[dict[str, str]]:
    changed = _changed("", both.then.cells, both.now.cells)
    changed += _changed("", both.then.as_found_cells, both.now.as_found_cells)
    return [{"more": f"{len(changed) - MOST_TOLD}"}] if len(changed) > MOST_TOLD else []


def _changed(
    which: str, then: Sequence[tuple[str, str]], now: Sequence[tuple[str, str]]
) -> list[dict[str, str]]:
    before, after = dict(then), dict(now)
    return [
        {
            "which": which,
            "cell": cell,
            "then": before.get(cell, "not in the chart"),
            "now": after.get(cell, "not in the chart"),
        }
        for cell in dict.fromkeys([*before, *after])
        if before.get(cell) != after.get(cell)
    ]


def _decided(both: _Both) -> list[dict[str, str]]:
    if both.then.decided == both.now.decided:
        return []
    return [{"then": both.then.decided or "nothing", "now": both.now.decided or "nothing"}]


def _probabilities(both: _Both) -> list[dict[str, str]]:
    then, now = both.then.verdicts or {}, both.now.verdicts or {}
    return [
        {"verdict": verdict, "then": _percent(then, verdict), "now": _percent(now, verdict)}
        for verdict in dict.fromkeys([*then, *now])
        if abs(then.get(verdict, -1.0) - now.get(verdict, -1.0)) > CLOSE
    ]


def _percent(verdicts: Mapping[str, float], verdict: str) -> str:
    return f"{verdicts[verdict]:.4%}" if verdict in verdicts else "not told"


def _against(both: _Both) -> list[dict[str, str]]:
    return [
        {"then": then or "nothing", "now": now or "nothing"}
        for then, now in zip_longest(both.then.against, both.now.against)
        if then != now
    ]


def _rounding(both: _Both) -> list[dict[str, str]]:
    """Yield once if only what is not kept in words differs."""
    told = (_verdict, _cells, _decided, _probabilities, _against)
    return [{}] if both.closed.digest != both.digest and not any(f(both) for f in told) else []


_DIFFERENCES = (
    Sentence("The sheet {which} was {then} and is {now}.", _verdict),
    Sentence("{cell} {which} was {then} and is {now}.", _cells),
    Sentence("And {more} more cells differ.", _more_cells),
    Sentence("The diagnosis had decided {then} and decides {now}.", _decided),
    Sentence("The diagnosis gave {verdict} {then} and gives {now}.", _probabilities),
    Sentence("Against accepting it stood: {then} Now stands: {now}", _against),
    Sentence(
        "Results, verdicts and probabilities are the same; only wording or last digits differ, as "
        "they may with another version or processor.",
        _rounding,
    ),
)
