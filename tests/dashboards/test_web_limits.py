"""Limits on bodies, requests, exports and lines on the terminal, without a server."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from functools import partial
from typing import Any

from dashboards.web import progress
from dashboards.web.limited_log import BURST, LimitedLog
from dashboards.web.long_work import LongWork
from dashboards.web.page_server import Cost, Rules
from dashboards.web.progress import Progress
from dashboards.web.rate_limit import RateLimit, retry_after
from dashboards.web.size_limits import MOST_BODY, SESSION, SizeLimits
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
        limits = SizeLimits(slow, most_each=2, room_s=0.05)
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


def _long_at(path: str) -> Callable[[Any], Rules | None]:
    return lambda scope: Rules(Cost.LONG, changes=False) if scope["path"] == path else None


def test_exports_are_made_two_at_a_time_and_one_of_each_browser_waits() -> None:
    """A third browser waits its turn; whoever wants more at once, or finds too many waiting, is told to come again."""
    go_on, order = asyncio.Event(), []

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        if scope["path"] == "/export":
            order.append(scope["client"][0])
            await go_on.wait()
        await everything(scope, receive, send)

    async def several() -> tuple[list[int], list[int], list[str]]:
        work = LongWork(slow, _long_at("/export"), most=2, most_waiting=2, wait_s=30.0, held_s=0.0)
        begun = [asyncio.create_task(status_of(work, client, "/export")) for client in ("a", "b", "a", "c")]
        while len(order) < 2:
            await asyncio.sleep(0)
        for _ in range(10):  # the others come to where they wait
            await asyncio.sleep(0)
        refused = [await status_of(work, client, "/export") for client in ("a", "c", "d")]
        refused.append(await status_of(work, "d", "/plain"))
        assert order == ["a", "b"]
        go_on.set()
        return refused, list(await asyncio.gather(*begun)), sorted(order)

    assert asyncio.run(several()) == ([429, 429, 429, 200], [200, 200, 200, 200], ["a", "a", "b", "c"])


async def _status_beside(work: LongWork, under_way: tuple[str, str], asked: tuple[str, str]) -> int:
    """What a request is answered while another one, of a browser for an address each, does not come to its end."""
    first = asyncio.create_task(status_of(work, *under_way))
    await asyncio.sleep(0)
    status = await status_of(work, *asked)
    first.cancel()
    return status


def test_a_body_that_is_sent_slowly_holds_up_no_export() -> None:
    async def slow(scope: Any, receive: Any, send: Any) -> None:
        if scope["path"] == "/sent":
            await asyncio.Event().wait()
        await everything(scope, receive, send)

    costs = {"/sent": Cost.LARGE, "/export": Cost.LONG}
    work = LongWork(slow, lambda scope: Rules(costs[scope["path"]], changes=False), most=1, wait_s=0.01)
    assert asyncio.run(_status_beside(work, ("a", "/sent"), ("a", "/export"))) == 200


def test_who_waits_too_long_for_its_turn_is_told_to_come_again() -> None:
    async def never(scope: Any, receive: Any, send: Any) -> None:
        await asyncio.Event().wait()

    work = LongWork(never, _long_at("/export"), most=1, wait_s=0.01)
    assert asyncio.run(_status_beside(work, ("a", "/export"), ("b", "/export"))) == 429


def test_a_browser_sees_how_far_its_own_work_is_and_no_other() -> None:
    begun, go_on = asyncio.Event(), asyncio.Event()

    async def working(scope: Any, receive: Any, send: Any) -> None:
        progress.tell_part(30, 90)
        begun.set()
        await go_on.wait()
        await everything(scope, receive, send)

    async def one() -> tuple[dict[str, str], dict[str, str], dict[str, str]]:
        kept = Progress(working)
        scope = {"type": "http", "method": "GET", "path": "/export", "headers": [], SESSION: "mine"}
        task = asyncio.create_task(kept(scope, _nothing, _ignored))
        await begun.wait()
        mine, others = kept.of("mine"), kept.of("other")
        go_on.set()
        await task
        return mine, others, kept.of("mine")

    assert asyncio.run(one()) == ({"/export": "33 %"}, {}, {})
    progress.tell("outside of any request nothing is told")


async def _nothing() -> dict[str, Any]:
    return {"type": "http.request", "body": b""}


async def _ignored(_: Any) -> None:
    return


def test_a_large_body_reaches_only_addresses_that_say_so() -> None:
    async def pieces(scope: Any, receive: Any, send: Any) -> None:
        body, more = b"", True
        while more:
            message = await receive()
            body, more = body + message["body"], message.get("more_body", False)
        await everything(scope, partial(_given, body), send)

    limits = SizeLimits(pieces, lambda scope: Rules(Cost.LARGE, changes=True) if scope["path"] == "/sent" else None)
    scope = {"type": "http", "method": "POST", "path": "/sent", "headers": [], "client": ("127.0.0.1", 1)}
    halves = [{"type": "http.request", "body": bytes(MOST_BODY), "more_body": more} for more in (True, False)]
    _, *parts = told(limits, scope, *halves)
    assert sum(len(part["body"]) for part in parts) == 2 * MOST_BODY
    assert told(limits, {**scope, "path": "/other"}, *halves)[0]["status"] == 413


async def _given(body: bytes) -> dict[str, Any]:
    return {"body": body}


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
