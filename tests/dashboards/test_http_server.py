"""The server ends at once, whoever is connected: it would wait for them, and hold up the computer's shutdown."""

from __future__ import annotations

import asyncio
import socket
import threading
from typing import Any

from dashboards.web.http_server import HttpServer

MOST = 5_000_000  # bytes of an answer that nobody takes: more than the system keeps for a connection


async def _app(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": bytes(MOST)})
    else:
        while (await receive())["type"] != "lifespan.shutdown":
            await send({"type": "lifespan.startup.complete"})
        await send({"type": "lifespan.shutdown.complete"})


def test_it_ends_at_once_whatever_is_connected() -> None:
    """One has asked and takes nothing, one comes while it ends; both are let go."""
    begun, gone = threading.Event(), threading.Semaphore(0)
    server = HttpServer(_app, begun.set)
    end = threading.Event()

    async def serve() -> None:
        serving = asyncio.create_task(server.serve())
        await asyncio.to_thread(end.wait)
        server.should_exit = True
        server.take(late, gone.release)
        await serving

    thread = threading.Thread(target=asyncio.run, args=(serve(),))
    (ours, theirs), (after, late) = socket.socketpair(), socket.socketpair()
    with ours, theirs, after, late:
        thread.start()
        assert begun.wait(60)
        server.take(theirs, gone.release)
        ours.sendall(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n")
        assert ours.recv(1)
        end.set()
        thread.join(60)
        assert not thread.is_alive()
        assert gone.acquire(timeout=60)
        assert gone.acquire(timeout=60)
