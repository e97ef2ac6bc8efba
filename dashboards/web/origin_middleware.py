"""Middleware in front of the server: who may ask at all, for HTTP and WebSocket alike; headers on every answer.

A web page from elsewhere can make its own name point at this machine (DNS rebinding) and so talk to a server that only
listens here. It cannot change the Host and Origin that the browser sends, so those are held against the names of this
machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from ipaddress import ip_address
from urllib.parse import SplitResult, urlsplit

from dashboards.web.asgi import (
    AsgiApp,
    Headers,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    client_address,
    header_values,
)

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
READING = frozenset({"GET", "HEAD"})
HTTP_PORT = 80
# Files of the packages and of assets/, the same for everybody; everything else holds data of the run.
_NO_DATA = ("/assets/", "/_dash-component-suites/")
REFUSED = "Refused: open this page by the address that Swardflow printed, such as http://127.0.0.1:8050\n"


_ALONE: Headers = [(b"cross-origin-opener-policy", b"same-origin")]


def safe_headers(script_hashes: Iterable[str] = (), *, here: bool = True) -> Headers:
    """Headers for every answer. Nothing may be loaded from anywhere else, and no script in a page runs but those of
    `script_hashes`: Dash starts its renderer from one.

    `here`: the page is opened on this computer; elsewhere, over http, browsers refuse a word about other windows.
    Styles may stand in the page: Dash's components and Plotly put theirs there.
    """
    scripts = " ".join(["'self'", *script_hashes])
    policy = (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    )
    return [
        *(_ALONE if here else ()),
        (b"content-security-policy", policy.encode()),
        (b"x-content-type-options", b"nosniff"),
        (b"referrer-policy", b"same-origin"),  # "no-referrer" would take the origin off our own forms, too
        (b"cross-origin-resource-policy", b"same-origin"),
        # what a phone could be asked for and is not; keeping the screen awake stays possible, and so does vibration
        (
            b"permissions-policy",
            b"camera=(), microphone=(), geolocation=(), payment=(), usb=(), screen-wake-lock=(self)",
        ),
    ]


def is_allowed(scope: Scope, names: frozenset[str] = LOOPBACK_NAMES, *, shared: bool = False) -> bool:
    """Whether the request names this machine as its host and, if it has an origin, comes from a page of this server.

    A browser sends an origin with a WebSocket and with a request that changes something. On a page for this computer
    alone, programs that send none are let through. On a shared one they are not; the host may be the address that the
    connection came to as well, its port must be right, and the client must be of a private network (RFC 1918) or of
    this machine, so that an address on the open internet shares nothing with it.
    """
    hosts = header_values(scope, "host")
    origins = header_values(scope, "origin")
    if len(hosts) != 1 or (place := _place(hosts[0])) is None or not _is_asked_from_here(scope):
        return False
    if shared:
        address, port = scope.get("server") or ("", None)
        names = names | {str(address)}
        changes = scope["type"] == "websocket" or scope.get("method") not in READING
        if (place.port or HTTP_PORT) != port or (changes and not origins) or not _is_near(client_address(scope)):
            return False
    if place.hostname not in names:
        return False
    return not origins or (len(origins) == 1 and _is_same_place(origins[0], hosts[0]))


def _is_asked_from_here(scope: Scope) -> bool:
    """Whether a page of this server asks, or a person: by typing, by following a link.

    Every browser of today says which (Fetch Metadata, W3C Working Draft); other programs do not.
    """
    if set(header_values(scope, "sec-fetch-site")) <= {"same-origin", "none"}:
        return True
    leads_here = header_values(scope, "sec-fetch-mode") == ["navigate"]
    as_a_page = header_values(scope, "sec-fetch-dest") == ["document"]
    return leads_here and as_a_page and scope.get("method") in READING


def _place(host: str) -> SplitResult | None:
    """Name and port of a Host header; None when it is anything else."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # raises for nonsense
    except ValueError:
        return None
    if parts.path or parts.query or parts.fragment or parts.username is not None:
        return None
    return parts


def _is_same_place(origin: str, host: str) -> bool:
    scheme, separator, place = origin.partition("://")
    return bool(separator) and scheme in {"http", "https"} and place.lower() == host.lower()


def _is_near(address: str) -> bool:
    try:
        return ip_address(address).is_private
    except ValueError:
        return False


class OriginMiddleware:
    """An ASGI application that answers 403 unless `is_allowed`, and adds safe headers.

    `script_hashes` is asked for every answer: Dash adds scripts of its own when the first page is asked for.
    """

    def __init__(
        self,
        app: AsgiApp,
        names: frozenset[str] = LOOPBACK_NAMES,
        *,
        shared: bool = False,
        script_hashes: Callable[[], Iterable[str]] = tuple,
    ) -> None:
        self._app = app
        self._names = names
        self._shared = shared
        self._script_hashes = script_hashes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = self._with_headers(send, scope)
        if is_allowed(scope, self._names, shared=self._shared):
            await self._app(scope, receive, send)
        else:
            await answer(send, 403, REFUSED)

    def _with_headers(self, send: Send, scope: Scope) -> Send:
        path = str(scope["path"])
        place = _place("".join(header_values(scope, "host")))
        here = place is not None and place.hostname in LOOPBACK_NAMES

        async def sender(message: Message) -> None:
            if message["type"] == "http.response.start":
                own: Headers = list(message.get("headers", []))
                if not path.startswith(_NO_DATA) and not any(name.lower() == b"cache-control" for name, _ in own):
                    own.append((b"cache-control", b"no-store"))
                message = {**message, "headers": own + safe_headers(self._script_hashes(), here=here)}
            await send(message)

        return sender
