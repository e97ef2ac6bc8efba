"""The addresses of the live page: the stream, the same by polling, and what the buttons do."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from fastapi import FastAPI, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse
from starlette.websockets import WebSocket, WebSocketDisconnect

from dashboards.live.broadcaster import Broadcaster, Mailbox
from host.errors import UserError

AHEAD = 3  # messages under way to a screen
MISSED = 3
SEND_TIMEOUT_S = 2.0  # a screen that takes longer has lost its connection: it comes back by itself
TAKE_TIMEOUT_S = 10.0
REPEAT_S = 1.0  # without news the newest message is sent again, so that a screen can tell a dead line from no news
MAX_BODY = 2_000  # bytes of a button's request

# What a button asks for ("mark", "refill", "stop") with its fields, to a sentence for the person.
Teller = Callable[[str, dict[str, Any]], str]


def add_live_routes(server: FastAPI, newest: Broadcaster, tell: Teller) -> None:
    """Put the live page's routes on the server that Dash runs on.

    `tell` is called off the event loop; it raises UserError with the sentence to show.
    """

    async def stream(socket: WebSocket) -> None:
        await socket.accept()
        mailbox = newest.open_mailbox()
        taken = asyncio.Semaphore(AHEAD)
        sender = asyncio.create_task(_send_newest(socket, newest, mailbox, taken))
        try:
            while (await socket.receive())["type"] != "websocket.disconnect":
                taken.release()  # whatever the page sends says that it has taken one message
        finally:
            newest.close_mailbox(mailbox)
            sender.cancel()
            with suppress(asyncio.CancelledError):
                await sender

    async def poll(trace: bool = True) -> Response:
        text = newest.message(with_trace=trace)
        return Response(text, media_type="application/json", headers={"cache-control": "no-store"})

    async def button(request: Request, action: str) -> Response:
        if request.headers.get("content-type", "").split(";")[0] != "application/json":
            return _answer(415, "send JSON")
        try:
            fields = json.loads(await _limited_body(request))
            if not isinstance(fields, dict):
                raise ValueError
        except (ValueError, RecursionError):
            return _answer(400, "send one JSON object of at most 2000 bytes")
        try:
            return _answer(200, await run_in_threadpool(tell, action, fields))
        except UserError as error:
            return _answer(409, str(error))

    server.add_api_websocket_route("/live/stream", stream)
    server.add_api_route("/live/newest", poll, methods=["GET"], include_in_schema=False)
    server.add_api_route("/live/tell/{action}", button, methods=["POST"], include_in_schema=False)


def _answer(status: int, sentence: str) -> Response:
    return JSONResponse({"ok": status == 200, "sentence": sentence}, status_code=status)


async def _limited_body(request: Request) -> bytes:
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MAX_BODY:
            raise ValueError("too long")
    return body


async def _send_newest(socket: WebSocket, newest: Broadcaster, mailbox: Mailbox, taken: asyncio.Semaphore) -> None:
    """Send the newest message whenever there is a newer one.

    The trace of the last minute goes with the first, and again when the screen has missed more than MISSED messages.

    No more than AHEAD messages are under way: a slow line would otherwise fill with numbers that are old on arrival.
    """
    sent = None
    try:
        while True:
            await asyncio.wait_for(taken.acquire(), TAKE_TIMEOUT_S)
            await mailbox.wait(REPEAT_S)
            seq = newest.seq
            text = newest.message(with_trace=sent is None or seq - sent > MISSED)
            await asyncio.wait_for(socket.send_text(text), SEND_TIMEOUT_S)
            sent = seq
    except TimeoutError:
        with suppress(Exception):  # it may be closed already, or never take the closing either
            await asyncio.wait_for(socket.close(1013), 0.1)
    except (WebSocketDisconnect, RuntimeError):
        return  # gone: the receiving side ends the route
