"""SizeLimits on what one client can make the server hold: bodies and open WebSockets."""

from __future__ import annotations

import asyncio
from collections import Counter

from dashboards.web.asgi import (
    AsgiApp,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    client_address,
    header_values,
    refuse_socket,
)

MOST_BODY = 1 << 20  # bytes; a page's callback sends some kB
BODY_TIMEOUT_S = 10.0
MOST_SOCKETS = 64
MOST_SOCKETS_EACH = 24  # one browser; a phone that lost its line may leave a few behind for ten seconds
SESSION = "swardflow.session"  # key of the scope: whose session it is, where there are sessions


class TooLargeError(Exception):
    """A body has more bytes than it may have."""


class SizeLimits:
    """An ASGI application that answers 413 for a body over `most_body`, 408 for one that does not come, and refuses
    WebSockets over `most_sockets` in all or `most_sockets_each` of one client.
    """

    def __init__(
        self,
        app: AsgiApp,
        *,
        most_body: int = MOST_BODY,
        body_timeout_s: float = BODY_TIMEOUT_S,
        most_sockets: int = MOST_SOCKETS,
        most_sockets_each: int = MOST_SOCKETS_EACH,
    ) -> None:
        self._app = app
        self._most_body = most_body
        self._body_timeout_s = body_timeout_s
        self._most_sockets = most_sockets
        self._most_sockets_each = most_sockets_each
        self._sockets: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection."""
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        elif scope["type"] == "http":
            await self._request(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        client = str(scope.get(SESSION) or client_address(scope))
        if self._sockets.total() >= self._most_sockets or self._sockets[client] >= self._most_sockets_each:
            await refuse_socket(receive, send)
            return
        self._sockets[client] += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._sockets[client] -= 1
            if not self._sockets[client]:
                del self._sockets[client]

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            body = await asyncio.wait_for(self._body(scope, receive), self._body_timeout_s)
        except TooLargeError:
            await answer(send, 413, f"Refused: more than {self._most_body} bytes.\n", [(b"connection", b"close")])
            return
        except TimeoutError:
            await answer(send, 408, "Refused: the request did not come to its end.\n", [(b"connection", b"close")])
            return
        if body is not None:
            await self._app(scope, _replayed(body, receive), send)

    async def _body(self, scope: Scope, receive: Receive) -> bytes | None:
        """The whole body; None when the client has gone."""
        said = header_values(scope, "content-length")
        if any(not text.isdecimal() or int(text[:20]) > self._most_body for text in said):
            raise TooLargeError
        body = bytearray()
        while True:
            message = await receive()
            if message["type"] != "http.request":
                return None
            body += message.get("body", b"")
            if len(body) > self._most_body:
                raise TooLargeError
            if not message.get("more_body", False):
                return bytes(body)


def _replayed(body: bytes, receive: Receive) -> Receive:
    pending = True

    async def again() -> Message:
        nonlocal pending
        if not pending:
            return await receive()  # that the client has gone
        pending = False
        return {"type": "http.request", "body": body, "more_body": False}

    return again
