"""What every request must pass before any screen sees it, and what every answer carries.

In this order: the Host header names this server (else a name that an attacker points at 127.0.0.1
could read us); the body is not too large; a device from the network is paired; a request that
changes something comes from our own page. Forms bear a token besides (`forms.py`).
"""

import secrets
from collections.abc import Iterable
from hashlib import sha256
from hmac import compare_digest
from hmac import new as mac
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse

from benchproof.family import limits

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from benchproof.web.devices import Devices
    from benchproof.web.site import Site

MOST_BODY = limits.BODY.most
"""A photograph is the largest thing that anybody sends."""
MOST_BODY_STRANGER = 20_000
"""Who is not let in yet sends a code and a name."""
SESSION, DEVICE = "benchproof-session", "benchproof-device"
YEAR_S = 31_536_000
CHANGING = {"POST", "PUT", "PATCH", "DELETE"}
KNOWN = {"GET", "HEAD", *CHANGING}
OPEN_TO_ALL = ("/pair", "/static/")
"""All that a device sees before it is paired: where to type the code, and how that looks."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "font-src 'none'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # With "no-referrer" a browser would send the Origin of our own forms as "null".
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
}


class Doors:
    """ASGI middleware: lets through what may come in.

    Parameters
    ----------
    app : ASGI application
    site : Site
        With `devices` where devices from the network may come in.
    names : iterable of str
        Names and addresses that this server goes by.
    """

    def __init__(self, app: "ASGIApp", site: "Site", names: Iterable[str]) -> None:
        self._app = app
        self._site = site
        self._names = {name.casefold() for name in names}

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            # There is no websocket; start and stop of the server pass.
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        sending = _with_headers(send, static=scope["path"].startswith("/static/"))
        enters = may_enter(scope, self._site.devices)
        most = MOST_BODY if enters else MOST_BODY_STRANGER
        refused = self._refused(scope, most, enters=enters)
        if refused is not None:
            await refused(scope, receive, sending)
            return
        if enters:
            self._site.gate.vouch(scope)
        await self._app(scope, _bounded(receive, most), sending)

    def _refused(
        self, scope: "Scope", most: int, *, enters: bool
    ) -> PlainTextResponse | RedirectResponse | None:
        headers = Headers(scope=scope)
        if not self._is_ours(headers.get("host", ""), scope):
            return _no(421, "This is not the address of the bench page.")
        if scope["method"] not in KNOWN:
            return _no(405, "Nothing here is done that way.")
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > most:
            told = f"That is larger than {most // 1000:,} kB."
            return _no(413, limits.BODY.told() if enters else told)
        path = scope["path"]
        is_open = path == OPEN_TO_ALL[0] or path.startswith(OPEN_TO_ALL[1])
        may_see = is_open and self._site.devices is not None
        if not (may_see or enters):
            if scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
                return RedirectResponse("/pair", 303)
            return _no(403, "This device is not paired with the bench.")
        if scope["method"] in CHANGING and not _from_our_page(scope, headers):
            return _no(403, "A page of another address may change nothing here.")
        return None

    def _is_ours(self, host: str, scope: "Scope") -> bool:
        name, port = _name_and_port(host, "443" if scope["scheme"] == "https" else "80")
        here = scope.get("server") or ("", None)
        if here[1] is not None and port != str(here[1]):
            return False
        # The address that the connection came in at is ours, whichever it is.
        return name in self._names or (_is_address(name) and name == here[0])


def may_enter(scope: "Scope", devices: "Devices | None") -> bool:
    """Tell whether a request comes from the bench's own computer or from a paired device."""
    if is_at_bench(scope):
        return True
    return devices is not None and devices.knows(cookie(Headers(scope=scope), DEVICE))


def _from_our_page(scope: "Scope", headers: Headers) -> bool:
    """Tell whether no page of another origin made the browser send this."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    # A program that is no browser sends none; the token and the content type hold browsers.
    return origin is None or origin == f"{scope['scheme']}://{headers.get('host', '')}"


def _name_and_port(host: str, usual: str) -> tuple[str, str]:
    name, colon, port = host.rpartition(":")
    if not colon or "]" in port:
        name, port = host, usual
    return name.casefold().removeprefix("[").removesuffix("]"), port


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True


def _is_loopback(client: str) -> bool:
    try:
        address = ip_address(client)
    except ValueError:
        return False
    inner = getattr(address, "ipv4_mapped", None)
    return address.is_loopback or (inner is not None and inner.is_loopback)


def is_at_bench(scope: "Scope") -> bool:
    """Tell whether a request comes from the bench's own computer."""
    return _is_loopback((scope.get("client") or ("", 0))[0])


def check_at_bench(scope: "Scope", sentence: str) -> None:
    """Refuse with a sentence what does not come from the bench's own computer."""
    from starlette.exceptions import HTTPException

    if not is_at_bench(scope):
        raise HTTPException(403, sentence)


def _no(status: int, sentence: str) -> PlainTextResponse:
    return PlainTextResponse(f"{sentence}\n", status)


def _with_headers(send: "Send", *, static: bool) -> "Send":
    async def sending(message: "Message") -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store")
            if static and message["status"] == 200:
                # Its address holds a hash of the content.
                headers["cache-control"] = f"public, max-age={YEAR_S}, immutable"
        await send(message)

    return sending


def _bounded(receive: "Receive", most: int) -> "Receive":
    """Return what receives a body, up to so many bytes."""
    got = 0

    async def receiving() -> "Message":
        nonlocal got
        message = await receive()
        if message["type"] == "http.request":
            got += len(message.get("body", b""))
            if got > most:
                # As if the browser had gone: nothing is done with what came so far.
                return {"type": "http.disconnect"}
        return message

    return receiving


def cookie(headers: Headers, name: str) -> str:
    """Return a cookie's value; empty if there is none."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


def new_session() -> str:
    """Return a new session, which a form's token is tied to."""
    return secrets.token_urlsafe(24)


def token(secret: bytes, session: str) -> str:
    """Return the token that the forms of a session bear."""
    return mac(secret, session.encode("utf-8", "replace"), sha256).hexdigest()


def token_fits(secret: bytes, session: str, typed: str) -> bool:
    """Tell whether a form bears its session's token."""
    held = token(secret, session).encode()
    return bool(session) and compare_digest(typed.encode("utf-8", "replace"), held)
