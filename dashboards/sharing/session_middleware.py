"""Sessions of a shared page: without a session nothing is readable, for HTTP and WebSocket alike.

A browser gets a session for a code, in the link (`/?code=…`) or typed; the answer leads away from the address with the
code. The session is a cookie that scripts cannot read and that is not sent on behalf of other sites. Requests from this
computer need one like any other: the way in through a tunnel looks like them.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from ipaddress import ip_address
from urllib.parse import parse_qs

from dashboards.sharing.codes import Codes, Sessions
from dashboards.sharing.entry import entry_page, step_page
from dashboards.web.asgi import (
    AsgiApp,
    Headers,
    Receive,
    Scope,
    Send,
    answer,
    client_address,
    header_values,
    refuse_socket,
)
from dashboards.web.rate_limit import RateLimit, retry_after
from dashboards.web.size_limits import SESSION

STEP = "/opened"
COOKIE_AGE_S = 12 * 3600  # a long day; the session itself ends with the command that shares
WRONG_EACH, WRONG_EACH_S = 5, 30.0  # wrong codes of one client: at once, and one more every so many seconds
WRONG_ALL, WRONG_ALL_S = 20, 3.0  # of all on the network together; see codes.py for the sum
ASKS, ASKS_S = 600, 1 / 60  # requests of one session: a page with plots is some forty, polling two a second
UNKNOWN_ASKS, UNKNOWN_ASKS_S = 60, 1 / 5  # of one client without
TELL_S = 60.0  # the terminal is told of wrong codes no more often
_ALL = "all"
_WRONG = "Wrong code, or already used. Enter the one the computer shows now."
_WAIT = "Too many wrong codes. Wait {wait:.0f} seconds, then try again."
_NO_SESSION = "Open this page with the code shown on the computer at the sprayer.\n"
_TOO_OFTEN = "Too many requests: wait a moment.\n"


class SessionMiddleware:
    """An ASGI application in front of another one, which only browsers with a session reach.

    `tell` is given a sentence for the terminal when a session was opened or wrong codes come; it must not wait.
    """

    def __init__(
        self,
        app: AsgiApp,
        codes: Codes,
        sessions: Sessions,
        tell: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app = app
        self._codes = codes
        self._sessions = sessions
        self._tell = tell
        self._wrong_each = RateLimit(WRONG_EACH, WRONG_EACH_S, clock=clock)
        self._wrong_all = RateLimit(WRONG_ALL, WRONG_ALL_S, clock=clock)
        self._asks = RateLimit(ASKS, ASKS_S, clock=clock)
        self._unknown_asks = RateLimit(UNKNOWN_ASKS, UNKNOWN_ASKS_S, clock=clock)
        self._told = RateLimit(1, TELL_S, clock=clock)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        session = self._session(scope)
        wait = self._asks.take(session) if session else self._unknown_asks.take(client_address(scope))
        if scope["type"] == "websocket":
            if session and not wait:
                await self._app({**scope, SESSION: session}, receive, send)
            else:
                await refuse_socket(receive, send)
        elif wait:
            await answer(send, 429, _TOO_OFTEN, [retry_after(wait)])
        elif scope["method"] == "GET" and scope["path"] == STEP:
            await answer(send, 200, step_page(), kind="text/html")
        elif scope["method"] == "GET" and (code := _code(scope)) is not None:
            await self._take_code(scope, send, session, code)
        elif session:
            await self._app({**scope, SESSION: session}, receive, send)
        elif scope["method"] == "GET" and "text/html" in "".join(header_values(scope, "accept")):
            await answer(send, 403, entry_page(), kind="text/html")
        else:
            await answer(send, 403, _NO_SESSION)

    async def _take_code(self, scope: Scope, send: Send, session: str | None, code: str) -> None:
        leads_on: Headers = [(b"location", STEP.encode())]
        if session:  # the link was opened once more in the same browser
            await answer(send, 303, "", leads_on)
            return
        client = client_address(scope)
        here = _is_loopback(client)
        wait = max(self._wrong_each.wait_s(client), 0.0 if here else self._wrong_all.wait_s(_ALL))
        if wait:
            await answer(send, 429, entry_page(_WAIT.format(wait=wait)), [retry_after(wait)], "text/html")
        elif self._codes.use_up(code, from_here=here):
            kept = f"Path=/; Max-Age={COOKIE_AGE_S}; HttpOnly; SameSite=Strict"
            cookie = f"{_cookie_name(scope)}={self._sessions.new()}; {kept}"
            await answer(send, 303, "", [*leads_on, (b"set-cookie", cookie.encode())])
            self._tell(f"A browser at {client} was let in.")
        else:
            self._count_wrong(client, here)
            await answer(send, 403, entry_page(_WRONG), kind="text/html")

    def _count_wrong(self, client: str, here: bool) -> None:
        self._wrong_each.take(client)
        if not here:
            self._wrong_all.take(_ALL)
        if self._wrong_each.wait_s(client) and not self._told.take(_ALL):
            self._tell(f"{WRONG_EACH} wrong codes from {client}: it has to wait.")

    def _session(self, scope: Scope) -> str | None:
        wanted = _cookie_name(scope)
        for header in header_values(scope, "cookie"):
            for pair in header.split(";"):
                name, _, value = pair.strip().partition("=")
                if name == wanted and (session := self._sessions.name_of(value)):
                    return session
        return None


def _cookie_name(scope: Scope) -> str:
    """With the port: a browser keeps one set of cookies for all ports of an address."""
    return f"swardflow-{(scope.get('server') or ('', 0))[1]}"


def _code(scope: Scope) -> str | None:
    try:
        given = parse_qs(bytes(scope.get("query_string", b"")).decode("latin-1"), max_num_fields=20).get("code")
    except ValueError:
        return None
    return given[0] if given else None


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False
