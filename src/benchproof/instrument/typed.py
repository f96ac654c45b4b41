"""Meters that type their reading as a keyboard would, each ended by Enter.

A person may type too: both end a reading in the same way, and it is read by the same rules.
"""

import time
from collections.abc import Callable, Mapping
from typing import Protocol

from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.reading.value import Value, parse_value

_WHERE = "keyboard-style meter"


class Typing(Protocol):
    """Lines that are typed."""

    def next(self, timeout_s: float) -> str | None:
        """Return the next line, None if none came in time; EOFError at the end."""

    def drop(self) -> None:
        """Throw away what was typed before."""


class TypedMeter:
    """A keyboard-style meter.

    Parameters
    ----------
    typing : Typing
        Where its lines come from.
    unit : str
        The unit of a bare number; ohms if empty.
    marks : mapping of str to str
        What it types for closed and open where these are no numbers.
    timeout_s : float
        How long to wait for a reading, seconds: a person presses the meter's key.
    clock : callable
        Seconds that only rise.
    """

    def __init__(
        self,
        typing: Typing,
        unit: str = "",
        marks: Mapping[str, str] | None = None,
        timeout_s: float = 60.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._typing, self._unit, self._marks = typing, unit, marks
        self._timeout_s, self._clock = timeout_s, clock

    def read_ohm(self) -> Value:
        """Return the next reading that is typed; what was typed before the call is dropped.

        Raises
        ------
        InstrumentProblem
            If what is typed is no reading, or nothing is.
        """
        self._typing.drop()
        until = self._clock() + self._timeout_s
        while (left := until - self._clock()) > 0.0:
            try:
                line = self._typing.next(left)
            except EOFError:
                raise InstrumentProblem(_WHERE, Trouble.LOST) from None
            if line is not None and line.strip():
                try:
                    return parse_value(line, self._unit, self._marks)
                except ValueError:
                    detail = repr(line[:40])
                    problem = InstrumentProblem(_WHERE, Trouble.GARBLED, detail)
                    raise problem from None
        raise InstrumentProblem(_WHERE, Trouble.SILENT)
