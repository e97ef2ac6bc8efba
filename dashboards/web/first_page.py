"""The bare address leads to the live page while a run is being recorded, and to the home page otherwise."""

from __future__ import annotations

from collections.abc import Callable

from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, answer

LIVE, HOME = "/live", "/home"


class FirstPage:
    """An ASGI application that answers "/" with where to go; `live` says whether a run is being recorded."""

    def __init__(self, app: AsgiApp, live: Callable[[], bool]) -> None:
        self._app, self._live = app, live

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["path"] == "/" and scope["method"] in ("GET", "HEAD"):
            where = LIVE if self._live() else HOME
            await answer(send, 303, "", [(b"location", where.encode())])
        else:
            await self._app(scope, receive, send)
