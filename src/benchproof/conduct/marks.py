"""The mark of a danger in lists: of proofs, parts, units and the shelf."""

from collections import OrderedDict
from threading import Lock
from typing import TYPE_CHECKING

from benchproof.conduct.work import Work
from benchproof.family.danger import Danger, Signal
from benchproof.family.problems import BadFile
from benchproof.proof.problems import ProofProblem
from benchproof.record.problems import RecordProblem

if TYPE_CHECKING:
    from benchproof.proof.state import State
    from benchproof.record.rows import ProofRow
    from benchproof.record.store import Store

UNREADABLE = "UNREADABLE"
"""The mark of a proof whose record cannot be understood: nobody knows what it saw."""
MOST_REMEMBERED = 10_000
MOST_PROOFS = 1000
"""So many of the latest proofs of a part are looked at."""


class Marks:
    """The signal word of the gravest danger that readings show, proof by proof.

    A list of a hundred parts cannot wait for a hundred diagnoses: what is believed only stands
    where the part itself is shown. What a proof shows is remembered until it has another event.

    Parameters
    ----------
    store : Store
        The archive.
    """

    def __init__(self, store: "Store") -> None:
        self._store = store
        self._lock = Lock()
        self._known: OrderedDict[str, tuple[str, bool]] = OrderedDict()

    def of_proof(self, row: "ProofRow") -> str:
        """Return the signal word of a proof; empty if no reading shows a danger."""
        return self._of(row)[0]

    def of_part(self, part: str) -> str:
        """Return the signal word of a part: that of its last proof in which anything was read."""
        for row in self._latest(part):
            word, read = self._of(row)
            if read:
                return word
        return ""

    def dangers_of_part(self, part: str) -> tuple[Danger, ...]:
        """Return what could hurt somebody by the last proof in which anything was read."""
        for row in self._latest(part):
            try:
                state = Work(self._store, row.tag).state
            except (ProofProblem, BadFile, RecordProblem):
                return (_unreadable(row.tag),)
            if _anything(state):
                return state.dangers
        return ()

    def _latest(self, part: str) -> "list[ProofRow]":
        # Of proofs opened in the same second the higher number is the later one.
        rows = self._store.proofs.list(part=part, limit=MOST_PROOFS)
        return sorted(rows, key=lambda row: -row.number)

    def _of(self, row: "ProofRow") -> tuple[str, bool]:
        with self._lock:
            if row.head in self._known:
                return self._known[row.head]
        try:
            state = Work(self._store, row.tag).state
        except (ProofProblem, BadFile, RecordProblem):
            return UNREADABLE, True
        seen = state.seen
        found = (seen[0].signal.value if seen else "", _anything(state))
        with self._lock:
            self._known[row.head] = found
            while len(self._known) > MOST_REMEMBERED:
                self._known.popitem(last=False)
        return found


def _unreadable(proof: str) -> Danger:
    sentence = (
        f"the record of {proof} cannot be understood, so nobody knows what it saw: do not fit the "
        "part; run benchproof verify, and prove the part anew."
    )
    return Danger(Signal.WARNING, "unreadable-record", sentence)


def _anything(state: "State") -> bool:
    return any(setting.taken or setting.noted for setting in state.settings)
