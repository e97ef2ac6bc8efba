"""Sessions: without one nothing is readable, by HTTP or by the live stream.

A browser gets a session for the secret in a link (`/?key=…`) or for a typed code; the answer leads away from the
address with the secret. The session is a cookie that scripts cannot read and that is not sent on behalf of other sites.
Requests from this computer need one like any other: its other users, and the way in through a tunnel, look the same.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from ipaddress import ip_address
from urllib.parse import parse_qs

from dashboards.sharing.entry import entry_page, step_page
from dashboards.sharing.guests import HOLDS_S, Guest, Guests, device_of
from dashboards.sharing.invitations import Invitation, Invitations
from dashboards.web.asgi import (
    AsgiApp,
    BodyTooLargeError,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    client_address,
    cookies,
    header_values,
    whole_body,
)
from dashboards.web.rate_limit import RateLimit, retry_after
from dashboards.web.size_limits import BODY_TIMEOUT_S, SESSION
from dashboards.web.visitor import VISITOR

STEP, ENTER, KEY = "/opened", "/enter", "key"
WRONG_EACH, WRONG_EACH_S = 5, 30.0  # wrong codes of one client: at once, and one more every so many seconds
WRONG_ALL, WRONG_ALL_S = 20, 3.0  # of all on the network together; see invitations.py for the sum
ASKS, ASKS_S = 600, 1 / 60  # requests of one session: a page with plots is some forty, polling two a second
UNKNOWN_ASKS, UNKNOWN_ASKS_S = 60, 1 / 5  # of one client without
STREAMS, STREAMS_S = 60, 1.0  # openings of the live stream, of one session
TELL_S = 60.0  # the terminal is told of wrong codes no more often
_MOST_FORM = 1_000  # bytes of the form with the code
_ALL = "all"
_WRONG = "Wrong code, or already used. Enter the one the computer shows now."
_WRONG_LINK = "This link was used already, or is not whole. Use the one the computer shows now."
_WAIT = "Too many wrong codes. Wait {wait:.0f} seconds, then try again."
_NO_SESSION = "Open this page with the link or the code shown on the computer at the sprayer.\n"
_TOO_OFTEN = "Too many requests: wait a moment.\n"


class SessionMiddleware:
    """An ASGI application in front of another one, which only browsers with a session reach.

    `shared`: phones may come in by code. `tell` is given a message for the terminal when wrong codes come; it must not
    wait.
    """

    def __init__(
        self,
        app: AsgiApp,
        invitations: Invitations,
        guests: Guests,
        tell: Callable[[str], None],
        *,
        shared: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app, self._invitations, self._guests, self._tell = app, invitations, guests, tell
        self._shared = shared
        self._wrong_each = RateLimit(WRONG_EACH, WRONG_EACH_S, clock=clock)
        self._wrong_all = RateLimit(WRONG_ALL, WRONG_ALL_S, clock=clock)
        self._asks = RateLimit(ASKS, ASKS_S, clock=clock)
        self._unknown_asks = RateLimit(UNKNOWN_ASKS, UNKNOWN_ASKS_S, clock=clock)
        self._streams = RateLimit(STREAMS, STREAMS_S, clock=clock)
        self._told = RateLimit(1, TELL_S, clock=clock)

    def admit(self, scope: Scope) -> str | None:
        """The session that asks for the live stream; None when there is none or it asks too often."""
        guest = self._guest(scope)
        return None if guest is None or self._streams.take(guest.id) else guest.id

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        guest = self._guest(scope)
        wait = self._asks.take(guest.id) if guest else self._unknown_asks.take(client_address(scope))
        reads = scope["method"] == "GET"
        if wait:
            await answer(send, 429, _TOO_OFTEN, [retry_after(wait)])
        elif reads and scope["path"] == STEP:
            await answer(send, 200, step_page(), kind="text/html")
        elif reads and (secret := _secret(scope)) is not None:
            await self._take_link(scope, send, guest, secret)
        elif self._shared and scope["method"] == "POST" and scope["path"] == ENTER:
            await self._take_code(scope, receive, send)
        elif guest:
            VISITOR.set(guest.visitor)  # holds for this request's task alone
            await self._app({**scope, SESSION: guest.id}, receive, self._while_let_in(guest, send))
        elif reads and "text/html" in "".join(header_values(scope, "accept")):
            await answer(send, 403, entry_page(shared=self._shared), kind="text/html")
        else:
            await answer(send, 403, _NO_SESSION)

    def _while_let_in(self, guest: Guest, send: Send) -> Send:
        """`send` for as long as the session holds: who is turned out gets no answer that was still being made."""
        begun = False

        async def sender(message: Message) -> None:
            nonlocal begun
            if self._guests.named(guest.id):
                begun = True
                await send(message)
            elif begun:
                raise ConnectionAbortedError("turned out")
            elif message["type"] == "http.response.start":
                await answer(send, 403, _NO_SESSION, [(b"connection", b"close")])

        return sender

    async def _take_link(self, scope: Scope, send: Send, guest: Guest | None, secret: str) -> None:
        client = client_address(scope)
        if guest:  # the link was opened once more in the same browser
            await answer(send, 303, "", [(b"location", STEP.encode())])
        elif used := self._invitations.use_link(secret, from_here=_is_loopback(client)):
            await self._open(scope, send, used)
        else:
            await answer(send, 403, entry_page(_WRONG_LINK, shared=self._shared), kind="text/html")

    async def _take_code(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            body = await asyncio.wait_for(whole_body(receive, _MOST_FORM), BODY_TIMEOUT_S)
            form = parse_qs(body.decode("latin-1"), max_num_fields=5)
        except (BodyTooLargeError, TimeoutError, ValueError):
            await answer(send, 400, "Refused: send the code alone.\n", [(b"connection", b"close")])
            return
        client = client_address(scope)
        wait = max(self._wrong_each.wait_s(client), self._wrong_all.wait_s(_ALL))
        if wait:
            await answer(send, 429, entry_page(_WAIT.format(wait=wait)), [retry_after(wait)], "text/html")
        elif used := self._invitations.use_code(form.get("code", [""])[0]):
            await self._open(scope, send, used, form.get("name", [""])[0])
        else:
            self._wrong_each.take(client)
            self._wrong_all.take(_ALL)
            if self._wrong_each.wait_s(client) and not self._told.take(_ALL):
                self._tell(f"{WRONG_EACH} wrong codes from {client}: it has to wait.")
            await answer(send, 403, entry_page(_WRONG), kind="text/html")

    async def _open(self, scope: Scope, send: Send, used: Invitation, name: str = "") -> None:
        own = used.own
        device = device_of("".join(header_values(scope, "user-agent")))
        token = self._guests.admit(client_address(scope), device, own=own, name=name)
        kept = f"Path=/; Max-Age={HOLDS_S}; HttpOnly; SameSite=Strict"
        cookie = f"{_cookie_name(scope)}={token}; {kept}"
        await answer(send, 303, "", [(b"location", STEP.encode()), (b"set-cookie", cookie.encode())])

    def _guest(self, scope: Scope) -> Guest | None:
        found = map(self._guests.of_token, cookies(scope, _cookie_name(scope)))
        return next((guest for guest in found if guest), None)


def _cookie_name(scope: Scope) -> str:
    """With the port: a browser keeps one set of cookies for all ports of an address."""
    return f"swardflow-{(scope.get('server') or ('', 0))[1]}"


def _secret(scope: Scope) -> str | None:
    try:
        given = parse_qs(bytes(scope.get("query_string", b"")).decode("latin-1"), max_num_fields=20).get(KEY)
    except ValueError:
        return None
    return given[0] if given else None


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False
