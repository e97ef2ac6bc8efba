"""Limits on bodies, requests, exports and lines on the terminal, without a server."""

from __future__ import annotations

import asyncio
import logging
from typing import Any

from dashboards.web.busy_limit import BusyLimit
from dashboards.web.limited_log import BURST, LimitedLog
from dashboards.web.rate_limit import RateLimit, retry_after
from dashboards.web.size_limits import SizeLimits
from tests.dashboards.asked import Clock, everything, told


def test_a_rate_limit_fills_again_at_its_pace_and_forgets() -> None:
    clock = Clock()
    tries = RateLimit(3, 10.0, clock=clock, most_keys=50)
    assert [tries.take("a") for _ in range(3)] == [0, 0, 0]
    assert tries.take("a") == 10.0
    assert tries.wait_s("a") == 10.0, "looking costs nothing"
    assert tries.take("b") == 0
    clock.now += 4
    assert tries.take("a") == 6.0
    clock.now += 6
    assert tries.take("a") == 0
    assert tries.take("a") == 10.0
    for number in range(1000):
        tries.take(f"other {number}")
    assert len(tries) <= 50
    clock.now += 1000
    tries.take("c")
    assert len(tries) == 1
    assert retry_after(0.2) == (b"retry-after", b"1")
    assert retry_after(29.1) == (b"retry-after", b"30")


def test_bodies_are_limited_however_they_come() -> None:
    bounds = SizeLimits(everything, most_body=1000, body_timeout_s=0.05)
    scope = {"type": "http", "method": "POST", "path": "/", "headers": [], "client": ("127.0.0.1", 1)}

    def piece(size: int, more: bool) -> dict[str, Any]:
        return {"type": "http.request", "body": b"x" * size, "more_body": more}

    assert told(bounds, scope, piece(500, True), piece(500, False))[1]["body"] == b"x" * 1000
    assert told(bounds, scope, piece(500, True), piece(501, True))[0]["status"] == 413
    assert told(bounds, {**scope, "headers": [(b"content-length", b"1001")]})[0]["status"] == 413, "before it comes"
    assert told(bounds, {**scope, "headers": [(b"content-length", b"-1")]})[0]["status"] == 413
    assert told(bounds, scope, piece(500, True))[0]["status"] == 408
    assert told(bounds, scope, piece(5, True), {"type": "http.disconnect"})[1]["body"] == b"", "for nobody"


def test_requests_under_way_are_few_for_each_browser() -> None:
    """The third waits for room and gets 503; somebody else's goes through meanwhile."""
    go_on = asyncio.Event()

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        await go_on.wait()
        await everything(scope, receive, send)

    async def three_and_one() -> list[int]:
        limits = SizeLimits(slow, most=10, most_each=2, room_s=0.05)
        mine = [asyncio.create_task(status_of(limits, "192.168.1.9")) for _ in range(3)]
        done, _ = await asyncio.wait(mine, return_when=asyncio.FIRST_COMPLETED)
        first = [task.result() for task in done]
        other = asyncio.create_task(status_of(limits, "192.168.1.10"))
        go_on.set()
        return [*first, await other, *sorted([await task for task in mine])]

    assert asyncio.run(three_and_one()) == [503, 200, 200, 200, 503]


def test_a_large_answer_is_handed_over_in_pieces() -> None:
    async def large(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": bytes(200_000)})

    scope = {"type": "http", "method": "GET", "path": "/", "headers": [], "client": ("127.0.0.1", 1)}
    _, *bodies = told(SizeLimits(large), scope, {"type": "http.request", "body": b""})
    assert [len(one["body"]) for one in bodies] == [65_536, 65_536, 65_536, 3_392]
    assert [one["more_body"] for one in bodies] == [True, True, True, False]


async def status_of(application: Any, client: str, path: str = "/") -> int:
    answers: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        answers.append(message)

    scope = {"type": "http", "method": "GET", "path": path, "headers": [], "client": (client, 1)}
    await application(scope, receive, send)
    return int(answers[0]["status"])


def test_exports_are_made_two_at_a_time_and_one_for_each_browser() -> None:
    go_on = asyncio.Event()

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        if scope["path"] == "/export":
            await go_on.wait()
        await everything(scope, receive, send)

    async def several() -> tuple[list[int], list[int]]:
        busy = BusyLimit(slow, ["/export"], most=2, wait_s=0.05)
        made = [asyncio.create_task(status_of(busy, client, "/export")) for client in ("a", "b")]
        await asyncio.sleep(0)
        refused = [await status_of(busy, client, "/export") for client in ("a", "c")]
        refused.append(await status_of(busy, "c", "/plain"))
        go_on.set()
        return refused, [*await asyncio.gather(*made), await status_of(busy, "c", "/export")]

    assert asyncio.run(several()) == ([429, 429, 200], [200, 200, 200])


def test_libraries_get_few_lines_on_the_terminal_and_no_escapes() -> None:
    clock, said = Clock(), []
    log = LimitedLog(said.append, clock)
    for number in range(300):
        log.handle(logging.LogRecord("x", logging.WARNING, "", 0, f"bad \x1b[2J {number}\nrequest", None, None))
    assert len(said) == BURST
    assert all(line.isprintable() for line in said)
    clock.now += 60
    try:
        raise ValueError("inside")
    except ValueError as error:
        log.handle(
            logging.LogRecord("x", logging.ERROR, "", 0, "failed", None, (ValueError, error, error.__traceback__))
        )
    assert said[-1].startswith("Page server: failed: ValueError: inside, test_web_limits.py line ")
    assert said[-1].endswith(f"({300 - BURST} more messages left out)")
