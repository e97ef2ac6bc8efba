"""The live page by HTTP: the newest message for who cannot have the stream, and what the buttons do."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from dashboards.live.broadcaster import Broadcaster
from dashboards.web.page_server import Cost, PageServer
from host.errors import UserError

MAX_BODY = 2_000  # bytes of a button's request

# What a button asks for ("mark", "refill", "stop") with its fields, to a sentence for the person.
Teller = Callable[[str, dict[str, Any]], str]


def add_live_routes(server: PageServer, newest: Broadcaster, tell: Teller) -> None:
    """Put the live page's routes on the server that Dash runs on.

    `tell` is called off the event loop; it raises UserError with the sentence to show.
    """

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

    server.declare("GET", "/live/newest", poll, Cost.QUICK, changes=False)
    server.declare("POST", "/live/tell/{action}", button, Cost.QUICK, changes=True)


def _answer(status: int, sentence: str) -> Response:
    return JSONResponse({"ok": status == 200, "sentence": sentence}, status_code=status)


async def _limited_body(request: Request) -> bytes:
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MAX_BODY:
            raise ValueError("too long")
    return body
