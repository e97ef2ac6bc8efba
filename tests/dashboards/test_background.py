"""What is done beside the event loop, so that the live stream goes on."""

from __future__ import annotations

import asyncio
import contextvars
import gzip
import random
import threading
from typing import Any

import pytest

from dashboards.web.asgi import Message, Receive, Scope, Send
from dashboards.web.background import Sequential
from dashboards.web.compression import PACKAGES, Compression

SCRIPT = b"// a long script\n" * 1000
ASKED: contextvars.ContextVar[str] = contextvars.ContextVar("asked")


def test_a_plain_function_does_not_hold_up_the_loop() -> None:
    """It waits here for what only the loop can do: on the loop itself it would wait for ever."""
    let_go = threading.Event()

    async def both() -> tuple[bool, None]:
        async def meanwhile() -> None:
            let_go.set()

        return await asyncio.gather(Sequential()(lambda: let_go.wait(10))(), meanwhile())

    assert asyncio.run(both())[0]


def test_functions_come_one_after_another_each_with_what_it_was_asked() -> None:
    order: list[str] = []
    inside = threading.Lock()

    def function(name: str) -> str:
        assert inside.acquire(blocking=False), "two at once"
        order.append(name)
        inside.release()
        return name + ASKED.get()

    async def several() -> list[str]:
        beside = Sequential()(function)

        async def asking(name: str) -> str:
            ASKED.set(name.upper())
            return str(await beside(name))

        return await asyncio.gather(*(asking(name) for name in "abcdef"))

    assert asyncio.run(several()) == ["aA", "bB", "cC", "dD", "eE", "fF"]
    assert order == list("abcdef")


def test_an_error_comes_out_and_the_next_one_runs() -> None:
    async def one_after_the_other() -> int:
        beside = Sequential()
        with pytest.raises(ZeroDivisionError):
            await beside(lambda: 1 // 0)()
        return int(await beside(lambda: 7)())

    assert asyncio.run(one_after_the_other()) == 7


async def package(scope: Scope, receive: Receive, send: Send) -> None:
    """A server of one file, in two pieces; it would answer anybody who takes packed answers with an error."""
    assert not any(name == b"accept-encoding" for name, _ in scope["headers"]) or "plain" in scope["path"]
    unchanged = any(name == b"if-none-match" for name, _ in scope["headers"])
    headers = [(b"content-type", b"text/javascript"), (b"content-length", str(len(SCRIPT)).encode()), (b"etag", b"e")]
    await send({"type": "http.response.start", "status": 304 if unchanged else 200, "headers": headers[unchanged:]})
    if not unchanged:
        await send({"type": "http.response.body", "body": SCRIPT[:99], "more_body": True})
        await send({"type": "http.response.body", "body": SCRIPT[99:]})
    else:
        await send({"type": "http.response.body", "body": b""})


def ask(app: Compression, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
    scope: dict[str, Any] = {"type": "http", "method": "GET", "path": path}
    scope["headers"] = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    sent: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    got = {bytes(name).decode(): bytes(value).decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], got, b"".join(one["body"] for one in sent[1:])


def test_a_package_is_packed_whole_and_said_to_be() -> None:
    app = Compression(package)
    for _ in range(2):  # worked out, then kept
        status, headers, body = ask(app, PACKAGES + "plotly.js", accept_encoding="gzip, br")
        assert status == 200
        assert headers == {
            "content-type": "text/javascript",
            "content-length": str(len(body)),
            "etag": "e",
            "content-encoding": "gzip",
            "vary": "accept-encoding",
        }
        assert gzip.decompress(body) == SCRIPT


def test_what_is_not_to_be_packed_goes_through() -> None:
    app = Compression(package)
    assert ask(app, PACKAGES + "plotly.js")[2] == SCRIPT
    assert ask(app, "/plain", accept_encoding="gzip")[2] == SCRIPT
    status, headers, body = ask(app, PACKAGES + "plotly.js", accept_encoding="gzip", if_none_match="e")
    assert (status, body) == (304, b"") and "content-encoding" not in headers


def test_any_number_of_addresses_of_one_file_costs_its_bytes_once() -> None:
    """Dash takes any fingerprint in a name: what is kept goes by the bytes."""
    app = Compression(package)
    for number in range(100):
        ask(app, f"{PACKAGES}plotly.v{number}m{number}.js", accept_encoding="gzip")
    assert app.kept == len(gzip.compress(SCRIPT))


def test_what_is_kept_is_limited_and_the_oldest_goes() -> None:
    async def many(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": random.Random(scope["path"]).randbytes(10_000)})

    app = Compression(many, most_kept=50_000)
    for number in range(20):
        status, _, body = ask(app, f"{PACKAGES}{number}.js", accept_encoding="gzip")
        assert (status, len(gzip.decompress(body))) == (200, 10_000)
        assert app.kept <= 50_000


def test_a_package_that_there_is_not_is_not_found() -> None:
    async def failing(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 500, "headers": []})
        await send({"type": "http.response.body", "body": b"Internal Server Error"})

    assert ask(Compression(failing), PACKAGES + "anything/x")[0] == 404
