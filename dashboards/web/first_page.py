"""The bare address leads to the live page while a run is being recorded, and to the home page otherwise.

In its first second the server does not know yet: who comes then waits until it does.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress

from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, answer

LIVE, HOME = "/live", "/home"
PATIENCE_S = 4.0
_LOOK_S = 0.05


class FirstPage:
    """An ASGI application that answers "/" with where to go.

    `live` says whether a run is being recorded, `known` whether that is known by now; it is not waited for longer than
    `patience_s`.
    """

    def __init__(
        self,
        app: AsgiApp,
        live: Callable[[], bool],
        known: Callable[[], bool] = lambda: True,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._app, self._live, self._known, self._patience_s = app, live, known, patience_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["path"] == "/" and scope["method"] in ("GET", "HEAD"):
            with suppress(TimeoutError):
                await asyncio.wait_for(self._wait(), self._patience_s)
            where = LIVE if self._live() else HOME
            await answer(send, 303, "", [(b"location", where.encode())])
        else:
            await self._app(scope, receive, send)

    async def _wait(self) -> None:
        while not self._known():
            await asyncio.sleep(_LOOK_S)
