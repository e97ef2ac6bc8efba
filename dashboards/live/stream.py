"""The live stream: a thread, an event loop and a WebSocket server of its own, so that no page can hold it up.

The contract is strict. The server sends messages, no more than AHEAD of which are under way to a screen; the screen
answers each with one short frame. A screen that sends more frames than it was sent, or a long one, is cut off at once,
and what it sends is read in small pieces: 200,000 empty frames cost the other screens nothing.
"""

from __future__ import annotations

import asyncio
import socket
import threading
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from typing import Any

from websockets.frames import Frame
from websockets.http11 import Request
from websockets.protocol import OPEN
from websockets.server import ServerProtocol

from dashboards.live.broadcaster import Broadcaster
from dashboards.web.asgi import Scope

PATH = "/live/stream"
AHEAD = 3  # messages under way to a screen
MISSED = 6  # reports, 0.3 s of them at 50 ms; the trace has a point each 0.2 s
SEND_TIMEOUT_S = 2.0  # a screen that takes longer has lost its connection: it comes back by itself
TAKE_TIMEOUT_S = 10.0
REPEAT_S = 1.0  # without news the newest message is sent again, so that a screen can tell a dead line from no news
MOST = 64  # screens
MOST_EACH = 24  # of one browser; a phone that lost its line may leave a few behind for ten seconds
_PIECE = 512  # bytes read at once: some 80 frames without content
_LONGEST = 64  # bytes of a frame from the screen
_UNREAD = 16_384  # bytes that wait to be sent before the screen counts as slow
_PINGS = 8  # frames of the protocol itself (ping, pong) that a screen may be ahead with

# Who asks, when they may: a name for the session, or None.
Admit = Callable[[Scope], str | None]


