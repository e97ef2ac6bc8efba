"""Package files (Plotly alone has 5 MB) compressed once, in a thread, and cached."""

from __future__ import annotations

import asyncio
import gzip

from dashboards.web.asgi import AsgiApp, Message, Receive, Scope, Send, header_values

PACKAGES = "/_dash-component-suites/"
_LEAST = 500  # bytes; less is not worth compressing


class Compression:
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
