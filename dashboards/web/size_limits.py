"""Limits on what one client can make the server hold: bodies, and requests under way."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable

from dashboards.web.asgi import (
    AsgiApp,
    BodyTooLargeError,
    Headers,
    Message,
    Receive,
    Scope,
    Send,
    answer,
    client_address,
    header_values,
    replayed,
    whole_body,
)
from dashboards.web.page_server import Cost, Rules

MOST_BODY = 64 << 10  # bytes; a page's callback sends some kB
BODY_TIMEOUT_S = 10.0
MOST_REQUESTS = 32  # under way at once: fewer than the threads that answer, so that the live page's buttons find one
MOST_REQUESTS_EACH = 8  # of one browser, which opens six connections
ROOM_S = 10.0  # so long a request waits for others of the same browser
_PIECE = 64 << 10  # bytes of an answer handed to the connection at once: it waits until the browser has taken them
_CLOSE: Headers = [(b"connection", b"close")]
SESSION = "swardflow.session"  # key of the scope: whose session it is


def client_of(scope: Scope) -> str:
    """Who sent a request: the session, or the address where there is none."""
    return str(scope.get(SESSION) or client_address(scope))


class SizeLimits:
    """An ASGI application that answers 413 for a body over `most_body`, 408 for one that does not come, and 503 to who
    has more than `most_each` requests under way (or all together more than MOST_REQUESTS) for longer than `room_s`.

    A body that the `rules` of its address allow to be large goes to the application in the pieces in which it comes.
    An answer is handed to the connection in pieces: what a browser asks for and does not take costs one answer's bytes
    for each request under way, and no more.
    """

    def __init__(
        self,
        app: AsgiApp,
        rules: Callable[[Scope], Rules | None] = lambda _: None,
        *,
        most_body: int = MOST_BODY,
        body_timeout_s: float = BODY_TIMEOUT_S,
        most_each: int = MOST_REQUESTS_EACH,
        room_s: float = ROOM_S,
    ) -> None:
        self._app, self._rules = app, rules
        self._most_body, self._body_timeout_s = most_body, body_timeout_s
        self._most_each, self._room_s = most_each, room_s
        self._under_way: Counter[str] = Counter()
        self._room = asyncio.Condition()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        client = client_of(scope)
        rules = self._rules(scope)
        try:
            if rules is None or rules.cost is not Cost.LARGE:
                body = await asyncio.wait_for(self._body(scope, receive), self._body_timeout_s)
                receive = replayed({"type": "http.request", "body": body, "more_body": False}, receive)
        except BodyTooLargeError:
            await answer(send, 413, f"Refused: more than {self._most_body} bytes.\n", _CLOSE)
            return
        except TimeoutError:
            await answer(send, 408, "Refused: the request did not come to its end.\n", _CLOSE)
            return
        try:
            await asyncio.wait_for(self._take_room(client), self._room_s)
        except TimeoutError:
            await answer(send, 503, "Too many requests at once: wait a moment.\n", _CLOSE)
            return
        try:
            await self._app(scope, receive, _in_pieces(send))
        finally:
            async with self._room:
                self._under_way[client] -= 1
                if not self._under_way[client]:
                    del self._under_way[client]
                self._room.notify_all()

    async def _take_room(self, client: str) -> None:
        async with self._room:
            await self._room.wait_for(lambda: self._has_room(client))
            self._under_way[client] += 1

    def _has_room(self, client: str) -> bool:
        return self._under_way[client] < self._most_each and self._under_way.total() < MOST_REQUESTS

    async def _body(self, scope: Scope, receive: Receive) -> bytes:
        said = header_values(scope, "content-length")
        if any(not text.isdecimal() or int(text[:20]) > self._most_body for text in said):
            raise BodyTooLargeError
        return await whole_body(receive, self._most_body)


def _in_pieces(send: Send) -> Send:
    async def sender(message: Message) -> None:
        body = message.get("body", b"")
        if message["type"] != "http.response.body" or len(body) <= _PIECE:
            await send(message)
            return
        view = memoryview(body)
        for start in range(0, len(body), _PIECE):
            last = start + _PIECE >= len(body)
            more = not last or message.get("more_body", False)
            await send({**message, "body": bytes(view[start : start + _PIECE]), "more_body": more})

    return sender
