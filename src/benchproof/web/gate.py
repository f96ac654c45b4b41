"""Who may stay connected, and how long: limits kept where a connection is accepted.

The server itself has no time-out for headers or bodies and takes whoever comes. So each connection
is counted before anything is read of it, TLS included, and has so long for each thing that it must
do: to ask, to send what belongs to it, to take the answer. Whoever is late is cut off.

The bench's own browser has a share of its own. In the share of the network a connection on which a
paired device asked is kept; when the share is full, the oldest of the others gives way, but for the
youngest: to shake hands over TLS costs more than to come again, so a crowd must not be met at its
own pace.
"""

import asyncio
import socket
import struct
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.datastructures import Headers

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

BENCH = frozenset(("127.0.0.1", "::1"))
"""Where the bench's own browser comes from."""
REFUSED_AT_ONCE = 16
"""After so many the loop looks after the others first."""
BACKLOG = 512
"""So many wait to be accepted; who finds no room in this queue asks again only after a second."""
MOST_S = 600.0
_RESET = struct.pack("ii", 1, 0)
"""Closes without waiting for the other side."""


@dataclass(frozen=True)
class GateLimits:
    """How many connections, and how long for what.

    Attributes
    ----------
    bench, network : int
        Connections of the bench itself, and of all others together. Both together are fewer than
        the 256 files that some systems let a program open.
    address : int
        Connections of one address of the network; a browser opens six.
    unknown : int
        Those of them on which nobody asked yet who may come in.
    closing : int
        Connections that were cut off and are not closed yet, beyond the others.
    young_s : float
        For so long after it came a connection does not give way, seconds.
    head_s : float
        From the connection, or the last answer, to the end of a request's headers, seconds; a TLS
        handshake included.
    body_s : float
        For a body that is small, seconds.
    rate : float
        Bytes a second that a large body or answer moves at least: each buys its time.
    answer_s : float
        How long an answer may wait for the other side to take some of it, seconds.
    """

    bench: int = 64
    network: int = 128
    address: int = 24
    unknown: int = 8
    closing: int = 16
    young_s: float = 4.0
    head_s: float = 10.0
    body_s: float = 20.0
    rate: float = 20_000.0
    answer_s: float = 20.0


class Guest(socket.socket):
    """A connection that was let in.

    Attributes
    ----------
    host : str
        Where it comes from.
    since : float
        When it came, by the loop's clock, seconds.
    is_known : bool
        Whether somebody who may come in asked on it.
    is_cut : bool
        Whether it was cut off; it still takes one of the files that a program may open.
    is_asked : bool
        Whether a request is being answered.
    """

    host = ""
    since = 0.0
    is_known = False
    is_cut = False
    is_asked = False
    _gate: "Gate | None" = None
    _timer: asyncio.TimerHandle | None = None

    def enter(self, gate: "Gate", host: str) -> None:
        """Be counted."""
        self._gate, self.host = gate, host
        self.since = asyncio.get_running_loop().time()

    def within(self, seconds: float) -> None:
        """Be cut off unless something else is said in time."""
        self.at_leisure()
        if self._gate is None or self.is_cut:
            return
        self._timer = asyncio.get_running_loop().call_later(min(seconds, MOST_S), self.cut)

    def at_leisure(self) -> None:
        """Have all the time."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def cut(self) -> None:
        """End the connection; the server sees it as left, and closes it."""
        self.at_leisure()
        self.is_cut = True
        with suppress(OSError):
            self.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Close it, and be counted no more."""
        self.at_leisure()
        if self._gate is not None:
            self._gate.left(self)
            self._gate = None
        super().close()


