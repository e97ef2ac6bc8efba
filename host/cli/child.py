"""A process that is started, looked after, and started again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import IO, Protocol

from host.parent import VARIABLE

_STEADY_S = 10.0  # a child that ran this long did start properly
_TRIES = 5


class Process(Protocol):
    """What is asked of a child; subprocess.Popen has it."""

    @property
    def stdin(self) -> IO[bytes] | None:
        """The pipe by whose end it learns that its parent is gone."""

    def poll(self) -> int | None:
        """Exit code, None while it runs."""

    def send_signal(self, sig: int) -> None:
        """Send it a signal."""

    def wait(self, timeout: float | None = None) -> int:
        """Wait for it to end."""

    def kill(self) -> None:
        """End it at once."""


def spawn(arguments: Sequence[str]) -> Process:
    """Start `python -m` with `arguments` in a session of its own; it ends when this process does (host.parent).

    `-P` keeps the current folder out of the modules: a file host.py that lies there is never run.
    """
    environment = os.environ | {VARIABLE: "1"}
    command = [sys.executable, "-P", "-m", *arguments]
    return subprocess.Popen(command, start_new_session=True, stdin=subprocess.PIPE, env=environment)


@dataclass
class Child:
    """One process and how to start it again; with `later` as its arguments from the second start on, if given."""

    name: str
    arguments: Sequence[str]
    later: Sequence[str] = field(default=(), kw_only=True)
    start: Callable[[Sequence[str]], Process] = spawn
    clock: Callable[[], float] = time.monotonic
    process: Process | None = None
    quick_ends: int = 0
    _started_at: float = field(default=0.0, repr=False)

    def begin(self) -> None:
        """Start it."""
        self._let_go()
        self._started_at = self.clock()
        self.process = self.start(self.arguments)

    def ended(self) -> int | None:
        """Exit code if it was started and has ended."""
        return self.process.poll() if self.process else None

    def again(self) -> bool:
        """Start it again; False when it has fallen over too often right after its start."""
        self.quick_ends = 0 if self.clock() - self._started_at > _STEADY_S else self.quick_ends + 1
        if self.quick_ends >= _TRIES:
            self._let_go()
            self.process = None
            return False
        self.arguments = self.later or self.arguments
        self.begin()
        return True

    def stop(self, how: int = signal.SIGTERM, patience_s: float = 5.0) -> None:
        """Ask it to end, and wait; only when the patience is over, end it."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self._end(self.process, how, patience_s)
        self._let_go()

    @staticmethod
    def _end(process: Process, how: int, patience_s: float) -> None:
        with suppress(ProcessLookupError):
            process.send_signal(how)
        try:
            process.wait(patience_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _let_go(self) -> None:
        """Close the pipe to a child that is over."""
        if self.process is not None and self.process.stdin is not None:
            self.process.stdin.close()
