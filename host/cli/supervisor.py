"""Keeps the recorder, the page and, in the demo, the emulated board running side by side, each in its own process.

Recording never waits for looking: a page that falls over is started again while the recorder goes on; a recorder that
is killed is started again with a new run file. Each child is in a session of its own, so that Ctrl-C reaches it only
from here and the recorder can drain before anything else stops.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from host.cli.record import NOT_IN_PLACE
from host.parent import VARIABLE

LOOK_S = 0.2
DRAIN_S = 20.0  # how long a recorder may take to bring its backlog to the disk
_STEADY_S = 10.0  # a child that ran this long did start properly
_TRIES = 5
MISTAKE = 2


class Process(Protocol):
    """What is asked of a child; subprocess.Popen has it."""

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
        self._started_at = self.clock()
        self.process = self.start(self.arguments)

    def ended(self) -> int | None:
        """Exit code if it was started and has ended."""
        return self.process.poll() if self.process else None

    def again(self) -> bool:
        """Start it again; False when it has fallen over too often right after its start."""
        self.quick_ends = 0 if self.clock() - self._started_at > _STEADY_S else self.quick_ends + 1
        if self.quick_ends >= _TRIES:
            self.process = None
            return False
        self.arguments = self.later or self.arguments
        self.begin()
        return True

    def stop(self, how: int = signal.SIGTERM, patience_s: float = 5.0) -> None:
        """Ask it to end, and wait; only when the patience is over, end it."""
        if self.process is None or self.process.poll() is not None:
            return
        with suppress(ProcessLookupError):
            self.process.send_signal(how)
        try:
            self.process.wait(patience_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@dataclass
class Together:
    """The children of one `watch` or `demo`. `board` is the emulated one, if any."""

    recorder: Child
    page: Child
    board: Child | None = None
    board_ready: Callable[[], bool] = lambda: True
    say: Callable[[str], None] = print
    sleep: Callable[[float], None] = time.sleep
    recording: bool = True

    def run(self) -> int:
        """Run until stopped: from the keyboard, by SIGTERM, by a closed terminal; the exit code for the command."""
        for name in ("SIGTERM", "SIGHUP", "SIGQUIT"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), _interrupt)
        try:
            if self.board:
                self.board.begin()
                while not self.board_ready():
                    if (code := self.board.ended()) is not None:
                        return code
                    self.sleep(LOOK_S)
            self.recorder.begin()
            self.page.begin()
            while True:
                code = self.look()
                if code is not None:
                    return code
                self.sleep(LOOK_S)
        except KeyboardInterrupt:
            return 0
        finally:
            self.stop()

    def look(self) -> int | None:
        """One look at the children: put right what has stopped; an exit code when it is all over."""
        if self.recording:
            code = self._look_at_recorder()
            if code is not None:
                return code
        if self.page.ended() is not None and not self.page.again():
            self.say("The page does not start (its message stands above); the recording goes on without it.")
        return None

    def _look_at_recorder(self) -> int | None:
        if self.board and self.board.ended() is not None:
            self.say("The emulated run is over.")
            self.recorder.stop(signal.SIGINT, DRAIN_S)
        code = self.recorder.ended()
        if code is None:
            return None
        if code == MISTAKE:
            return code
        if code in (0, NOT_IN_PLACE) or (self.board and self.board.ended() is not None):
            self.recording = False
            self.say("Recording has ended. The page stays up until you press Ctrl-C.")
        elif self.recorder.again():
            self.say("The recorder stopped unexpectedly and was started again: the run goes on in a new run file.")
        else:
            self.say("The recorder keeps stopping (its message stands above): nothing is being recorded.")
            return 1
        return None

    def stop(self) -> None:
        """End everything: the recorder first, so that what is queued is written."""
        self.recorder.stop(signal.SIGINT, DRAIN_S)
        self.page.stop()
        if self.board:
            self.board.stop()


def _interrupt(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt
