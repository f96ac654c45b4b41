"""A link over a serial line to a microcontroller board, such as the relay board.

Such a board starts anew whenever its port is opened, and may send a greeting: so the first replies
are waited for longer, and what comes before them is thrown away.
"""

import time
from contextlib import suppress
from typing import TYPE_CHECKING

from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble

if TYPE_CHECKING:
    import serial

CHUNK = 4096


class SerialLink:
    """One serial port.

    Parameters
    ----------
    port : str
        Its name, as the system knows it.
    baud : int
        Its speed.
    start_s : float
        How long the board takes to start after the port is opened, seconds.
    """

    def __init__(self, port: str, baud: int = 115_200, start_s: float = 2.0) -> None:
        self._port, self._baud, self._start_s = port, baud, start_s
        self._serial: serial.Serial | None = None

    @property
    def name(self) -> str:
        """Where it leads."""
        return self._port

    def open(self) -> None:
        """Open it, or close it and open it anew, and wait until the board has started."""
        try:
            import serial
        except ImportError:
            raise InstrumentProblem(self._port, Trouble.NO_LIBRARY) from None
        self.close()
        try:
            self._serial = serial.Serial(
                self._port, self._baud, timeout=self._start_s, write_timeout=2.0, exclusive=True
            )
            # A board that has started greets with a line; one that was running says nothing.
            until = time.monotonic() + self._start_s
            while (left := until - time.monotonic()) > 0.0 and b"\n" not in self.read(left):
                pass
            self._serial.reset_input_buffer()
        # An unplugged port raises plain errors of more than one kind.
        except Exception as error:
            raise Doubt(Trouble.NOT_THERE, f"{error}"[:80]) from None

    def write(self, data: bytes) -> None:
        """Send bytes."""
        try:
            self._opened().write(data)
        except Exception as error:
            raise Doubt(Trouble.LOST, f"{error}"[:80]) from None

    def read(self, timeout_s: float) -> bytes:
        """Return the next bytes, or none if nothing came in time."""
        line = self._opened()
        try:
            line.timeout = timeout_s
            first = line.read(1)
            return first + line.read(min(line.in_waiting, CHUNK)) if first else b""
        except Exception as error:
            raise Doubt(Trouble.LOST, f"{error}"[:80]) from None

    def close(self) -> None:
        """Close it; no harm if it is closed."""
        line, self._serial = self._serial, None
        if line is not None:
            with suppress(Exception):
                line.close()

    def _opened(self) -> "serial.Serial":
        if self._serial is None:
            raise Doubt(Trouble.NOT_THERE)
        return self._serial
