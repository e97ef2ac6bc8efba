"""Package files (Plotly alone has 5 MB) compressed once, in a thread, and kept."""

from __future__ import annotations

import asyncio
import gzip
import hashlib
from collections import OrderedDict

from dashboards.web.asgi import AsgiApp, Message, Receive, Scope, Send, answer, header_values

PACKAGES = "/_dash-component-suites/"
MOST_KEPT = 16 << 20  # bytes of compressed files; all that the pages load are some 3 MB
_LEAST = 500  # bytes; less is not worth compressing


class Compression:
    """An ASGI application that compresses the files of packages, and keeps what it has compressed.

    They are kept by what they hold and not by their address, of which Dash takes any number for one file; when there
    are more than `most_kept` bytes, the ones used longest ago are forgotten. Other answers go through as they are.
    """

    def __init__(self, app: AsgiApp, most_kept: int = MOST_KEPT) -> None:
        self._app, self._most_kept = app, most_kept
        self._kept: OrderedDict[bytes, bytes] = OrderedDict()
        self._one_by_one = asyncio.Lock()

    @property
    def kept(self) -> int:
        """Bytes that are kept."""
        return sum(map(len, self._kept.values()))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or not scope["path"].startswith(PACKAGES):
            await self._app(scope, receive, send)
            return
        compresses = any("gzip" in value for value in header_values(scope, "accept-encoding"))
        plain = {**scope, "headers": [one for one in scope["headers"] if bytes(one[0]).lower() != b"accept-encoding"]}
        messages: list[Message] = []

        async def keep(message: Message) -> None:
            messages.append(message)

        async with self._one_by_one:  # each holds a whole file for a moment
            await self._app(plain, receive, keep)
            start, *rest = messages
            if start["status"] == 500:  # Dash fails on a package that there is not
                await answer(send, 404, "There is no such file.\n")
                return
            body = b"".join(message.get("body", b"") for message in rest)
            if compresses and start["status"] == 200 and len(body) >= _LEAST and scope["method"] == "GET":
                body = await self._compressed(body)
                others = [one for one in start["headers"] if bytes(one[0]).lower() not in {b"content-length", b"vary"}]
                about = [(b"content-encoding", b"gzip"), (b"vary", b"accept-encoding")]
                start = {**start, "headers": [*others, *about, (b"content-length", str(len(body)).encode())]}
        await send(start)
        await send({"type": "http.response.body", "body": body})

    async def _compressed(self, body: bytes) -> bytes:
        key = hashlib.sha256(body).digest()
        if key not in self._kept:
            self._kept[key] = await asyncio.to_thread(gzip.compress, body)
        self._kept.move_to_end(key)
        while self.kept > self._most_kept and len(self._kept) > 1:
            self._kept.popitem(last=False)
        return self._kept[key]
