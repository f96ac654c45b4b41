"""What lists tell of a proof: the mark of a danger, how many cells are read and how many fail."""

from collections import Counter, OrderedDict
from dataclasses import dataclass
from threading import Lock
from typing import TYPE_CHECKING

from benchproof.conduct.work import Work
from benchproof.family.danger import Danger, Signal
from benchproof.family.problems import BadFile
from benchproof.judge.cell import Result
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


@dataclass(frozen=True)
class Glance:
    """A proof at a glance.

    Attributes
    ----------
    word : str
        The signal word of the gravest danger that readings show; empty if none.
    anything : bool
        Whether anything was read or noted.
    cells, read, fails, undecided : int
        Cells of the chart; of these read, failed, not to be decided, as the part is left.
    """

    word: str
    anything: bool
    cells: int = 0
    read: int = 0
    fails: int = 0
    undecided: int = 0


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
        self._known: OrderedDict[str, Glance] = OrderedDict()

    def of_proof(self, row: "ProofRow") -> str:
        """Return the signal word of a proof; empty if no reading shows a danger."""
        return self.glance(row).word

    def of_part(self, part: str) -> str:
        """Return the signal word of a part: that of its last proof in which anything was read."""
        for row in self._latest(part):
            seen = self.glance(row)
            if seen.anything:
                return seen.word
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

    def glance(self, row: "ProofRow") -> Glance:
        """Return a proof at a glance."""
        with self._lock:
            if row.head in self._known:
                return self._known[row.head]
        try:
            state = Work(self._store, row.tag).state
        except (ProofProblem, BadFile, RecordProblem):
            return Glance(UNREADABLE, anything=True)
        seen = state.seen
        results = Counter(one.outcome.result for one in state.as_left.judgement.cells)
        found = Glance(
            seen[0].signal.value if seen else "",
            _anything(state),
            results.total(),
            results.total() - results[Result.MISSING],
            results[Result.FAIL],
            results[Result.UNDECIDED],
        )
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