class StreamServer:
    """Serves the stream on connections that `take` is given, to sessions that `admit` names while they `holds`."""

    def __init__(
        self,
        broadcaster: Broadcaster,
        admit: Admit,
        holds: Callable[[str], bool],
        *,
        most: int = MOST,
        most_each: int = MOST_EACH,
    ) -> None:
        self._broadcaster, self._admit, self._holds = broadcaster, admit, holds
        self._most, self._most_each = most, most_each
        self._loop = asyncio.new_event_loop()
        self._screens: dict[Screen, str] = {}
        self._thread = threading.Thread(target=self._run, name="live stream", daemon=True)

    def start(self) -> None:
        """Serve from now on, until `close`."""
        self._thread.start()

    def close(self) -> None:
        """Cut all screens off."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def take(self, connection: socket.socket, ended: Callable[[], None]) -> None:
        """Serve a connection; from any thread."""
        try:
            asyncio.run_coroutine_threadsafe(self._begin(connection, ended), self._loop)
        except RuntimeError:  # the loop has ended
            connection.close()
            ended()

    def _run(self) -> None:
        self._loop.run_forever()
        for screen in list(self._screens):
            screen.abort()
        with suppress(RuntimeError):
            pending = asyncio.all_tasks(self._loop)
            for task in pending:
                task.cancel()
            self._loop.run_until_complete(asyncio.gather(*pending, return_exceptions=True))
        self._loop.close()

    async def _begin(self, connection: socket.socket, ended: Callable[[], None]) -> None:
        try:
            await self._loop.connect_accepted_socket(lambda: Screen(self, ended), connection)
        except OSError:  # gone in the meantime
            connection.close()
            ended()

    def accept(self, screen: Screen, scope: Scope) -> HTTPStatus:
        """Whether a screen gets the stream: 101, or why not."""
        if scope["path"] != PATH:
            return HTTPStatus.NOT_FOUND
        name = self._admit(scope)
        if name is None:
            return HTTPStatus.FORBIDDEN
        by_session = Counter(self._screens.values())
        if len(self._screens) >= self._most or by_session[name] >= self._most_each:
            return HTTPStatus.FORBIDDEN
        self._screens[screen] = name
        return HTTPStatus.SWITCHING_PROTOCOLS

    def gone(self, screen: Screen) -> None:
        """A connection has ended."""
        self._screens.pop(screen, None)

    async def feed(self, screen: Screen) -> None:
        """Send the newest message whenever there is a newer one.

        The trace of the last minute goes with the first, and again when the screen has missed more than MISSED.
        """
        mailbox = self._broadcaster.open_mailbox()
        sent = None
        try:
            while True:
                await asyncio.wait_for(screen.room.acquire(), TAKE_TIMEOUT_S)
                await mailbox.wait(REPEAT_S)
                name = self._screens.get(screen)  # None: the connection has just ended
                if name is None or not self._holds(name):  # turned out, or a day is over
                    raise TimeoutError
                seq = self._broadcaster.seq
                await screen.send(self._broadcaster.message(with_trace=sent is None or seq - sent > MISSED))
                sent = seq
        except TimeoutError:
            screen.abort()
        finally:
            self._broadcaster.close_mailbox(mailbox)


class Screen(asyncio.BufferedProtocol):
    """One connection: the handshake, messages out, acknowledgements in."""

    def __init__(self, server: StreamServer, ended: Callable[[], None]) -> None:
        self._server, self._ended = server, ended
        self._protocol = ServerProtocol(max_size=_LONGEST)
        self._buffer = bytearray(_PIECE)
        self._transport: Any = None
        self._feeding: asyncio.Task[None] | None = None
        self._writable = asyncio.Event()
        self._writable.set()
        self.room = asyncio.Semaphore(AHEAD)
        self._sent = self._taken = self._pings = 0

    def connection_made(self, transport: Any) -> None:
        """The connection is there, with its request."""
        self._transport = transport
        transport.set_write_buffer_limits(high=_UNREAD)

    def connection_lost(self, _: Exception | None) -> None:
        """The connection is gone."""
        if self._feeding:
            self._feeding.cancel()
        self._writable.set()
        self._server.gone(self)
        self._ended()

    def get_buffer(self, _: int) -> bytearray:
        """Where the next bytes go."""
        return self._buffer

    def buffer_updated(self, count: int) -> None:
        """Bytes have come."""
        self._protocol.receive_data(bytes(self._buffer[:count]))
        for event in self._protocol.events_received():
            if isinstance(event, Request):
                self._answer(event)
            elif isinstance(event, Frame):
                self._count(event)
        self._flush()

    def eof_received(self) -> None:
        """The screen has closed its side."""
        self.abort()

    def pause_writing(self) -> None:
        """The screen takes no more for now."""
        self._writable.clear()

    def resume_writing(self) -> None:
        """The screen takes more."""
        self._writable.set()

    def abort(self) -> None:
        """Cut the screen off; it comes back by itself."""
        self._transport.abort()

    async def send(self, text: str) -> None:
        """Send a message. Raises TimeoutError when the screen does not take what was sent before."""
        await asyncio.wait_for(self._writable.wait(), SEND_TIMEOUT_S)
        if self._protocol.state is not OPEN:
            raise TimeoutError
        self._sent += 1
        self._protocol.send_text(text.encode())
        self._flush()

    def _answer(self, request: Request) -> None:
        path, _, query = request.path.partition("?")
        scope: Scope = {
            "type": "websocket",
            "path": path,
            "query_string": query.encode(),
            "headers": [(k.lower().encode(), v.encode("latin-1", "replace")) for k, v in request.headers.raw_items()],
            "client": self._transport.get_extra_info("peername"),
            "server": self._transport.get_extra_info("sockname"),
        }
        status = self._server.accept(self, scope)
        if status is HTTPStatus.SWITCHING_PROTOCOLS:
            response = self._protocol.accept(request)
            self._protocol.send_response(response)
            if response.status_code == status:
                self._feeding = asyncio.get_running_loop().create_task(self._server.feed(self))
        else:
            self._protocol.send_response(self._protocol.reject(status, "Refused.\n"))

    def _count(self, frame: Frame) -> None:
        """Each message may be acknowledged once."""
        if frame.opcode.value < 8:
            self._taken += 1
            self.room.release()
        else:
            self._pings += 1
        if self._taken > self._sent or self._pings > self._sent + _PINGS:
            self.abort()

    def _flush(self) -> None:
        for data in self._protocol.data_to_send():
            if data:
                self._transport.write(data)
            elif self._transport.can_write_eof():
                self._transport.close()
