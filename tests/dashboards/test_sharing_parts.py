"""Codes, allowances, bounds and the terminal's notice, without a server; clocks and codes are given."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator, MutableMapping
from typing import Any

import numpy as np
import pytest
import zxingcpp

from dashboards.sharing.codes import ALPHABET, LENGTH, OWN, PHONE, Codes, Sessions, new_code
from dashboards.sharing.session_middleware import (
    ASKS,
    UNKNOWN_ASKS,
    WRONG_ALL,
    WRONG_ALL_S,
    WRONG_EACH,
    WRONG_EACH_S,
    SessionMiddleware,
)
from dashboards.sharing.terminal_banner import TerminalBanner, link, qr_lines
from dashboards.web.rate_limit import RateLimit, retry_after
from dashboards.web.size_limits import SizeLimits


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def counted_codes() -> Iterator[str]:
    for number in range(100):
        yield f"{number:08d}"


def test_codes_cannot_be_misread_and_do_not_repeat() -> None:
    codes = {new_code() for _ in range(2000)}
    assert len(codes) == 2000
    assert all(len(code) == LENGTH and set(code) <= set(ALPHABET) for code in codes)
    assert not set("01OIL") & set(ALPHABET)
    # the sum in codes.py
    tries = WRONG_ALL + 10 * 3600 / WRONG_ALL_S
    assert tries == 12_020
    assert tries / len(ALPHABET) ** LENGTH == pytest.approx(1.4e-8, rel=0.01)


def test_each_code_holds_once_and_the_own_one_only_here() -> None:
    codes = Codes(counted_codes().__next__)
    assert (codes[PHONE], codes[OWN]) == ("00000000", "00000001")
    assert codes.use_up("00000001", from_here=False) is None
    assert codes.use_up("0000 0001", from_here=True) == OWN
    assert codes.use_up("00000001", from_here=True) is None
    assert codes.use_up("0000-0000", from_here=False) == PHONE
    assert codes.use_up("00000000", from_here=True) is None
    assert (codes[PHONE], codes[OWN]) == ("00000003", "00000002")
    for wrong in ("", "é" * 8, "0" * 10**6, "\x00"):
        assert codes.use_up(wrong, from_here=True) is None


def test_sessions_are_vouched_for_by_the_key() -> None:
    ours, theirs = Sessions(b"k" * 32), Sessions(b"l" * 32)
    cookie = ours.new()
    assert ours.name_of(cookie) == cookie.split(".")[0]
    assert theirs.name_of(cookie) is None
    assert len({ours.new() for _ in range(100)}) == 100


def test_an_allowance_fills_again_at_its_pace_and_forgets() -> None:
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


def asked(client: str, query: str = "", cookie: str = "", path: str = "/live/newest") -> dict[str, Any]:
    return {
        **{"type": "http", "method": "GET", "path": path, "query_string": query.encode()},
        **{"client": (client, 1), "server": ("192.168.1.7", 8050), "headers": [(b"cookie", cookie.encode())]},
    }


@pytest.fixture
def door() -> Any:
    clock, news = Clock(), []
    codes, sessions = Codes(counted_codes().__next__), Sessions(b"k" * 32)
    made = SessionMiddleware(everything, codes, sessions, news.append, clock)
    return made, codes, sessions, clock, news


def status(door: Any, scope: dict[str, Any]) -> int:
    return int(told(door, scope)[0]["status"])


def test_wrong_codes_of_many_addresses_together_are_limited(door: Any) -> None:
    """One try from each of many addresses gets no further than the sum in codes.py allows."""
    made, codes, _, clock, news = door
    answers = [status(made, asked(f"192.168.1.{number}", "code=XXXXXXXX")) for number in range(100)]
    assert answers == [403] * WRONG_ALL + [429] * (100 - WRONG_ALL)
    assert status(made, asked("192.168.1.200", f"code={codes[PHONE]}")) == 429
    assert status(made, asked("127.0.0.1", f"code={codes[OWN]}")) == 303, "this computer is never locked out by them"
    clock.now += WRONG_ALL_S
    assert status(made, asked("192.168.1.200", f"code={codes[PHONE]}")) == 303
    clock.now += 3600
    tries = sum(status(made, asked("192.168.1.9", "code=XXXXXXXX")) == 403 for _ in range(100))
    assert tries == WRONG_EACH
    clock.now += WRONG_EACH_S
    assert status(made, asked("192.168.1.9", "code=XXXXXXXX")) == 403
    assert status(made, asked("192.168.1.9", "code=XXXXXXXX")) == 429
    assert any("192.168.1.9" in sentence for sentence in news)


def test_requests_are_limited_for_each_session_and_for_strangers(door: Any) -> None:
    made, _, sessions, clock, _ = door
    one, other = (f"swardflow-8050={sessions.new()}" for _ in range(2))

    def spend(scope: dict[str, Any], most: int) -> list[MutableMapping[str, Any]]:
        for _ in range(most):
            told(made, scope, {"type": "http.request", "body": b""})
        return told(made, scope, {"type": "http.request", "body": b""})

    start = spend(asked("192.168.1.9", cookie=one), ASKS)[0]
    assert start["status"] == 429
    assert dict(start["headers"])[b"retry-after"] == b"1"
    fine = told(made, asked("192.168.1.9", cookie=other), {"type": "http.request", "body": b""})
    assert fine[0]["status"] == 200, "the other phone behind the same address goes on"
    assert spend(asked("192.168.1.10"), UNKNOWN_ASKS)[0]["status"] == 429
    clock.now += 60
    assert told(made, asked("192.168.1.9", cookie=one), {"type": "http.request", "body": b""})[0]["status"] == 200


def test_bodies_have_a_bound_however_they_come() -> None:
    bounds = SizeLimits(everything, most_body=1000, body_timeout_s=0.05)
    scope = {"type": "http", "method": "POST", "path": "/", "headers": [], "client": ("127.0.0.1", 1)}

    def piece(size: int, more: bool) -> dict[str, Any]:
        return {"type": "http.request", "body": b"x" * size, "more_body": more}

    assert told(bounds, scope, piece(500, True), piece(500, False))[1]["body"] == b"x" * 1000
    assert told(bounds, scope, piece(500, True), piece(501, True))[0]["status"] == 413
    assert told(bounds, {**scope, "headers": [(b"content-length", b"1001")]})[0]["status"] == 413, "before it comes"
    assert told(bounds, {**scope, "headers": [(b"content-length", b"-1")]})[0]["status"] == 413
    assert told(bounds, scope, piece(500, True))[0]["status"] == 408
    assert told(bounds, scope, piece(5, True), {"type": "http.disconnect"}) == []


def test_the_qr_code_reads_as_the_link() -> None:
    """Read by another library's decoder, from the half blocks that the terminal shows."""
    shown = link("192.168.178.201", 8050, "ABCDEFGH")
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    rows = []
    for line in qr_lines(shown):
        assert line.startswith("\x1b[30;107m")
        assert line.endswith("\x1b[0m")
        blocks = [halves[one] for one in re.sub("\x1b\\[[0-9;]*m", "", line)]
        rows += [[block[half] for block in blocks] for half in (0, 1)]
    assert len(rows[0]) <= 76, "fits in a terminal of 80 columns"
    image = np.kron(1 - np.array(rows, np.uint8), np.full((8, 8), 255, np.uint8))
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [shown]


def test_the_notice_shows_again_what_has_changed_and_nothing_else() -> None:
    said: list[str] = []
    addresses = [["192.168.1.7", "10.42.0.1"]]
    codes = Codes(counted_codes().__next__)
    notice = TerminalBanner(8050, codes, addresses=lambda: addresses[0], with_qr=False, say=said.append)
    notice.show()
    notice.show()
    assert len(said) == 1
    for part in (
        *("http://192.168.1.7:8050/?code=00000000", "http://10.42.0.1:8050/?code=00000000", "0000-0000"),
        *("http://127.0.0.1:8050/?code=00000001", "Not encrypted"),
    ):
        assert part in said[0]
    addresses[0] = []
    notice.show()
    assert "on no network yet" in said[1]
    codes.use_up("00000000", from_here=False)
    addresses[0] = ["192.168.1.8"]
    notice.tell("A browser at 192.168.1.50 was let in.")
    notice.show()
    assert said[2].startswith("\nA browser at 192.168.1.50 was let in.\n")
    assert "http://192.168.1.8:8050/?code=00000002" in said[2]
    assert "code=00000000" not in said[2]
