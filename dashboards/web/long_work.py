"""What takes a computer long (an export, a report) few at a time; the others wait their turn, not too many of them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from dashboards.web import progress
from dashboards.web.asgi import AsgiApp, Message, Receive, Scope, Send, answer
from dashboards.web.page_server import Cost, Rules
from dashboards.web.rate_limit import retry_after
from dashboards.web.size_limits import client_of
from dashboards.web.templates import render

MOST = 2
MOST_WAITING = 12  # with those under way fewer than the requests that may be under way at all (size_limits.py)
WAIT_S = 20.0  # so long a request waits for its turn before it is told to come again
AGAIN_S = 5.0
HELD_S = 2.0  # before a refusal that needs no waiting: who asks again at once is slowed down by it


class LongWork:
    """An ASGI application that lets `most` requests that take long under way, and one of each browser.

    One more of each browser waits its turn; others, and who has waited too long, get 429 and a page that asks again by
    itself. A large body takes its time, however slowly it is sent: those have `most` places of their own. `rules` gives
    the rules of an address.
    """

    def __init__(
        self,
        app: AsgiApp,
        rules: Callable[[Scope], Rules | None],
        *,
        most: int = MOST,
        most_waiting: int = MOST_WAITING,
        wait_s: float = WAIT_S,
        held_s: float = HELD_S,
    ) -> None:
        self._app, self._rules = app, rules
        self._most, self._most_waiting = most, most_waiting
        self._wait_s, self._held_s = wait_s, held_s
        self._busy_page = render("web/busy.html", again_s=int(AGAIN_S))
        self._under_way: dict[Cost, set[str]] = {cost: set() for cost in Cost}
        self._waiting: set[str] = set()
        self._room = asyncio.Condition()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        rules = self._rules(scope)
        if rules is None or rules.cost is Cost.QUICK:
            await self._app(scope, receive, send)
            return
        client = client_of(scope)
        under_way = self._under_way[rules.cost]
        if not await self._has_its_turn(client, under_way):
            await answer(send, 429, self._busy_page, [retry_after(AGAIN_S)], "text/html")
            return

        progress.tell_part(0, 1)  # the page knows that it is under way, before whoever works says more

        async def done() -> None:
            async with self._room:
                under_way.discard(client)
                self._room.notify_all()

        async def sender(message: Message) -> None:
            if message["type"] == "http.response.start":
                await done()  # the work is over; how fast the browser takes it is its own affair
            await send(message)

        try:
            await self._app(scope, receive, sender)
        finally:
            await done()

    async def _has_its_turn(self, client: str, under_way: set[str]) -> bool:
        if self._may_begin(client, under_way):
            under_way.add(client)
            return True
        if client in self._waiting or len(self._waiting) >= self._most_waiting:
            await asyncio.sleep(self._held_s)
            return False
        self._waiting.add(client)
        progress.tell(progress.WAITING)
        try:
            await asyncio.wait_for(self._take_turn(client, under_way), self._wait_s)
        except TimeoutError:
            return False
        finally:
            self._waiting.discard(client)
            progress.tell("")
        return True

    def _may_begin(self, client: str, under_way: set[str]) -> bool:
        return client not in under_way and len(under_way) < self._most

    async def _take_turn(self, client: str, under_way: set[str]) -> None:
        async with self._room:
            await self._room.wait_for(lambda: self._may_begin(client, under_way))
            under_way.add(client)
