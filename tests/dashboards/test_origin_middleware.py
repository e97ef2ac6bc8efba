"""Who may ask: DNS rebinding and pages from elsewhere must fail, for HTTP and for WebSockets."""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping
from typing import Any

import pytest

from dashboards.web.origin_middleware import LOOPBACK_NAMES, OriginMiddleware, is_allowed, safe_headers


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
    """What a client gets through the middleware from an application that lets everybody in."""
    answers: list[MutableMapping[str, Any]] = []

    async def application(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "http.request"}

    async def send(message: MutableMapping[str, Any]) -> None:
        answers.append(message)

    asyncio.run(OriginMiddleware(application)(one, receive, send))
    return answers


def test_every_answer_has_the_safe_headers() -> None:
    passed, refused = through(scope(host="localhost"))[0], through(scope(host="rebound.example"))[0]
    assert (passed["status"], refused["status"]) == (200, 403)
    for answer in (passed, refused):
        assert b"default-src 'self'" in dict(answer["headers"])[b"content-security-policy"]


@pytest.mark.parametrize(
    ("site", "mode", "dest", "allowed"),
    [
        *(("same-origin", "cors", "empty", True), ("none", "navigate", "document", True)),
        ("cross-site", "navigate", "document", True),  # a link that somebody follows, such as the QR code's
        *(("cross-site", "no-cors", "script", False), ("cross-site", "no-cors", "empty", False)),
        *(("cross-site", "navigate", "iframe", False), ("same-site", "no-cors", "image", False)),
        *(("cross-site", "websocket", "websocket", False), ("same-site", "cors", "empty", False)),
    ],
)
def test_pages_from_elsewhere_load_nothing(site: str, mode: str, dest: str, allowed: bool) -> None:
    """What each kind of request says of itself: Fetch Metadata Request Headers, W3C Working Draft."""
    asked = scope(host="localhost", sec_fetch_site=site, sec_fetch_mode=mode, sec_fetch_dest=dest) | {"method": "GET"}
    assert is_allowed(asked) is allowed
    if site != "same-origin":
        assert not is_allowed(asked | {"method": "POST"}) or site == "none"


def shared(client: str = "192.168.1.20", server: str = "192.168.1.7", **headers: str) -> dict[str, Any]:
    return {**scope(**headers), "method": "GET", "client": (client, 50000), "server": (server, 8050)}


def let_in(one: dict[str, Any]) -> bool:
    return is_allowed(one, LOOPBACK_NAMES | {"mower", "mower.local"}, shared=True)


@pytest.mark.parametrize("host", ["192.168.1.7:8050", "mower:8050", "Mower.Local:8050", "127.0.0.1:8050"])
def test_a_shared_page_goes_by_its_address_and_names(host: str) -> None:
    assert let_in(shared(host=host))
    assert let_in({**shared(host=host, origin=f"http://{host}"), "method": "POST"})
    assert not is_allowed(shared(host="192.168.1.7:8050")), "one that is not shared does not"


@pytest.mark.parametrize(
    "host", ["192.168.1.7", "192.168.1.7:80", "192.168.1.8:8050", "rebound.example:8050", "mower.example:8050"]
)
def test_a_shared_page_has_no_other_name_or_port(host: str) -> None:
    assert not let_in(shared(host=host))


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_what_changes_something_on_a_shared_page_names_its_origin(method: str) -> None:
    assert not let_in({**shared(host="mower:8050"), "method": method})
    assert not let_in({**shared(host="mower:8050", origin="http://mower"), "method": method})
    assert let_in({**shared(host="mower:8050", origin="http://mower:8050"), "method": method})
    assert not let_in({**shared(host="mower:8050"), "type": "websocket"})


@pytest.mark.parametrize(
    ("client", "near"),
    [
        *(("10.0.0.9", True), ("172.16.3.4", True), ("192.168.43.1", True), ("127.0.0.1", True)),  # RFC 1918, RFC 1122
        *(("172.32.0.1", False), ("8.8.8.8", False), ("100.64.0.1", False), ("", False), ("testclient", False)),
    ],
)
def test_only_private_networks_are_answered(client: str, near: bool) -> None:
    assert let_in(shared(client=client, host="192.168.1.7:8050")) is near


def test_headers_let_no_script_in_and_nothing_out() -> None:
    headers = dict(safe_headers(["'sha256-abc='"]))
    policy = dict(part.strip().split(" ", 1) for part in headers[b"content-security-policy"].decode().split(";"))
    assert policy["script-src"] == "'self' 'sha256-abc='"
    assert policy["default-src"] == policy["connect-src"] == policy["form-action"] == "'self'"
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert headers[b"cross-origin-opener-policy"] == b"same-origin"
    assert headers[b"x-content-type-options"] == b"nosniff"
    assert headers[b"referrer-policy"] == b"same-origin"
    assert b"screen-wake-lock=(self)" in headers[b"permissions-policy"]
    assert b"camera=()" in headers[b"permissions-policy"]
