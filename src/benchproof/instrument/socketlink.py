"""A link over TCP to an instrument that listens at a port: plain bytes both ways.

Addresses are pyvisa's, as ``TCPIP0::127.0.0.1::5025::SOCKET``. pyvisa's own backend would read on
for as long as bytes keep coming without a line end, whatever its time-out.
"""

import re
import socket
from contextlib import suppress

from benchproof.instrument.problems import Doubt, Trouble

CHUNK = 4096
OPEN_S = 2.0
_RESOURCE = re.compile(
    r"TCPIP\d*::(?P<host>[\w.:%-]+|\[[\w.:%-]+\])::(?P<port>\d{1,5})::SOCKET", re.I
)


class SocketLink:
    """One port of one instrument.

    Parameters
    ----------
    resource : str
        Its name.
    host : str
        Its name or address in the network.
    port : int
        The port.
    open_s : float
        How long to wait for it to take the connection, or a message, seconds.
    """

    def __init__(self, resource: str, host: str, port: int, open_s: float = OPEN_S) -> None:
        self._resource, self._at, self._open_s = resource, (host, port), open_s
        self._socket: socket.socket | None = None

    @property
    def name(self) -> str:
        """Where it leads."""
        return self._resource

    def open(self) -> None:
        """Open it, or close it and open it anew."""
        self.close()
        try:
            self._socket = socket.create_connection(self._at, self._open_s)
            # A question is short and waits for its answer.
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except (OSError, OverflowError) as error:
            raise Doubt(Trouble.NOT_THERE, f"{error}"[:80]) from None

    def write(self, data: bytes) -> None:
        """Send bytes."""
        line = self._opened()
        try:
            line.settimeout(self._open_s)
            line.sendall(data)
        except OSError as error:
            raise Doubt(Trouble.LOST, f"{error}"[:80]) from None

    def read(self, timeout_s: float) -> bytes:
        """Return the next bytes, or none if nothing came in time."""
        line = self._opened()
        try:
            line.settimeout(max(timeout_s, 0.0))
            data = line.recv(CHUNK)
        except (TimeoutError, BlockingIOError):
            return b""
        except OSError as error:
            raise Doubt(Trouble.LOST, f"{error}"[:80]) from None
        if not data:
            raise Doubt(Trouble.LOST, "it hung up")
        return data

    def close(self) -> None:
        """Close it; no harm if it is closed."""
        line, self._socket = self._socket, None
        if line is not None:
            with suppress(OSError):
                line.close()

    def _opened(self) -> socket.socket:
        if self._socket is None:
            raise Doubt(Trouble.NOT_THERE)
        return self._socket


def socket_link(resource: str, open_s: float = OPEN_S) -> SocketLink | None:
    """Return the link to a resource; None if it is no port of an instrument.

    Examples
    --------
    >>> socket_link("TCPIP0::127.0.0.1::5025::SOCKET").name
    'TCPIP0::127.0.0.1::5025::SOCKET'
    >>> socket_link("ASRL/dev/ttyUSB0::INSTR") is None
    True
    """
    found = _RESOURCE.fullmatch(resource.strip())
    if found is None:
        return None
    return SocketLink(resource, found["host"].strip("[]"), int(found["port"]), open_s)
