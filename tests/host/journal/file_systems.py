"""File systems for the writer: one in memory that can be full, fail or be slow at a chosen place."""

from __future__ import annotations

import errno
import os
import threading
from pathlib import Path

from host.journal.files import SystemFiles


class MemoryFiles:
    """A file system in memory with `room` bytes left (None: no end). `holding` blocks `sync` until it is set."""

    def __init__(self, room: int | None = None) -> None:
        self.room = room
        self.error = errno.ENOSPC
        self.content: dict[Path, bytearray] = {}
        self.synced: dict[Path, int] = {}  # bytes that a power cut would leave
        self.sync_error: int | None = None
        self.holding: threading.Event | None = None
        self.sync_entered = threading.Event()
        self.closed: list[int] = []
        self._open: list[tuple[Path, bytearray]] = []  # an open file outlives its name

    def create(self, path: Path) -> int:
        if path in self.content:
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        self.content[path] = bytearray()
        self._open.append((path, self.content[path]))
        return len(self._open) - 1

    def write(self, descriptor: int, data: bytes) -> int:
        count = len(data) if self.room is None else min(len(data), self.room)
        if data and not count:
            raise OSError(self.error, os.strerror(self.error))
        if self.room is not None:
            self.room -= count
        self._open[descriptor][1].extend(data[:count])
        return count

    def sync(self, descriptor: int) -> None:
        path, content = self._open[descriptor]
        length = len(content)
        self.sync_entered.set()
        if self.holding:
            self.holding.wait()
        if self.sync_error is not None:
            raise OSError(self.sync_error, os.strerror(self.sync_error))
        self.synced[path] = length

    def wrong(self, descriptor: int, path: Path, size: int) -> str:
        if self._open[descriptor][0] != path or path not in self.content:
            return "it was deleted or moved away"
        return "it was cut short" if len(self.content[path]) < size else ""

    def close(self, descriptor: int) -> None:
        self.closed.append(descriptor)


class FailingFiles(SystemFiles):
    """The real ones, of which calls number `first` to `last` fail with `error`; every other write is a short one."""

    def __init__(self, first: int, last: int, error: int) -> None:
        self._failing, self._error = range(first, last + 1), error
        self._calls = 0

    def create(self, path: Path) -> int:
        self._fail()
        return super().create(path)

    def write(self, descriptor: int, data: bytes) -> int:
        self._fail()
        return super().write(descriptor, data[: 1 + len(data) // 3] if self._calls % 2 else data)

    def sync(self, descriptor: int) -> None:
        if self._calls in self._failing:  # by a thread of its own: it does not count
            raise OSError(self._error, os.strerror(self._error))

    def wrong(self, descriptor: int, path: Path, size: int) -> str:
        self._fail()
        return super().wrong(descriptor, path, size)

    def close(self, descriptor: int) -> None:
        super().close(descriptor)
        self._fail()

    def _fail(self) -> None:
        self._calls += 1
        if self._calls in self._failing:
            raise OSError(self._error, os.strerror(self._error))


class HandClock:
    """A clock that goes only when told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now
