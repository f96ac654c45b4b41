"""A proof in the archive, open for work: its state, and appending to it."""

from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.proof.events import Event
    from benchproof.proof.state import State
    from benchproof.record.store import Store

MOST_TRIES = 20
"""So often somebody else may be first before we give up."""


def now() -> str:
    """Return the time as events have it."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _unsaid(_: str) -> None:
    """Say nothing."""


class Work:
    """A proof and its state, kept up with the archive.

    Parameters
    ----------
    store : Store
        The archive.
    tag : str
        The proof's.
    say : callable
        Told, in a sentence, when somebody else added to the proof meanwhile.

    Raises
    ------
    RecordProblem
        If there is none, or a file that it needs is missing.
    ProofProblem
        If its events cannot be understood.
    """

    def __init__(self, store: "Store", tag: str, say: Callable[[str], None] = _unsaid) -> None:
        from benchproof.proof.codec import decode
        from benchproof.proof.state import fold

        self.store = store
        self.tag = tag
        self._say = say
        self.files: dict[str, bytes] = {}
        self._known: set[str] = set()
        stored = store.proofs.events(tag)
        self.hash = stored[-1].hash
        events = [decode(one.payload) for one in stored]
        for event in events:
            self._fetch(event)
        self.state: State = fold(events, self.files)

    def append(self, make: "Callable[[State], Event]") -> None:
        """Record an event; when this returns it is on disk.

        Parameters
        ----------
        make : callable
            Makes the event from the state. If somebody else was first, it is asked again, with the
            state that has their events too.

        Raises
        ------
        ProofProblem
            If the event cannot follow; then nothing was recorded.
        RecordProblem
            If the archive refuses it, or its initials are nobody's.
        """
        self._append(lambda state: [make(state)])

    def record(self, event: "Event") -> None:
        """Record an event that does not depend on the state; see `append`."""
        self.append(lambda _: event)

    def record_all(self, events: "Sequence[Event]") -> None:
        """Record events that follow each other, all of them or none; see `append`."""
        self._append(lambda _: events)

    def _append(self, make: "Callable[[State], Sequence[Event]]") -> None:
        from benchproof.proof.codec import encode
        from benchproof.proof.events import Closed
        from benchproof.record.problems import Conflict

        for _ in range(MOST_TRIES):
            events, after, seq = make(self.state), self.state, self.state.seq
            for event in events:
                self._fetch(event)
                after = after.after(event)
                self._check_whose(event)
            payloads, last = [encode(event) for event in events], events[-1]
            closed_as = last.outcome.value if isinstance(last, Closed) else None
            try:
                link = self.store.proofs.append_all(self.tag, payloads, seq, closed_as=closed_as)
            except Conflict:
                if not self.catch_up():
                    raise
                self._say(
                    f"{self.tag}: somebody else added to this proof meanwhile "
                    f"({self.state.seq - seq} events); read again and going on."
                )
                continue
            self.state, self.hash = after, link.hash
            return
        raise Conflict(f"{self.tag}: somebody else was first every time; try again in a moment.")

    def catch_up(self) -> bool:
        """Take in what others added; return whether there was anything."""
        from benchproof.proof.codec import decode

        added = self.store.proofs.events(self.tag)[self.state.seq :]
        for one in added:
            event = decode(one.payload)
            self._fetch(event)
            self.state, self.hash = self.state.told(one.seq, event), one.hash
        return bool(added)

    def check_by(self, initials: str) -> None:
        """Check that initials are of somebody whom the archive knows (`conduct.people`)."""
        from benchproof.conduct.people import check_somebody

        # Nobody is ever taken out of the register.
        if initials not in self._known:
            check_somebody(self.store, initials)
            self._known.add(initials)

    def _check_whose(self, event: "Event") -> None:
        from benchproof.conduct.people import check_answering
        from benchproof.proof.events import Closed, InspectionNoted, OtherProof

        # These two tell what stands elsewhere in the archive; an older version let anybody in.
        if not isinstance(event, InspectionNoted | OtherProof):
            self.check_by(event.by)
        if isinstance(event, Closed):
            check_answering(self.store, event.override_by)

    def _fetch(self, event: "Event") -> None:
        """Fetch the files that an event needs."""
        from benchproof.proof.codec import files_of

        for hash_ in files_of(event):
            if hash_ not in self.files:
                self.files[hash_] = self.store.files.get(hash_)


@dataclass(frozen=True)
class ProofStanding:
    """How a proof stands.

    Attributes
    ----------
    tag : str
        The proof's.
    state : State
        After its last event.
    hash : str
        Of that event.
    """

    tag: str
    state: "State"
    hash: str


class Works:
    """The proofs that are open on screens, kept in memory so that each event is folded once.

    Any thread may use it. What others add to the archive meanwhile is taken in at each use.

    Parameters
    ----------
    store : Store
        The archive.
    most : int
        How many proofs are kept; the one longest not used goes first.
    """

    def __init__(self, store: "Store", most: int = 12) -> None:
        self._store = store
        self._most = most
        self._lock = Lock()
        self._kept: OrderedDict[str, tuple[Lock, list[Work]]] = OrderedDict()

    def standing(self, tag: str) -> ProofStanding:
        """Return how a proof stands now.

        Raises
        ------
        RecordProblem, ProofProblem
            As `Work`.
        """
        with self.opened(tag) as work:
            return ProofStanding(work.tag, work.state, work.hash)

    @contextmanager
    def opened(self, tag: str) -> Iterator[Work]:
        """Give a proof to work on, for the time of a block; nobody else here does meanwhile."""
        lock, kept = self._of(tag)
        with lock:
            yield self._caught_up(tag, kept)

    def _of(self, tag: str) -> "tuple[Lock, list[Work]]":
        with self._lock:
            found = self._kept.setdefault(tag, (Lock(), []))
            self._kept.move_to_end(tag)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
            return found

    def _caught_up(self, tag: str, kept: list[Work]) -> Work:
        if kept:
            # Only the proof's row is read, unless there is something to take in.
            if self._store.proofs.row(tag).last_seq != kept[0].state.seq:
                kept[0].catch_up()
        else:
            kept.append(Work(self._store, tag))
        return kept[0]
