"""Plays a source of lines out of a pseudo-terminal, at the pace of a clock that is given to it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from host.simulate.wire import TimedLine

# A reader that has just opened a port throws away what is in it: nothing is sent before that is over. Where it is not
# seen to do so, it is given some time.
SETTLE_S = 0.05
UNSEEN_S = 1.0
LOOK_S = 0.3  # how often it is looked whether the reader has taken the rest
IDLE_S = 0.05  # how often an idle line looks for a reader or for the reader's bytes
_FLAT_OUT_STEP_S = 5.0  # how far ahead the source is asked at full speed
_PATIENCE = 30  # looks, LOOK_S apart, at a reader that takes nothing more
_SHORTEST_S = 0.0005  # a wait for less could be too small to move the clock on
_BACKLOG = 1 << 16  # bytes; at a set pace a reader so far behind loses lines, as it would from a board


class Source(Protocol):
    """Where the lines come from. Pure: times are seconds of the run."""

    @property
    def duration_s(self) -> float:
        """Length of the run."""

    @property
    def over(self) -> bool:
        """Whether every line has been handed out."""

    def connected(self, at_s: float) -> bool:
        """Whether the cable is in."""

    def next_due_s(self) -> float:
        """A time up to which nothing will be due."""

    def due(self, until_s: float) -> list[TimedLine]:
        """The lines that arrive by `until_s`, in order."""

    def receive(self, data: bytes, at_s: float) -> None:
        """Bytes from the host."""


class Terminal(Protocol):
    """What is asked of a pseudo-terminal; see terminal.PseudoTerminal."""

    path: str

    def has_reader(self) -> bool:
        """Whether somebody has the other end open."""

    def write(self, data: bytes) -> int:
        """Write as much as there is room for."""

    def read(self) -> bytes:
        """What the reader has sent."""

    def was_emptied(self) -> bool:
        """Whether the reader has thrown its input away since this was last asked; known after `read`."""

    def unread(self) -> int:
        """Bytes that the reader has not taken yet."""

    def close(self) -> None:
        """Pull the cable."""


class Server:
    """Steps through a run: call `step` again and again, each time after the wait that it asks for.

    `clock` gives seconds and never goes back. `pace` is run seconds per clock second; math.inf sends as fast as the
    reader takes it and then loses nothing. The run begins when a reader has opened and emptied the terminal. At a
    set pace the board goes on without a reader, and what it sends then is lost; at full speed it waits for one. A
    pulled cable takes the terminal away at a set pace; at full speed only its lines are missing.
    """

    def __init__(
        self,
        source: Source,
        open_terminal: Callable[[], Terminal],
        clock: Callable[[], float],
        pace: float = 1.0,
    ) -> None:
        self._source, self._open_terminal, self._clock, self.pace = source, open_terminal, clock, pace
        self.terminal: Terminal | None = open_terminal()
        self._ready_at: float | None = None  # by the clock, when the present reader can be sent to
        self._received = b""
        self._origin: float | None = None  # by the clock, when the run began
        self._pending = b""
        self._asked_s = 0.0
        self.lines_lost = 0

    @property
    def started(self) -> bool:
        """Whether the run has begun."""
        return self._origin is not None

    @property
    def now_s(self) -> float:
        """Where the run has got to."""
        if math.isinf(self.pace) or self._origin is None:
            return self._asked_s
        return max((self._clock() - self._origin) * self.pace, 0.0)

    @property
    def over(self) -> bool:
        """Whether the run has ended and everything has been written."""
        return self._source.over and not self._pending

    def step(self) -> float:
        """Do what is to be done now; returns how long to wait (s) before the next step."""
        if not self._plug():
            return self._wait_s()
        listening = self._reader_ready()
        if not self.started:
            if not listening:
                return IDLE_S
            self._origin = self._clock()
        if math.isinf(self.pace):
            return self._flat_out(listening)
        self._exchange(listening)
        return self._wait_s()

    def _plug(self) -> bool:
        """Whether the cable is in; opens or closes the terminal where the source says so."""
        if math.isinf(self.pace) or self._source.connected(self.now_s):
            if self.terminal is None:
                self.terminal = self._open_terminal()
            return True
        if self.terminal is not None:
            self.terminal.close()
            self.terminal, self._ready_at, self._pending, self._received = None, None, b"", b""
        self._source.due(self.now_s)  # goes nowhere
        return False

    def _reader_ready(self) -> bool:
        assert self.terminal is not None
        if not self.terminal.has_reader():
            self._ready_at = None
            return False
        now = self._clock()
        self._received += self.terminal.read()
        if self._ready_at is None:
            self._ready_at = now + UNSEEN_S
        if self.terminal.was_emptied():
            self._ready_at = min(self._ready_at, now + SETTLE_S)
        return now >= self._ready_at

    def _exchange(self, listening: bool) -> None:
        self._obey(self.now_s)
        lines = self._source.due(self.now_s)
        if not listening or len(self._pending) > _BACKLOG:
            self.lines_lost += len(lines)
            lines = []
        self._send(lines)

    def _flat_out(self, listening: bool) -> float:
        if not listening:
            return IDLE_S
        self._obey(self._asked_s)
        if not self._pending and not self._source.over:
            self._asked_s = max(self._asked_s + _FLAT_OUT_STEP_S, self._source.next_due_s())
            self._send(self._source.due(self._asked_s))
        else:
            self._send([])
        return 0.001 if self._pending else 0.0

    def _obey(self, at_s: float) -> None:
        if self._received:
            self._source.receive(self._received, at_s)
            self._received = b""

    def _send(self, lines: list[TimedLine]) -> None:
        assert self.terminal is not None
        self._pending += b"".join(line + b"\n" for _, line in lines)
        while self._pending:
            written = self.terminal.write(self._pending)
            if not written:
                return
            self._pending = self._pending[written:]

    def _wait_s(self) -> float:
        if math.isinf(self.pace):
            return 0.0
        wait = (self._source.next_due_s() - self.now_s) / self.pace
        return min(max(wait, _SHORTEST_S), IDLE_S)


def serve(server: Server, sleep: Callable[[float], None], progress: Callable[[float], None] | None = None) -> None:
    """Run `server` to its end, waiting with `sleep`; `progress` is told now and then where the run has got to (s)."""
    try:
        while not server.over:
            wait = server.step()
            if progress is not None and server.started:
                progress(server.now_s)
            if wait > 0:
                sleep(wait)
        _drain(server.terminal, sleep)
    finally:
        if server.terminal is not None:
            server.terminal.close()


def _drain(terminal: Terminal | None, sleep: Callable[[float], None]) -> None:
    """Let the reader take what is left: closing the terminal throws it away. Gives up when the reader has stopped."""
    left, patience = -1, _PATIENCE
    quiet = 0
    while terminal is not None and terminal.has_reader() and patience and quiet < 2:
        unread = terminal.unread()
        patience = _PATIENCE if unread != left else patience - 1
        left = unread
        # Twice in a row: what has just been written may not have reached the other end yet.
        quiet = quiet + 1 if unread == 0 else 0
        sleep(LOOK_S)
