"""ASGI applications asked without a server, with a clock that is given."""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping
from typing import Any


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def told(application: Any, scope: dict[str, Any], *messages: dict[str, Any]) -> list[MutableMapping[str, Any]]:
    """What `application` answers to those messages; after them nothing comes any more."""
    answers: list[MutableMapping[str, Any]] = []
    coming = list(messages)

    async def receive() -> dict[str, Any]:
        if coming:
            return coming.pop(0)
        return await asyncio.get_running_loop().create_future()

    async def send(message: MutableMapping[str, Any]) -> None:
        answers.append(message)

    asyncio.run(application(scope, receive, send))
    return answers


async def everything(scope: Any, receive: Any, send: Any) -> None:
    body = (await receive()).get("body", b"") if scope["type"] == "http" else b""
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": body})
