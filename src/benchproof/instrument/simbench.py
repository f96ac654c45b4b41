"""The simulated bench on the network: a TCP server on 127.0.0.1 that speaks SCPI.

Faults of the line are made here, on any reply but those to the commands that ask for faults.
"""

import random
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from benchproof.instrument.scpi import Lines, NotScpi
from benchproof.instrument.simcommands import SimBench

HOST = "127.0.0.1"
UNPLUGGED_S = 0.3
CHUNK = 4096


class SimServer:
    """Serves one bench until it is closed.

    Parameters
    ----------
    bench : SimBench
        The bench.
    rng : random.Random
        Where the chance of faults comes from.
    port : int
        The port; 0 for any free one.
    sleep : callable
        A wait.
    """

    def __init__(
        self,
        bench: SimBench,
        rng: random.Random,
        port: int = 0,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._bench, self._rng, self._sleep = bench, rng, sleep
        self._lock = threading.Lock()
        self._lines: set[socket.socket] = set()
        self._closing = False
        self._listener = self._listen(port)
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def resource(self) -> str:
        """Its address, as pyvisa names it."""
        return f"TCPIP0::{HOST}::{self.port}::SOCKET"

    def close(self) -> None:
        """Stop serving."""
        self._closing = True
        _shut(self._listener)
        with self._lock:
            lines = [*self._lines]
        for line in lines:
            _shut(line)

    def unplug(self, for_s: float = UNPLUGGED_S) -> None:
        """Close every line and listen to nobody for a while; what was connected is open after."""
        _shut(self._listener)
        with self._lock:
            lines = [*self._lines]
            self._bench.reset("")
        for line in lines:
            _shut(line)
        threading.Thread(target=self._plug_in, args=(for_s,), daemon=True).start()

    def _plug_in(self, after_s: float) -> None:
        self._sleep(after_s)
        if not self._closing:
            self._listener = self._listen(self.port)
            self._accept()

    def _listen(self, port: int) -> socket.socket:
        return socket.create_server((HOST, port))

    def _accept(self) -> None:
        listener = self._listener
        while True:
            try:
                line, _ = listener.accept()
            except OSError:
                return
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._lines.add(line)
            threading.Thread(target=self._serve, args=(line,), daemon=True).start()

    def _serve(self, line: socket.socket) -> None:
        lines, late = Lines(), b""
        try:
            while data := line.recv(CHUNK):
                for message in lines.feed(data):
                    late = self._answer(line, message, late)
        except (OSError, NotScpi):
            pass
        finally:
            with self._lock:
                self._lines.discard(line)
            _shut(line)

    def _answer(self, line: socket.socket, message: str, late: bytes) -> bytes:
        """Execute and reply; return what is held back until the next message."""
        faults = self._bench.faults
        with self._lock:
            # Asking for faults is not itself disturbed.
            kind = "" if ":FAUL" in message.upper() else self._fault()
            if kind == "SLIP":
                faults.slips += 1
            reply = self._bench.execute(message)
            lag_s = faults.lag_s
        if lag_s:
            self._sleep(lag_s)
        data = b"" if reply is None else reply.encode("ascii", "replace") + b"\n"
        if late:
            line.sendall(late)
        match kind:
            case "GARB" if data:
                line.sendall(garbled(data, self._rng))
            case "CUT" if data:
                line.sendall(data[: self._rng.randrange(len(data))])
                line.shutdown(socket.SHUT_RDWR)
            case "SIL":
                pass
            case "LATE":
                return data
            case "UNPL":
                self.unplug()
            case _:
                line.sendall(data)
        return b""

    def _fault(self) -> str:
        faults = self._bench.faults
        if faults.once:
            return faults.once.popleft()
        if faults.kinds and faults.rate and self._rng.random() < faults.rate:
            return self._rng.choice(faults.kinds)
        return ""


def garbled(data: bytes, rng: random.Random) -> bytes:
    """Return bytes with one to four of them changed, lost, doubled or put between."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(4)
        byte = bytes([rng.choice((rng.randrange(256), *b"0123456789+-.E,;\r\n"))])
        if kind == 0:
            data = data[:at] + byte + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + data[at + 1 :]
        elif kind == 2:
            data = data[:at] + data[max(at - 3, 0) :]
        else:
            data = data[:at] + byte + data[at:]
    return data


def _shut(line: socket.socket) -> None:
    with suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)
    line.close()
