"""A board that keeps reporting on a pseudo-terminal, and file systems for the recorder's tests."""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

from host.journal.files import SystemFiles
from tests.host.link.boards import PtyEnd, identity, report


def until(condition: Callable[[], bool], wait_s: float = 60.0) -> None:
    """Wait for another thread or process to bring `condition` about."""
    deadline = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < deadline, "it never came about"
        time.sleep(0.002)


class ReportingBoard:
    """Sends a report every `interval_s` from `first` on, and answers every command with its identity.

    `sent` holds, for each sequence number sent, the moment its last byte was handed to the line.
    """

    def __init__(self, end: PtyEnd, interval_s: float = 0.02, first: int = 0, protocol: str = "1.0") -> None:
        self.sent: dict[int, float] = {}
        self._protocol = protocol
        self._end, self._interval_s, self._first = end, interval_s, first
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> ReportingBoard:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()

    def _run(self) -> None:
        seq = self._first
        due = time.monotonic()
        while not self._ending.is_set():
            try:
                if self._end.receive(0.0):
                    self._end.send(identity(protocol=self._protocol))
                if self._end.has_room():  # else nobody reads, and the line would wait for ever
                    self._end.send(report(seq))
                    self.sent[seq] = time.monotonic()
                    seq += 1
            except (OSError, ValueError):
                return  # unplugged
            due += self._interval_s
            self._ending.wait(max(due - time.monotonic(), 0.0))


class LimitedFiles(SystemFiles):
    """Real files on a disk that takes `room` more bytes. None: no end."""

    def __init__(self, room: int | None = None) -> None:
        self.room = room

    def write(self, descriptor: int, data: bytes) -> int:
        if self.room is None:
            return super().write(descriptor, data)
        if not self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        count = super().write(descriptor, data[: self.room])
        self.room -= count
        return count


class WatchedFiles(SystemFiles):
    """Real files that keep when bytes were written and when they had reached the medium. `hold` stalls `sync`."""

    def __init__(self) -> None:
        self.written: list[tuple[float, int]] = []  # moment, bytes in the file from then on
        self.synced: list[tuple[float, int]] = []  # moment, bytes safe from then on
        self.hold: threading.Event | None = None
        self._bytes = 0

    def write(self, descriptor: int, data: bytes) -> int:
        count = super().write(descriptor, data)
        self._bytes += count
        self.written.append((time.monotonic(), self._bytes))
        return count

    def sync(self, descriptor: int) -> None:
        reached = self._bytes
        if self.hold:
            self.hold.wait()
        super().sync(descriptor)
        self.synced.append((time.monotonic(), reached))


class Recording:
    """A recorder running in a thread of this process."""

    def __init__(self, recorder: object, wait_s: float = 60.0) -> None:
        from host.recorder import Recorder

        assert isinstance(recorder, Recorder)
        self.recorder = recorder
        self.path: Path = recorder.start(wait_s)
        self.outcome: object = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        self.outcome = self.recorder.run()

    def stop(self, reason: str = "end of the test") -> None:
        self.recorder.stop(reason)
        self._thread.join(60)
        assert not self._thread.is_alive()

    def wait(self) -> None:
        self._thread.join(60)
        assert not self._thread.is_alive()
