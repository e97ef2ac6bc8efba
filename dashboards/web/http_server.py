"""uvicorn, given its connections one by one (see reception.py), with time limits for what a browser leaves undone."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Callable
from typing import Any

import uvicorn
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from dashboards.web.asgi import AsgiApp

NEXT_REQUEST_S = 10.0  # for the head of a second request, once it has begun
STALLED_S = 20.0  # an answer of which nothing is taken for so long is broken off


class HttpConnection(HttpToolsProtocol):
    """One connection. `ended` is called when it is gone."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.ended: Callable[[], None] = lambda: None
        self._half_done: asyncio.TimerHandle | None = None
        self._stalled: asyncio.TimerHandle | None = None

    def connection_lost(self, exc: Exception | None) -> None:
        """The connection is gone."""
        for timer in (self._half_done, self._stalled):
            if timer:
                timer.cancel()
        super().connection_lost(exc)
        self.ended()

    def data_received(self, data: bytes) -> None:
        """Bytes of a request."""
        idle = self.cycle is None or self.cycle.response_complete
        if idle and self._half_done is None:
            self._half_done = self.loop.call_later(NEXT_REQUEST_S, self.transport.abort)
        super().data_received(data)

    def on_headers_complete(self) -> None:
        """The head of a request is there."""
        if self._half_done:
            self._half_done.cancel()
            self._half_done = None
        super().on_headers_complete()

    def pause_writing(self) -> None:
        """The browser takes no more for now."""
        super().pause_writing()
        self._stalled = self.loop.call_later(STALLED_S, self.transport.abort)

    def resume_writing(self) -> None:
        """The browser takes more."""
        if self._stalled:
            self._stalled.cancel()
        super().resume_writing()


class HttpServer(uvicorn.Server):
    """Serves `app` on connections that `take` is given; `run` returns when the process is told to end."""

    def __init__(self, app: AsgiApp, started: Callable[[], None]) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                http=HttpConnection,
                ws="none",  # the live stream has a server of its own (live/stream.py); there is no other WebSocket
                log_config=None,  # see limited_log.py
                log_level="warning",
                access_log=False,
                server_header=False,
                proxy_headers=False,  # or whoever comes through this machine could say to be somebody else
                timeout_graceful_shutdown=1,
            )
        )
        self._on_started = started
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start without a listener."""
        await super().startup(sockets=[])
        self._loop = asyncio.get_running_loop()
        threading.Thread(target=self._on_started, name="start", daemon=True).start()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End in good order, and break off what is left then: the loop would not close before those who are connected
        go."""
        await super().shutdown(sockets)
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for connection in list(self.server_state.connections):
            connection.transport.abort()

    def take(self, connection: socket.socket, ended: Callable[[], None]) -> None:
        """Serve a connection; from any thread."""
        assert self._loop is not None  # nobody is let in before `started`
        try:
            self._loop.call_soon_threadsafe(self._begin, connection, ended)
        except RuntimeError:  # the loop has ended
            connection.close()
            ended()

    def _begin(self, connection: socket.socket, ended: Callable[[], None]) -> None:
        if self.should_exit:
            connection.close()
            ended()
            return
        task = asyncio.get_running_loop().create_task(self._serve_one(connection, ended))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _serve_one(self, connection: socket.socket, ended: Callable[[], None]) -> None:
        def protocol() -> HttpConnection:
            made = HttpConnection(config=self.config, server_state=self.server_state, app_state=self.lifespan.state)
            made.ended = ended
            return made

        try:
            await asyncio.get_running_loop().connect_accepted_socket(protocol, connection)
        except OSError:  # gone in the meantime
            connection.close()
            ended()
