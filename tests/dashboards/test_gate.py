"""Who may ask: DNS rebinding and pages from elsewhere must fail, for HTTP and for WebSockets."""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping
from typing import Any

import pytest

from dashboards.gate import Gate, is_allowed


def scope(kind: str = "http", **headers: str) -> dict[str, Any]:
    pairs = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    return {"type": kind, "path": "/", "headers": pairs}


@pytest.mark.parametrize("host", ["localhost", "localhost:8050", "127.0.0.1:8050", "[::1]:8050", "LOCALHOST:1"])
def test_this_machine_is_let_in(host: str) -> None:
    assert is_allowed(scope(host=host))
    assert is_allowed(scope(host=host, origin=f"http://{host}"))


@pytest.mark.parametrize(
    "host",
    [
        *("rebound.example:8050", "192.168.1.7:8050", "localhost.rebound.example", "127.0.0.1.rebound.example", ""),
        *("localhost@rebound.example", "rebound.example#localhost", "localhost:99999", "localhost:x", "[::1"),
        *("localhost/x", "localhost:8050?x", "127.0.0.1:8050, rebound.example", "user@localhost"),
    ],
)
def test_other_names_are_refused(host: str) -> None:
    assert not is_allowed(scope(host=host))


@pytest.mark.parametrize(
    "origin",
    [
        *("http://elsewhere.example", "null", "", "http://localhost:3000", "http://127.0.0.1:8050", "localhost:8050"),
        *("file://localhost:8050", "http://localhost:8050/x", "http://localhost:8050.elsewhere.example"),
    ],
)
def test_pages_from_elsewhere_are_refused(origin: str) -> None:
    assert not is_allowed(scope(host="localhost:8050", origin=origin))


def test_host_or_origin_given_twice_is_refused() -> None:
    twice = scope(host="localhost")
    twice["headers"].append((b"Host", b"localhost"))
    assert not is_allowed(twice)
    twice = scope(host="localhost", origin="http://localhost")
    twice["headers"].append((b"Origin", b"http://localhost"))
    assert not is_allowed(twice)
    assert not is_allowed(scope())


def through(one: dict[str, Any]) -> list[MutableMapping[str, Any]]:
    """What a client gets that connects through the gate to an application that lets everybody in."""
    answers: list[MutableMapping[str, Any]] = []

    async def application(_scope: Any, _receive: Any, send: Any) -> None:
        start = "websocket.accept" if one["type"] == "websocket" else "http.response.start"
        await send({"type": start, "status": 200, "headers": []})

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: MutableMapping[str, Any]) -> None:
        answers.append(message)

    asyncio.run(Gate(application)(one, receive, send))
    return answers


def test_the_gate_stands_before_http_and_websockets() -> None:
    assert through(scope("websocket", host="localhost"))[0]["type"] == "websocket.accept"
    assert through(scope("websocket", host="rebound.example"))[0] == {"type": "websocket.close", "code": 1008}
    passed, refused = through(scope(host="localhost"))[0], through(scope(host="rebound.example"))[0]
    assert (passed["status"], refused["status"]) == (200, 403)
    for answer in (passed, refused):
        assert b"default-src 'self'" in dict(answer["headers"])[b"content-security-policy"]
