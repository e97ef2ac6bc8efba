"""Takes connections in, in a thread of its own, and hands each on once its first request has come.

A server that accepts connections itself can be filled with ones that never ask anything. Here such a connection costs a
socket for some seconds at most: there is a limit for each address and one for all, well below the number of files that
the process may have open, and when all places are taken the one that has waited longest makes room for a newcomer.
"""

from __future__ import annotations

import errno
import selectors
import socket
import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable
from contextlib import suppress

MOST = 400  # connections in all
MOST_EACH = 64  # of one address; a browser opens six, and one for each screen
FIRST_REQUEST_S = 5.0
LONGEST_HEAD = 16_384  # bytes of a request before its body
_LOOK_S = 0.25
_FULL = {errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM}
_END = b"\r\n\r\n"

# Called in Reception's thread with the connection, its request line, and what to call once the connection has ended.
Taker = Callable[[socket.socket, bytes, Callable[[], None]], None]


def raise_file_limit(wanted: int = 4096) -> int:
    """Let this process open as many files as it may, up to `wanted`; how many that is."""
    try:
        import resource
    except ImportError:  # not on Windows, where the limit is another one
        return wanted
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    if soft != resource.RLIM_INFINITY and soft < most:
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
    return max(soft, most)


class Reception:
    """Accepts from `listener` and gives each connection whose first request is there to `take`."""

    def __init__(
        self,
        listener: socket.socket,
        take: Taker,
        *,
        most: int = MOST,
        most_each: int = MOST_EACH,
        first_request_s: float = FIRST_REQUEST_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._listener, self._take, self._clock = listener, take, clock
        self._most, self._most_each, self._first_request_s = most, most_each, first_request_s
        self._selector = selectors.DefaultSelector()
        self._waiting: OrderedDict[socket.socket, _Waiting] = OrderedDict()  # who came first stands first
        self._lock = threading.Lock()
        self._open: Counter[str] = Counter()  # connections by address, waiting or handed on
        self._stopped = False
        self._thread = threading.Thread(target=self._run, name="reception", daemon=True)

    def start(self) -> None:
        """Accept from now on, until `close`."""
        self._listener.setblocking(False)
        self._selector.register(self._listener, selectors.EVENT_READ)
        self._thread.start()

    def close(self) -> None:
        """Accept no more; connections that were handed on are their takers'."""
        self._stopped = True
        if self._thread.is_alive():
            self._thread.join()
        for connection in list(self._waiting):
            self._drop(connection)
        self._selector.close()

    def count(self) -> int:
        """Connections that are open."""
        with self._lock:
            return self._open.total()

    def _run(self) -> None:
        while not self._stopped:
            for key, _ in self._selector.select(_LOOK_S):
                if key.fileobj is self._listener:
                    self._accept()
                elif isinstance(key.fileobj, socket.socket) and key.fileobj in self._waiting:
                    self._look(key.fileobj)
            late = self._clock() - self._first_request_s
            while self._waiting and next(iter(self._waiting.values())).since < late:
                self._drop(next(iter(self._waiting)))

    def _accept(self) -> None:
        try:
            connection, peer = self._listener.accept()
        except OSError as error:
            if error.errno in _FULL and self._waiting:
                self._drop(next(iter(self._waiting)))
            elif error.errno in _FULL:
                time.sleep(_LOOK_S)  # the listener would wake this thread at once again
            return
        address = str(peer[0])
        with self._lock:
            taken, taken_by_it = self._open.total(), self._open[address]
        if taken_by_it >= self._most_each or (taken >= self._most and not self._waiting):
            connection.close()
            return
        if taken >= self._most:
            self._drop(next(iter(self._waiting)))
        connection.setblocking(False)
        with self._lock:
            self._open[address] += 1
        self._waiting[connection] = _Waiting(address, self._clock())
        self._selector.register(connection, selectors.EVENT_READ)

    def _look(self, connection: socket.socket) -> None:
        """Look at what has come without taking it: the request is read by who serves it."""
        waiting = self._waiting[connection]
        try:
            head = connection.recv(LONGEST_HEAD, socket.MSG_PEEK)
        except OSError:
            head = b""
        if _END in head:
            self._hand_on(connection, waiting.address, head.split(b"\r\n", 1)[0])
        elif len(head) <= waiting.come or len(head) >= LONGEST_HEAD:  # it has sent its last, or too much
            self._drop(connection)
        else:
            waiting.come = len(head)
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, waiting.come + 1)

    def _hand_on(self, connection: socket.socket, address: str, line: bytes) -> None:
        self._selector.unregister(connection)
        del self._waiting[connection]
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, 1)
        self._take(connection, line, _once(lambda: self._ended(address)))

    def _drop(self, connection: socket.socket) -> None:
        self._selector.unregister(connection)
        waiting = self._waiting.pop(connection)
        connection.close()
        self._ended(waiting.address)

    def _ended(self, address: str) -> None:
        with self._lock:
            self._open[address] -= 1
            if not self._open[address]:
                del self._open[address]


class _Waiting:
    """A connection without a whole request: whose it is, since when, and how many bytes have come."""

    def __init__(self, address: str, since: float) -> None:
        self.address, self.since, self.come = address, since, 0


def _once(call: Callable[[], None]) -> Callable[[], None]:
    """`call`, but only the first time."""
    lock = threading.Lock()
    pending = [call]

    def first() -> None:
        with lock:
            calls = [pending.pop()] if pending else []
        for one in calls:
            one()

    return first
