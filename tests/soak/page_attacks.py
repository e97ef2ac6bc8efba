"""What a browser that was let in, or a stranger, can do to the pages: `python -m tests.soak.page_attacks NAME PORT …`.

Run beside a server on this machine only, each for a given time. Everything here is bounded in number and time.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import socket
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress

HERE = "127.0.0.1"
Attack = Callable[["Target"], int]


class Target:
    """A server of this machine, the session to attack it with, and until when."""

    def __init__(self, port: int, token: str, seconds: float) -> None:
        self.port, self.until = port, time.monotonic() + seconds
        self.cookie = f"swardflow-{port}={token}"

    @property
    def goes_on(self) -> bool:
        return time.monotonic() < self.until

    def connect(self, source: str = HERE) -> socket.socket:
        return socket.create_connection((HERE, self.port), timeout=5, source_address=(source, 0))

    def head(self, line: str, *more: str) -> bytes:
        origin = f"http://{HERE}:{self.port}"
        fields = [f"Host: {HERE}:{self.port}", f"Origin: {origin}", f"Cookie: {self.cookie}", *more]
        return "\r\n".join([f"{line} HTTP/1.1", *fields, "", ""]).encode()

    def ask(self, path: str, method: str = "GET", body: bytes | None = None, **headers: str) -> int:
        connection = http.client.HTTPConnection(HERE, self.port, timeout=30)
        try:
            about = {"Cookie": self.cookie, "Origin": f"http://{HERE}:{self.port}"} | headers
            connection.request(method, path, body, about)
            answer = connection.getresponse()
            answer.read()
            return answer.status
        except (OSError, http.client.HTTPException):
            return 0
        finally:
            connection.close()


def several(count: int, one: Callable[[], int]) -> int:
    """So many of it at once; the sum of what they return."""
    done: list[int] = []
    threads = [threading.Thread(target=lambda: done.append(one()), daemon=True) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(done)


def frame_flood(target: Target) -> int:
    """Empty WebSocket frames as fast as they go, 200,000 at a time, and again whenever the socket is cut off."""
    sent = 0
    flood = b"\x82\x80\x00\x00\x00\x00" * 200_000
    keys = ("Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13")
    while target.goes_on:
        with suppress(OSError), target.connect() as line:
            line.sendall(target.head("GET /live/stream", *keys, "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ=="))
            line.recv(4096)
            line.sendall(flood)
            sent += 200_000
    return sent


def eight_floods(target: Target) -> int:
    """The same from eight sockets."""
    return several(8, lambda: frame_flood(target))


def large_bodies(target: Target) -> int:
    """Bodies of 1 MB to the address of the callbacks."""
    body = json.dumps({"output": "x", "inputs": [[0] * 300_000]}).encode()
    sent = 0
    while target.goes_on:
        target.ask("/_dash-update-component", "POST", body, **{"Content-Type": "application/json"})
        sent += 1
    return sent


def deep_bodies(target: Target) -> int:
    """Bodies of just under 64 kB of brackets and keys, as many as the session may send."""
    body = b'{"output":' + b"[" * 900 + b'{"a":1},' * 7_000 + b"0" + b"]" * 900 + b"}"
    sent = 0
    while target.goes_on:
        target.ask("/_dash-update-component", "POST", body, **{"Content-Type": "application/json"})
        sent += 1
    return sent


def exports(target: Target) -> int:
    """Sixteen exports of a whole run at once, again and again."""

    def one() -> int:
        count = 0
        while target.goes_on:
            target.ask("/runs/export.csv?name=2026-05-14T0915-harrow-lea-pleasure-grounds")
            count += 1
        return count

    return several(16, one)


def unread_answers(target: Target) -> int:
    """A hundred answers of 5 MB asked for, of which nothing is read."""
    held: list[socket.socket] = []
    asked = 0
    path = "/_dash-component-suites/plotly/package_data/plotly.min.js"
    while target.goes_on:
        if len(held) < 100:
            with suppress(OSError):
                held.append(line := target.connect())
                line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
                line.sendall(target.head(f"GET {path}"))
                asked += 1
        time.sleep(0.02)
        if asked % 200 == 199:
            for line in held[:50]:
                line.close()
            del held[:50]
    return asked


def spellings(target: Target) -> int:
    """The same file under ever new addresses."""
    sent = 0
    while target.goes_on:
        path = f"/_dash-component-suites/plotly/package_data/plotly.v{sent}m{sent}.min.js"
        target.ask(path, **{"Accept-Encoding": "gzip"})
        sent += 1
    return sent


def idle_connections(target: Target) -> int:
    """1,200 connections without a request, from twenty addresses, taken up again whenever they are dropped."""
    held: list[socket.socket] = []
    opened = 0
    while target.goes_on:
        while len(held) < 1_200 and target.goes_on:
            with suppress(OSError):
                held.append(target.connect(f"127.0.2.{opened % 20 + 1}"))
            opened += 1
        time.sleep(0.5)
        for line in list(held):
            line.setblocking(False)
            with suppress(BlockingIOError):
                try:
                    gone = line.recv(1) == b""
                except ConnectionResetError:
                    gone = True
                if gone:
                    held.remove(line)
                    line.close()
    return opened


def no_http(target: Target) -> int:
    """Requests that are none, from a stranger."""
    random_bytes = random.Random(7)
    sent = 0
    while target.goes_on:
        with suppress(OSError), target.connect("127.0.0.9") as line:
            line.sendall(random_bytes.randbytes(200) + b"\r\n\r\n")
            line.recv(1000)
            sent += 1
    return sent


def coming_and_going(target: Target) -> int:
    """Screens that are opened and left at once."""
    keys = ("Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13")
    opened = 0
    while target.goes_on:
        with suppress(OSError), target.connect() as line:
            line.sendall(target.head("GET /live/stream", *keys, "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ=="))
            line.recv(100)
            opened += 1
    return opened


ATTACKS: dict[str, Attack] = {
    one.__name__: one
    for one in (
        *(frame_flood, eight_floods, large_bodies, deep_bodies, exports, unread_answers, spellings),
        *(idle_connections, no_http, coming_and_going),
    )
}


def raise_own_file_limit() -> None:
    """For the 1,200 sockets."""
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 4096), hard))


if __name__ == "__main__":
    raise_own_file_limit()
    name, port, token, seconds = sys.argv[1:]
    print(ATTACKS[name](Target(int(port), token, float(seconds))), flush=True)
    os._exit(0)  # threads that still wait for an answer do not matter any more
