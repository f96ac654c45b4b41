"""One question at a time, and its own answer: bytes in, replies out, no I/O.

A reply that comes late must not be taken for the answer to a later question. So every message
carries a mark of its own, and its reply must end in it: ``*ESE 37;READ?;*ESE?`` is answered
``+1.2E+02;37``. ``*ESE`` and ``*ESE?`` are common commands that every SCPI instrument has; the
mask that they set matters only to who waits for service requests, and nobody here does. Marks
run from 1 to 255 and around. A whole line that ends in the mark of an earlier question of ours is
late and is dropped; anything else that is not the awaited reply puts the conversation in doubt.
The reply to ``*IDN?`` is free text, after which the standard allows no other query in the message:
there the mark is asked for first.

Some instruments cannot answer several queries in one line. For them `echo` is false: the caller
throws away whatever waits before it asks, and opens the link anew after any doubt.
"""

from collections import deque

from benchproof.instrument.problems import Doubt, Trouble
from benchproof.instrument.scpi import Lines, NotScpi, split_reply

MARKS = 255
MOST_LATE = 8
"""As many questions that were not answered are remembered."""


class Conversation:
    """Questions to one instrument and its answers.

    Parameters
    ----------
    echo : bool
        Whether the instrument can answer several queries in one line.
    ends : bytes
        What ends a message to it.
    """

    def __init__(self, *, echo: bool = True, ends: bytes = b"\n") -> None:
        self._echo, self._ends = echo, ends
        self._lines = Lines()
        self._mark = 0
        self._awaited: int | None = None
        self._parts = 0
        self._strict, self._mark_first = True, False
        self._late: deque[int] = deque(maxlen=MOST_LATE)

    @property
    def echo(self) -> bool:
        """Whether replies carry marks."""
        return self._echo

    def ask(self, text: str, parts: int = 1) -> bytes:
        """Return the bytes of a question, or of a command if it has no parts.

        Parameters
        ----------
        text : str
            The message, as ``READ?``.
        parts : int
            How many replies it has, parted by semicolons.
        """
        return self._message(text, parts, strict=True)

    def ask_identity(self) -> bytes:
        """Return the bytes of the question who it is; its reply has one part."""
        return self._message("*IDN?", 1, strict=True, mark_first=True)

    def resync(self) -> bytes:
        """Return the bytes that get the conversation out of doubt; its reply has no parts.

        Lines before the reply are dropped, whatever they are. A second, strict exchange must
        follow, since a stray line could look like this one's reply.
        """
        self._lines.drop()
        return self._message("", 0, strict=False)

    def _message(self, text: str, parts: int, *, strict: bool, mark_first: bool = False) -> bytes:
        if self._awaited is not None:
            self._late.append(self._awaited)
        self._parts, self._strict, self._mark_first = parts, strict, mark_first
        self._awaited = None
        if not self._echo:
            self._lines.drop()
            self._awaited = 0 if parts else None
            return text.encode("ascii") + self._ends
        self._mark = self._mark % MARKS + 1
        self._awaited = self._mark
        asked = ["*ESE?", text] if mark_first else [text, "*ESE?"]
        message = ";".join([f"*ESE {self._mark}", *filter(None, asked)])
        return message.encode("ascii") + self._ends

    def feed(self, data: bytes) -> tuple[str, ...] | None:
        """Return the parts of the awaited reply, or None while it is not whole.

        Raises
        ------
        Doubt
            If anything else came.
        """
        try:
            lines = self._lines.feed(data)
        except NotScpi as error:
            if not self._strict:
                return None
            raise Doubt(Trouble.GARBLED, f"{error}") from None
        reply: tuple[str, ...] | None = None
        for line in lines:
            found = self._reply(line) if reply is None else None
            if found is not None:
                reply = found
                self._awaited = None
            elif self._strict and not self._is_late(line):
                raise Doubt(Trouble.GARBLED, repr(line[:40]))
        return reply

    def _reply(self, line: str) -> tuple[str, ...] | None:
        """Return the parts of a line if it is the awaited reply."""
        if self._awaited is None:
            return None
        parts = [line] if self._mark_first else split_reply(line)
        if self._echo:
            if self._mark_first:
                mark, *parts = line.split(";", 1)
            else:
                *parts, mark = parts
            # Some instruments send a sign with every number.
            if mark.removeprefix("+") != str(self._awaited):
                return None
        return tuple(parts) if len(parts) == self._parts else None

    def _is_late(self, line: str) -> bool:
        mark = split_reply(line)[-1].removeprefix("+")
        return self._echo and mark in {str(late) for late in self._late}