class Gate:
    """The connections of one server.

    Parameters
    ----------
    limits : GateLimits
    """

    def __init__(self, limits: GateLimits | None = None) -> None:
        self.limits = limits or GateLimits()
        # Oldest first.
        self._guests: dict[tuple[str, int], Guest] = {}

    def let_in(self, plain: socket.socket, address: tuple[Any, ...]) -> Guest | None:
        """Return a connection that was accepted as one that is counted; None if it is refused."""
        host, port = str(address[0]), int(address[1])
        if not self._has_room(host):
            with suppress(OSError):
                plain.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET)
            plain.close()
            return None
        guest = Guest(plain.family, plain.type, plain.proto, plain.detach())
        guest.enter(self, host)
        self._guests[host, port] = guest
        guest.within(self.limits.head_s)
        return guest

    def left(self, guest: Guest) -> None:
        """Count a connection no more."""
        for key, one in self._guests.items():
            if one is guest:
                del self._guests[key]
                return

    def of(self, scope: "Scope") -> Guest | None:
        """Return the connection that a request came by; None if none of ours."""
        return self._guests.get(tuple(scope.get("client") or ()))

    def vouch(self, scope: "Scope") -> None:
        """Keep the connection of a request by somebody who may come in."""
        guest = self.of(scope)
        if guest is not None:
            guest.is_known = True

    def cut(self, *, idle_only: bool) -> None:
        """Cut off everybody, or those to whom no answer is under way."""
        for guest in [*self._guests.values()]:
            if not (idle_only and guest.is_asked):
                guest.cut()

    def _has_room(self, host: str) -> bool:
        limits, guests = self.limits, self._guests.values()
        if host in BENCH:
            return sum(one.host in BENCH for one in guests) < limits.bench
        others = [one for one in guests if one.host not in BENCH]
        stand = [one for one in others if not one.is_cut]
        same = [one for one in stand if one.host == host]
        if (
            len(same) >= limits.address
            or sum(not one.is_known for one in same) >= limits.unknown
            or len(others) - len(stand) >= limits.closing
        ):
            return False
        if len(stand) < limits.network:
            return True
        first = next((one for one in stand if not one.is_known), None)
        if first is None or asyncio.get_running_loop().time() - first.since < limits.young_s:
            return False
        first.cut()
        return True


class Door(socket.socket):
    """A listening socket whose connections pass a gate.

    Notes
    -----
    asyncio's loops on selectors accept by this method; others would not call it.
    """

    gate: Gate

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next connection that is let in, and its address.

        Raises
        ------
        BlockingIOError
            If none waits, or too many were refused at once.
        """
        for _ in range(REFUSED_AT_ONCE):
            plain, address = super().accept()
            guest = self.gate.let_in(plain, address)
            if guest is not None:
                return guest, address
        raise BlockingIOError


class Timed:
    """ASGI middleware: gives each thing that a connection must do its time.

    Parameters
    ----------
    app : ASGI application
    gate : Gate
    """

    def __init__(self, app: "ASGIApp", gate: Gate) -> None:
        self._app, self._gate = app, gate

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Hand a request on."""
        guest = self._gate.of(scope) if scope["type"] == "http" else None
        if guest is None:
            await self._app(scope, receive, send)
            return
        limits, got, sent, waits = self._gate.limits, 0, 0, _has_body(scope)
        now, spent = asyncio.get_running_loop().time, 0.0

        async def receiving() -> "Message":
            nonlocal got, waits, spent
            if not waits:
                return await receive()
            # While nobody here asks for the body, as others have their turn, no time runs.
            since = now()
            guest.within(limits.body_s + got / limits.rate - spent)
            message = await receive()
            guest.at_leisure()
            spent += now() - since
            if message["type"] == "http.request":
                got += len(message.get("body", b""))
                waits = message.get("more_body", False)
            return message

        async def sending(message: "Message") -> None:
            nonlocal sent
            sent += len(message.get("body", b""))
            # Returns at once unless more waits to be taken than the server holds.
            guest.within(limits.answer_s)
            await send(message)
            if not waits:
                guest.at_leisure()

        guest.is_asked = True
        guest.at_leisure()
        try:
            await self._app(scope, receiving, sending)
        finally:
            guest.is_asked = False
            guest.within(limits.head_s + sent / limits.rate)


def _has_body(scope: "Scope") -> bool:
    headers = Headers(scope=scope)
    return headers.get("content-length", "0") != "0" or "transfer-encoding" in headers
