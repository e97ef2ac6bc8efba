"""What takes long, done beside the event loop: it carries the live stream, and no screen may make another one wait."""

from __future__ import annotations

import asyncio
import contextvars
import functools
import gzip
import inspect
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from dashboards.web.asgi import AsgiApp, Message, Receive, Scope, Send, header_values

PACKAGES = "/_dash-component-suites/"
_LEAST = 500  # bytes; less is not worth packing


class OneByOne:
    """Turns plain functions into coroutines that run them in one thread, one after another, as the loop would have."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="answers")

    def __call__(self, function: Callable[..., Any]) -> Callable[..., Awaitable[Any]]:
        """The function as a coroutine; one that is a coroutine already stays as it is."""
        if inspect.iscoroutinefunction(function):
            return function

        @functools.wraps(function)
        async def beside(*args: Any, **kwargs: Any) -> Any:
            inside = contextvars.copy_context()  # Dash keeps there what the callback is asked for
            call = functools.partial(inside.run, function, *args, **kwargs)
            return await asyncio.get_running_loop().run_in_executor(self._thread, call)

        return beside


class Packed:
    """An ASGI application that packs the files of packages (Plotly alone has 5 MB) once, in a thread, and keeps them.

    They do not change while the server runs. Other answers go through as they are.
    """

    def __init__(self, app: AsgiApp) -> None:
        self._app = app
        self._kept: dict[str, bytes] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection."""
        packs = any("gzip" in value for value in header_values(scope, "accept-encoding"))
        if scope["type"] != "http" or not scope["path"].startswith(PACKAGES) or not packs:
            await self._app(scope, receive, send)
            return
        plain = {**scope, "headers": [one for one in scope["headers"] if bytes(one[0]).lower() != b"accept-encoding"]}
        messages: list[Message] = []

        async def keep(message: Message) -> None:
            messages.append(message)

        await self._app(plain, receive, keep)
        start, *rest = messages
        body = b"".join(message.get("body", b"") for message in rest)
        if start["status"] == 200 and len(body) >= _LEAST and scope["method"] == "GET":
            body = await self._packed(scope["path"], body)
            others = [one for one in start["headers"] if bytes(one[0]).lower() not in {b"content-length", b"vary"}]
            packed = [(b"content-encoding", b"gzip"), (b"vary", b"accept-encoding")]
            start = {**start, "headers": [*others, *packed, (b"content-length", str(len(body)).encode())]}
        await send(start)
        await send({"type": "http.response.body", "body": body})

    async def _packed(self, path: str, body: bytes) -> bytes:
        if path not in self._kept:
            self._kept[path] = await asyncio.to_thread(gzip.compress, body)
        return self._kept[path]
