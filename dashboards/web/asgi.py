"""What the layers in front of the server have in common: the types of ASGI, headers read, short answers given."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]


def header_values(scope: Scope, name: str) -> list[str]:
    """Every value of a header, in order; `name` in lower case."""
    wanted = name.encode()
    return [bytes(value).decode("latin-1") for key, value in scope.get("headers", []) if bytes(key).lower() == wanted]


def client_address(scope: Scope) -> str:
    """The address that the connection comes from; empty when it is not known."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def cookies(scope: Scope, name: str) -> Iterator[str]:
    """The values of the cookies of that name, in the order of the request."""
    for header in header_values(scope, "cookie"):
        for pair in header.split(";"):
            found, _, value = pair.strip().partition("=")
            if found == name:
                yield value


async def answer(send: Send, status: int, text: str, headers: Headers | None = None, kind: str = "text/plain") -> None:
    """A whole HTTP answer that may not be kept."""
    body = text.encode()
    about = [
        (b"content-type", f"{kind}; charset=utf-8".encode()),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *(headers or []),
    ]
    await send({"type": "http.response.start", "status": status, "headers": about})
    await send({"type": "http.response.body", "body": body})


class BodyTooLargeError(Exception):
    """A body has more bytes than it may have."""


async def whole_body(receive: Receive, most: int) -> bytes:
    """The body of a request, empty when the client has gone. Raises BodyTooLargeError for more than `most` bytes."""
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return b""
        body += message.get("body", b"")
        if len(body) > most:
            raise BodyTooLargeError
        if not message.get("more_body", False):
            return bytes(body)


def replayed(message: Message, receive: Receive) -> Receive:
    """`receive` with a message in front of it that was taken from it before."""
    pending = [message]

    async def again() -> Message:
        return pending.pop() if pending else await receive()

    return again
