"""How far the long work that a browser has asked for is, for its page to show (assets/work.js).

Whoever works says so with `tell` or `tell_part`, without knowing for whom: that is kept with the request.
"""

from __future__ import annotations

from contextvars import ContextVar

from starlette.responses import JSONResponse, Response

from dashboards.web.asgi import AsgiApp, Receive, Scope, Send
from dashboards.web.page_server import Cost, PageServer
from dashboards.web.size_limits import SESSION
from dashboards.web.visitor import VISITOR

WORK = "/work"
WAITING = "waiting for its turn …"


class _Request:
    """One request under way: whose, for which address, and what was last told of it."""

    def __init__(self, client: str, path: str) -> None:
        self.client, self.path, self.said = client, path, ""


_REQUEST: ContextVar[_Request | None] = ContextVar("request", default=None)


def tell(words: str) -> None:
    """What is being done for this request, in a few words; nothing for nothing any more."""
    if request := _REQUEST.get():
        request.said = words


def tell_part(done: int, whole: int) -> None:
    """How much of it is done."""
    if whole > 0:
        tell(f"{min(100 * done // whole, 99)} %")


class Progress:
    """An ASGI application that keeps what is told of each request while it is under way."""

    def __init__(self, app: AsgiApp) -> None:
        self._app = app
        self._under_way: set[_Request] = set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = _Request(str(scope.get(SESSION, "")), str(scope["path"]))
        self._under_way.add(request)
        _REQUEST.set(request)  # holds for this request's task, and the threads that it works in
        try:
            await self._app(scope, receive, send)
        finally:
            self._under_way.discard(request)

    def of(self, client: str) -> dict[str, str]:
        """What is told of a browser's requests, by their address."""
        return {one.path: one.said for one in list(self._under_way) if one.client == client and one.said}

    def put_on(self, server: PageServer) -> None:
        """Answer a page that asks how far its browser's requests are."""

        async def work() -> Response:
            visitor = VISITOR.get()
            return JSONResponse(self.of(visitor.id if visitor else ""))

        server.declare("GET", WORK, work, Cost.QUICK, changes=False)
