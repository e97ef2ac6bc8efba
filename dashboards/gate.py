"""The gate in front of the server: who may ask at all, for HTTP and WebSocket alike.

A web page from elsewhere can make its own name point at 127.0.0.1 (DNS rebinding) and so talk to a server that only
listens here. It cannot change the Host and Origin that the browser sends, so those are held against the names of this
machine. Starlette's own `http` middleware does not see WebSockets, hence plain ASGI.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
# Nothing may be loaded from anywhere else. Dash starts its renderer from a script in the page: hence 'unsafe-inline'.
HEADERS = [
    (
        b"content-security-policy",
        b"default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
        b"img-src 'self' data:; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
        b"frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
]


def is_allowed(scope: Scope, names: frozenset[str] = LOOPBACK_NAMES) -> bool:
    """Whether the request names this machine as its host and, if it has an origin, comes from a page of this server.

    A WebSocket and a request that changes something must come with an origin when a browser sends it; programs on this
    machine send none, and are let through.
    """
    headers = [(bytes(name).lower(), bytes(value).decode("latin-1")) for name, value in scope.get("headers", [])]
    hosts = [value for name, value in headers if name == b"host"]
    origins = [value for name, value in headers if name == b"origin"]
    if len(hosts) != 1 or _name(hosts[0]) not in names:
        return False
    if not origins:
        return True
    return len(origins) == 1 and _is_same_place(origins[0], hosts[0])


def _name(host: str) -> str | None:
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # raises for nonsense
    except ValueError:
        return None
    if parts.path or parts.query or parts.fragment or parts.username is not None:
        return None
    return parts.hostname


def _is_same_place(origin: str, host: str) -> bool:
    scheme, separator, place = origin.partition("://")
    return bool(separator) and scheme in {"http", "https"} and place.lower() == host.lower()


class Gate:
    """An ASGI application that answers 403 (or closes the WebSocket) unless `is_allowed`, and adds safe headers."""

    def __init__(self, app: AsgiApp, names: frozenset[str] = LOOPBACK_NAMES) -> None:
        self._app = app
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
        elif not is_allowed(scope, self._names):
            await _refuse(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            await self._app(scope, receive, _with_headers(send))


def _with_headers(send: Send) -> Send:
    async def sender(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", []), *HEADERS]}
        await send(message)

    return sender


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()  # the connect message: it has to be taken before the answer
        await send({"type": "websocket.close", "code": 1008})
        return
    body = b"Refused: open this page by the address that Swardflow printed, such as http://127.0.0.1:8050\n"
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": 403, "headers": headers + HEADERS})
    await send({"type": "http.response.body", "body": body})
