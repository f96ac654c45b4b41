"""Talks with one instrument over a link: asks, waits, and starts anew when in doubt.

The cure for every doubt is the same: open the link anew, resynchronise, make sure that the same
instrument is there, let the caller set it up again, and repeat the whole piece of work. After a few
times it is given up with one sentence.

However an instrument misbehaves, a piece of work loses no more than its time-out and `GRACE_S` to
it: what was lost is counted from the last good reply to each doubt, over all attempts. So an
instrument that is silent, drips, or sends without end is given up in time, while one that lives and
lost a reply is asked again, if its replies carry marks. A reply without a mark may be anything:
before the instrument is known and after a doubt it is no sign of life.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

from benchproof.instrument.conversation import Conversation
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.protocols import Link
from benchproof.instrument.scpi import Identity, NotScpi, parse_error, parse_identity

ATTEMPTS = 5
GRACE_S = 0.8
"""With this beyond the time-out a piece of work ends within a second more."""
BACKOFF_S = 0.1
"""Wait before the second attempt; doubled for each further one."""
QUIET_S = 0.05
"""Nothing for so long means that nothing more waits."""
MOST_WAITING = 1000
"""An instrument that sends more chunks unasked never gets quiet."""
MOST_ERRORS = 20
NOISY = 1000
"""After a doubt a line counts as noisy for so many exchanges."""

_Result = TypeVar("_Result")


class Dialogue:
    """One instrument at the end of a link.

    Parameters
    ----------
    link : Link
        Carries the bytes; opened at the first use.
    what : str
        What it is, for messages: "meter", "selector".
    conversation : Conversation
        How questions are marked.
    timeout_s : float
        How long to wait for a reply, seconds.
    errors : str
        The query of the error queue; empty if it has none.
    clock, sleep : callable
        Seconds that only rise, and a wait.
    """

    def __init__(
        self,
        link: Link,
        what: str,
        conversation: Conversation,
        timeout_s: float,
        errors: str = "SYST:ERR?",
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._link, self._conversation, self._timeout_s = link, conversation, timeout_s
        self._errors, self._clock, self._sleep = errors, clock, sleep
        self._lost_s, self._good_at, self._is_good = 0.0, clock(), False
        self.where = f"{what} at {link.name}"
        self._open = False
        self.identity: Identity | None = None
        self._since_doubt = NOISY
        self.starts = 0
        """How often the link was opened: what was set up before the last time may be lost."""

    def persist(self, work: Callable[[], _Result]) -> _Result:
        """Do a piece of work, anew from its start after a doubt.

        Raises
        ------
        InstrumentProblem
            If it is in doubt every time.
        """
        doubt = Doubt(Trouble.SILENT)
        self._lost_s, lived = 0.0, True
        for attempt in range(ATTEMPTS):
            self._good_at = self._clock()
            self._is_good = self._open
            if attempt:
                self._sleep(min(BACKOFF_S * 2.0 ** (attempt - 1), max(self._left_s(), 0.0)))
            try:
                # What it takes to open a link to an instrument that lived until now is not lost.
                self._ensure_open(opening_is_lost=not lived)
                return work()
            except Doubt as again:
                lost = again.trouble is Trouble.LOST and not self._open
                doubt = Doubt(Trouble.NOT_THERE, again.detail) if lost else again
                self._open = False
                self._since_doubt = 0
                self._lost_s += self._clock() - self._good_at
                lived = self._is_good
                if self._lost_s >= self._most_s or (doubt.trouble is Trouble.SILENT and not lived):
                    break
        self.close()
        raise InstrumentProblem(self.where, doubt.trouble, doubt.detail)

    def sleep(self, seconds: float) -> None:
        """Wait, as the work needs it: that is no time lost."""
        self._sleep(seconds)
        self._good_at += seconds

    @property
    def _most_s(self) -> float:
        return self._timeout_s + GRACE_S

    def _left_s(self) -> float:
        """Return how much more may be lost, seconds."""
        return self._most_s - self._lost_s - (self._clock() - self._good_at)

    def _is_well(self) -> None:
        """Note a sign of life: what it took is not lost."""
        if self._conversation.echo or (self._open and not self._lost_s):
            self._good_at, self._is_good = self._clock(), True

    @property
    def noisy(self) -> bool:
        """Whether a reply was in doubt not long ago."""
        return self._since_doubt < NOISY

    def query(self, text: str, parts: int = 1) -> tuple[str, ...]:
        """Return the parts of the reply to a message.

        Raises
        ------
        Doubt
            If no whole reply to this very message comes in time.
        """
        if not self._conversation.echo:
            self._drain(0.0)
        return self._exchange(self._conversation.ask(text, parts))

    def tell(self, text: str) -> None:
        """Send a command and see that it was taken.

        Raises
        ------
        Doubt
            As for `query`.
        InstrumentProblem
            If the instrument notes an error.
        """
        if self._conversation.echo:
            self.query(text, 0)
        else:
            self._link.write(self._conversation.ask(text, 0))
        self.check_errors(text)

    def check_errors(self, after: str = "") -> None:
        """Empty the error queue.

        Raises
        ------
        InstrumentProblem
            If there is an error in it; the first is told.
        """
        found = self._error_queue()
        if found:
            detail = f"{after}: {found[0]}" if after else found[0]
            raise InstrumentProblem(self.where, Trouble.REFUSED, detail)

    def close(self) -> None:
        """Close the link; the next piece of work opens it again."""
        self._open = False
        with suppress(Doubt):
            self._link.close()

    def _ensure_open(self, *, opening_is_lost: bool) -> None:
        if self._open:
            return
        self._link.open()
        if not opening_is_lost:
            self._good_at = self._clock()
        if self._conversation.echo:
            self._exchange(self._conversation.resync())
            self._exchange(self._conversation.ask("", 0))
        else:
            # A reply that was given up may still come, and nothing would mark it as late.
            self._drain(self._timeout_s if self.starts else QUIET_S)
        identity = self._identify()
        if self.identity not in (None, identity):
            self.close()
            raise InstrumentProblem(self.where, Trouble.ANOTHER, f"{identity}")
        self.identity = identity
        # Errors from before our time are none of ours.
        self._error_queue()
        self._open = True
        self.starts += 1

    def _identify(self) -> Identity:
        """Ask twice who it is: a garbled name must not stand as the instrument's own."""
        (reply,), (again,) = (self._exchange(self._conversation.ask_identity()) for _ in range(2))
        try:
            if reply != again:
                raise NotScpi(f"two names, {reply[:40]!r} and {again[:40]!r}")
            return parse_identity(reply)
        except NotScpi as error:
            raise Doubt(Trouble.GARBLED, f"{error}") from None

    def _error_queue(self) -> list[str]:
        found: list[str] = []
        while self._errors and len(found) < MOST_ERRORS:
            (reply,) = self.query(self._errors)
            try:
                code, message = parse_error(reply)
            except NotScpi as error:
                raise Doubt(Trouble.GARBLED, f"{error}") from None
            if code == 0:
                break
            found.append(f"{code} {message}")
        return found

    def _exchange(self, message: bytes) -> tuple[str, ...]:
        self._link.write(message)
        until = self._clock() + min(self._timeout_s, self._left_s())
        while (left := until - self._clock()) > 0.0:
            data = self._link.read(left)
            reply = self._conversation.feed(data)
            if reply is not None:
                self._since_doubt += 1
                self._is_well()
                return reply
        raise Doubt(Trouble.SILENT)

    def _drain(self, quiet_s: float) -> None:
        """Throw away what waits, until nothing came for so long."""
        for _ in range(MOST_WAITING):
            left = self._left_s()
            if left <= 0.0:
                break
            if not self._link.read(min(quiet_s, left)):
                self._is_well()
                return
        raise Doubt(Trouble.GARBLED, "it sends without being asked")
