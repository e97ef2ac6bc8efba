"""Connections taken in: who asks is handed on, who does not makes room. Over real sockets of this machine."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest

from dashboards.web.reception import LONGEST_HEAD, Reception, raise_file_limit
from tests.dashboards.processes import wait_until

ASKS = b"GET /runs HTTP/1.1\r\nHost: localhost\r\n\r\n"


class Desk:
    """A reception whose taker answers with the request line that it was told, and keeps the connection."""

    def __init__(self, **limits: float) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0), backlog=256)
        self.taken: list[tuple[socket.socket, Callable[[], None]]] = []
        self.reception = Reception(self.listener, self._take, **limits)  # type: ignore[arg-type]
        self.reception.start()

    def _take(self, connection: socket.socket, line: bytes, ended: Callable[[], None]) -> None:
        connection.setblocking(True)
        request = connection.recv(65536)  # still there, whole
        connection.sendall(line + b"|%d" % len(request))
        self.taken.append((connection, ended))

    def visit(self, source: str = "127.0.0.1") -> socket.socket:
        return socket.create_connection(self.listener.getsockname(), timeout=10, source_address=(source, 0))

    def answer(self, source: str = "127.0.0.1") -> bytes:
        """What somebody gets who asks at once; nothing when there is no room."""
        with self.visit(source) as connection:
            try:
                connection.sendall(ASKS)
                return connection.recv(100)
            except ConnectionError:
                return b""

    def close(self) -> None:
        self.reception.close()
        for connection, ended in self.taken:
            connection.close()
            ended()
        self.listener.close()


@pytest.fixture
def desk(request: pytest.FixtureRequest) -> Iterator[Desk]:
    made = Desk(**request.param)
    yield made
    made.close()


def is_closed(connection: socket.socket) -> bool:
    """Whether the other side has closed; what it had not read makes that a reset."""
    try:
        return connection.recv(10) == b""
    except ConnectionResetError:
        return True


limits = pytest.mark.parametrize


@limits("desk", [{"most": 20, "most_each": 8, "first_request_s": 30.0}], indirect=True)
def test_a_whole_request_is_handed_on_untouched_however_it_comes(desk: Desk) -> None:
    assert desk.answer() == b"GET /runs HTTP/1.1|%d" % len(ASKS)
    with desk.visit() as slow:
        slow.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for byte in ASKS[:-1]:
            slow.sendall(bytes([byte]))
        slow.sendall(ASKS[-1:])
        assert slow.recv(100) == b"GET /runs HTTP/1.1|%d" % len(ASKS)


@limits("desk", [{"most": 20, "most_each": 8, "first_request_s": 30.0}], indirect=True)
def test_what_can_become_no_request_is_dropped_at_once(desk: Desk) -> None:
    for junk, closes in ((b"\x16\x03\x01", True), (b"", True), (b"x" * (LONGEST_HEAD + 1), False)):
        with desk.visit() as visitor:
            visitor.sendall(junk)
            if closes:
                visitor.shutdown(socket.SHUT_WR)
            assert is_closed(visitor)
    assert desk.taken == []


@limits("desk", [{"most": 20, "most_each": 8, "first_request_s": 0.3}], indirect=True)
def test_who_asks_nothing_is_dropped_after_a_while(desk: Desk) -> None:
    with desk.visit() as silent, desk.visit() as half:
        half.sendall(ASKS[:-1])
        assert is_closed(silent) and is_closed(half)
    wait_until(lambda: desk.reception.count() == 0, "nothing is counted any more")


@limits("desk", [{"most": 20, "most_each": 8, "first_request_s": 30.0}], indirect=True)
def test_one_address_gets_its_share_and_no_more(desk: Desk) -> None:
    with ExitStack() as stack:
        for _ in range(8):
            stack.enter_context(desk.visit())
        wait_until(lambda: desk.reception.count() == 8, "eight are there")
        assert desk.answer() == b""
        assert desk.answer("127.0.0.2").startswith(b"GET")
    wait_until(lambda: desk.answer().startswith(b"GET"), "there is room again")


@limits("desk", [{"most": 20, "most_each": 8, "first_request_s": 30.0}], indirect=True)
def test_when_all_is_taken_the_one_that_has_waited_longest_makes_room(desk: Desk) -> None:
    with ExitStack() as stack:
        idle = [stack.enter_context(desk.visit(f"127.0.0.{10 + number // 5}")) for number in range(20)]
        wait_until(lambda: desk.reception.count() == 20, "all places are taken")
        assert desk.answer("127.0.0.99").startswith(b"GET")
        assert is_closed(idle[0])


@limits("desk", [{"most": 20, "most_each": 30, "first_request_s": 30.0}], indirect=True)
def test_who_is_being_served_is_never_turned_away_for_a_newcomer(desk: Desk) -> None:
    with ExitStack() as stack:
        served = [stack.enter_context(desk.visit()) for _ in range(20)]
        for one in served:
            one.sendall(ASKS)
            assert one.recv(100)
        assert desk.answer("127.0.0.99") == b""
        connection, ended = desk.taken[0]
        connection.close()
        for _ in range(3):
            ended()  # counted once, however often it is said
        assert desk.answer("127.0.0.99").startswith(b"GET")
        assert desk.answer("127.0.0.99") == b""


def test_many_at_once_lose_nobody_who_asks() -> None:
    desk = Desk(most=50, most_each=60, first_request_s=30.0)
    answers: list[bytes] = []

    def ask(number: int) -> None:
        answers.append(desk.answer(f"127.0.1.{number}"))

    askers = [threading.Thread(target=ask, args=(number,)) for number in range(40)]
    for asker in askers:
        asker.start()
    for asker in askers:
        asker.join(60)
    desk.close()
    assert [one[:3] for one in answers] == [b"GET"] * 40


def test_the_limit_on_files_is_raised_where_it_may() -> None:
    before = raise_file_limit(0)
    assert raise_file_limit() >= before
