"""Sixteen screens, one of which takes nothing, and a page that is killed: the recording does not notice."""

from __future__ import annotations

import json
import signal
import socket
import statistics
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any

import numpy as np
import pytest
from websockets.exceptions import WebSocketException
from websockets.sync.client import connect

from host.journal import read_run
from tests.dashboards.processes import PATIENCE_S, RecorderProcess, Server, wait_until
from tests.dashboards.sessions import cookie_header
from tests.dashboards.test_live_page import state, wait_for
from tests.dashboards.walking import BoardOnPty

SCREENS = 16
# RFC 6455's own example key
STALLED = (
    b"GET /live/stream HTTP/1.1\r\nHost: %s\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nCookie: %s\r\n"
    b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
)


class Screen(threading.Thread):
    """Takes every message, and comes back when the page has gone. `seen` holds (frame, moment of taking it)."""

    def __init__(self, server: Server) -> None:
        super().__init__(daemon=True)
        self.seen: list[tuple[int, float]] = []
        self.came_back = -1
        self._address = server.address.replace("http", "ws") + "/live/stream"
        self._over = threading.Event()
        self.start()

    def __enter__(self) -> Screen:
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self.join(PATIENCE_S)

    @property
    def frame(self) -> int:
        return self.seen[-1][0] if self.seen else -1

    def run(self) -> None:
        while not self._over.is_set():
            try:
                self._take()
            except (OSError, WebSocketException):
                self._over.wait(0.1)

    def _take(self) -> None:
        with connect(self._address, additional_headers=cookie_header()) as stream:
            self.came_back += 1
            while not self._over.is_set():
                frame = json.loads(stream.recv(PATIENCE_S))["row"].get(
                    "frame", -1
                )  # none before the run has been looked at
                if frame > self.frame:
                    self.seen.append((frame, time.monotonic()))
                stream.send("k")


def stalled_screen(server: Server) -> socket.socket:
    """A connection that asks for the stream and then reads nothing at all."""
    stalled = socket.create_connection(("127.0.0.1", server.port))
    stalled.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
    stalled.sendall(STALLED % (f"127.0.0.1:{server.port}".encode(), cookie_header()["Cookie"].encode()))
    return stalled


def delays_ms(screens: list[Screen], sent: Callable[[int], float], first: int, last: int) -> list[float]:
    """From the last byte of a line to the message in the screen's hands, of the frames `first` to `last`."""
    return sorted(
        1_000 * (taken - sent(frame)) for screen in screens for frame, taken in screen.seen if first < frame <= last
    )


def words(delays: list[float]) -> str:
    return f"median {statistics.median(delays):.1f} ms, 95 % {delays[int(0.95 * len(delays))]:.1f} ms of {len(delays)}"


Serve = Callable[..., Server]


def load(
    recorder: RecorderProcess, board: BoardOnPty, serve: Serve, seconds: float, kills: int, phones: list[Any]
) -> float:
    """How late the latest line was recorded (s, more than the median).

    `seconds` with one screen, as long with all of them, then the page is killed `kills` times, a second apart.
    Each of `phones` opens the page at an address in a browser of its own, after the time with one screen.
    """
    server = serve()
    with ExitStack() as stack:
        screens = [stack.enter_context(Screen(server))]
        wait_until(lambda: screens[0].frame > 0, "numbers")
        marks = [screens[0].frame]
        time.sleep(seconds)
        marks.append(screens[0].frame)
        pages = [open_page(server.address) for open_page in phones]
        screens += [stack.enter_context(Screen(server)) for _ in range(SCREENS - 2 - len(pages))]
        stack.enter_context(stalled_screen(server))
        wait_until(lambda: all(screen.frame > marks[-1] for screen in screens), "numbers on every screen")
        marks.append(screens[0].frame)
        time.sleep(seconds)
        marks.append(screens[0].frame)
        for _ in range(kills):
            server.child.send_signal(signal.SIGKILL)
            server.child.wait()
            server = serve(port=server.port)
            time.sleep(1.0)
        newest = board.walk.seq
        wait_until(lambda: all(screen.frame > newest - 10 for screen in screens), "every screen has caught up")
        for page in pages:
            wait_for(page, "fresh", "fresh")
            wait_until(lambda page=page: int(state(page, "frame")) > newest - 10, "the browser has caught up")
    server.end()
    assert recorder.end(signal.SIGINT) == 0
    run = read_run(recorder.run)
    sent = np.array([board.sent_at[seq] for seq in run.frames["seq"].tolist()])
    late = run.frames["host_s"] - sent
    gap_s, late_s = float(np.diff(run.frames["host_s"]).max()), float(late.max() - np.median(late))
    assert run.complete and run.wire_damage <= 1  # the port may be opened in the middle of a line
    assert np.unique(np.diff(run.frames["seq"].astype(int))).tolist() == [1]
    assert all(screen.came_back == kills for screen in screens)
    sequence = run.frames["seq"].tolist()
    alone, crowd = (
        delays_ms(some, lambda frame: board.sent_at[sequence[frame - 1]], *marks[pair : pair + 2])
        for pair, some in ((0, screens[:1]), (2, screens))
    )
    print(f"one screen: {words(alone)}; {SCREENS} screens, one of them stalled: {words(crowd)}")
    print(
        f"page killed {kills} times, {len(sequence)} frames in a row, longest time between two {gap_s:.3f} s ", end=""
    )
    print(f"(between two lines sent {np.diff(sent).max():.3f} s), latest {late_s:.3f} s behind its line")
    return late_s


def test_a_crowd_of_screens_and_a_killed_page_leave_no_gap(
    recorder: RecorderProcess, board: BoardOnPty, serve: Serve
) -> None:
    load(recorder, board, serve, 2.0, 1, [])


@pytest.mark.soak
@pytest.mark.timeout(1_200)
@pytest.mark.browser
def test_a_crowd_with_two_browsers_and_a_page_killed_ten_times(
    recorder: RecorderProcess, board: BoardOnPty, serve: Serve, phone: Callable[..., Any]
) -> None:
    # Only here, where nothing else is running beside: other work would delay the lines as well.
    assert load(recorder, board, serve, 60.0, 10, [phone, phone]) < 0.5, "the recorder was held up"
