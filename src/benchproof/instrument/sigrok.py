"""Handheld meters through the program sigrok-cli, which knows many by their drivers.

`parse_line` reads what it prints, without I/O; `SigrokMeter` runs it. A display is read some times
a second whether the probes were moved or not, so after each request the line under way is thrown
away and the next whole one is the reading. ``sigrok-cli -L`` lists the drivers.
"""

import os
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from decimal import Decimal

from benchproof.family.ohms import MOST_OHM
from benchproof.instrument.linequeue import LineQueue
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.reading.value import Measured, OverRange

_PREFIX = {"": 0, "p": -12, "n": -9, "µ": -6, "u": -6, "m": -3, "k": 3, "M": 6, "G": 9}
_LINE = re.compile(
    r"(?P<channel>[\w.+-]{1,40}): (?P<number>[+-]?(?:\d{1,20}(?:\.\d{1,20})?|inf)) "
    r"(?P<prefix>[pnµumkMG]?)(?P<unit>[ΩVA]|\u2126|Hz|F|%|\N{DEGREE SIGN}[CF]|W)"
    r"(?P<flags>(?: [A-Z]{2,10})*)"
)
FINEST = -9
END_S = 0.5
"""So long the program may take to end."""
SKIP = 1
"""Lines thrown away after each request: the one that was under way."""


class NotALine(ValueError):
    """Text that is no reading in ohms; `trouble` says whether it is a reading of something else."""

    def __init__(self, trouble: Trouble, text: str) -> None:
        self.trouble = trouble
        super().__init__(text)


def parse_line(text: str) -> Measured | OverRange:
    """Read one line as sigrok-cli prints it.

    Raises
    ------
    NotALine
        If it is no line of a reading, or of a reading that is no resistance.

    Examples
    --------
    >>> parse_line("P1: 1.2345 kΩ AUTO")
    Measured(ohm=1234.5, step_ohm=0.1)
    >>> parse_line("P1: inf MΩ AUTO")
    OverRange(top_ohm=None)
    """
    match = _LINE.fullmatch(text)
    if not match:
        raise NotALine(Trouble.GARBLED, text[:40])
    if match["unit"] not in "Ω\u2126":
        raise NotALine(Trouble.NOT_OHMS, text[:40])
    if match["number"].endswith("inf"):
        if match["number"].startswith("-"):
            raise NotALine(Trouble.GARBLED, text[:40])
        return OverRange()
    number = Decimal(match["number"]).scaleb(_PREFIX[match["prefix"]])
    if number < 0:
        raise NotALine(Trouble.BELOW_ZERO, text[:40])
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int), "the grammar admits finite numbers only"
    if number > Decimal(MOST_OHM):
        raise NotALine(Trouble.GARBLED, text[:40])
    if exponent < FINEST:
        number, exponent = round(number, -FINEST), FINEST
    return Measured(float(number), float(Decimal(1).scaleb(exponent)))


class SigrokMeter:
    """A handheld meter, read by sigrok-cli.

    Parameters
    ----------
    driver : str
        The driver and how the meter is connected, as sigrok-cli's ``--driver`` takes it.
    options : tuple of str
        Further arguments, such as a channel.
    timeout_s : float
        How long to wait for a line, seconds.
    clock : callable
        Seconds that only rise.
    """

    def __init__(
        self,
        driver: str,
        options: tuple[str, ...] = (),
        timeout_s: float = 5.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._driver, self._options = driver, options
        self._timeout_s, self._clock = timeout_s, clock
        self._process: subprocess.Popen[str] | None = None
        self._lines: LineQueue | None = None
        self.where = f"meter by sigrok-cli's driver {driver}"

    def read_ohm(self) -> Measured | OverRange:
        """Return what the display shows from now on.

        Raises
        ------
        InstrumentProblem
            If it shows no ohms, or nothing in time.
        """
        until = self._clock() + self._timeout_s
        lines = self._running()
        lines.drop()
        skip, garbled = SKIP, ""
        while (left := until - self._clock()) > 0.0:
            try:
                line = lines.next(left)
            except EOFError:
                self.close()
                raise InstrumentProblem(self.where, Trouble.NOT_THERE, garbled) from None
            if line is None:
                break
            if skip:
                skip -= 1
                continue
            try:
                return parse_line(line)
            except NotALine as error:
                if error.trouble is not Trouble.GARBLED:
                    raise InstrumentProblem(self.where, error.trouble, f"{error}") from None
                # A remark of the program; a meter that sends only these runs out of time.
                garbled = f"{error}"
        self.close()
        trouble = Trouble.GARBLED if garbled else Trouble.SILENT
        raise InstrumentProblem(self.where, trouble, garbled)

    def close(self) -> None:
        """End the program; the next reading starts it again."""
        process, self._process, self._lines = self._process, None, None
        if process is None:
            return
        # With whatever it started: what is left behind would hold its output open.
        _signal(process, signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            process.wait(END_S)
        _signal(process, signal.SIGKILL)
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()

    def _running(self) -> LineQueue:
        if self._lines is not None:
            return self._lines
        program = shutil.which("sigrok-cli")
        if program is None:
            raise InstrumentProblem(self.where, Trouble.NO_PROGRAM)
        # It ends when its standard input does, so that is held open.
        self._process = subprocess.Popen(
            [program, "--driver", self._driver, *self._options, "--continuous", "-O", "analog"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            encoding="utf-8",
            errors="replace",
            start_new_session=True,
        )
        assert self._process.stdout is not None, "it was asked for"
        self._lines = LineQueue(self._process.stdout)
        return self._lines


def _signal(process: subprocess.Popen[str], number: int) -> None:
    """Signal a program and all that it started, as far as they are still there."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, number)
