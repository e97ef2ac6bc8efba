"""What takes a computer long (an export, a report) few at a time; who comes too soon is told so."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from dashboards.web.asgi import AsgiApp, Message, Receive, Scope, Send, answer, client_address
from dashboards.web.rate_limit import retry_after
from dashboards.web.size_limits import SESSION
from dashboards.web.templates import render

MOST = 2
WAIT_S = 2.0  # so long a request waits for its turn before it is told to come again
AGAIN_S = 5.0


class BusyLimit:
    """An ASGI application that lets `most` requests for addresses beginning with one of `paths` under way, and one of
    each browser; others get 429 and a page that asks again by itself.
    """

    def __init__(self, app: AsgiApp, paths: Sequence[str], *, most: int = MOST, wait_s: float = WAIT_S) -> None:
        self._app, self._paths = app, tuple(paths)
        self._most, self._wait_s = most, wait_s
        self._under_way: set[str] = set()
        self._room = asyncio.Condition()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or not str(scope["path"]).startswith(self._paths):
            await self._app(scope, receive, send)
            return
        client = str(scope.get(SESSION) or client_address(scope))
        try:
            await asyncio.wait_for(self._take_room(client), self._wait_s)
        except TimeoutError:
            await answer(send, 429, render("web/busy.html", again_s=int(AGAIN_S)), [retry_after(AGAIN_S)], "text/html")
            return

        async def done() -> None:
            async with self._room:
                self._under_way.discard(client)
                self._room.notify_all()

        async def sender(message: Message) -> None:
            if message["type"] == "http.response.start":
                await done()  # the work is over; how fast the browser takes it is its own affair
            await send(message)

        try:
            await self._app(scope, receive, sender)
        finally:
            await done()

    async def _take_room(self, client: str) -> None:
        async with self._room:
            await self._room.wait_for(lambda: client not in self._under_way and len(self._under_way) < self._most)
            self._under_way.add(client)
