"""Commands whose reply nobody waits for: one at a time, for a board need not hold a second (PROTOCOL.md section 8)."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from firmware_protocol.messages import Ack, Command, Refusal, encode_command

TAG = 0  # of them all
DEAF_AFTER = 5  # tries in a row without a reply: the board does not hear


@dataclass(frozen=True, slots=True)
class _Request:
    letter: str
    argument: int
    tries: int


class Requests:
    """Sends the next only after the reply to the one before, or once nothing more is to be hoped for.

    `reply_s` is how long a reply may take; `clock` gives seconds that never jump.
    """

    def __init__(self, send: Callable[[bytes], None], clock: Callable[[], float], reply_s: float) -> None:
        self._send, self._clock, self._reply_s = send, clock, reply_s
        self.held = False  # another command is on its way: send nothing new
        self._waiting: deque[_Request] = deque()
        self._out: _Request | None = None
        self._left = 0
        self._sent_s = 0.0
        self._unanswered = 0

    @property
    def pending(self) -> bool:
        """Whether a reply is still to come."""
        return self._out is not None

    def has(self, letter: str) -> bool:
        """Whether such a request waits to be sent, or for its reply."""
        out = self._out
        return (out is not None and out.letter == letter) or any(one.letter == letter for one in self._waiting)

    @property
    def deaf(self) -> bool:
        """Whether the board has not answered for so many tries that it will not."""
        return self._unanswered >= DEAF_AFTER

    def add(self, letter: str, argument: int = 0, *, tries: int) -> None:
        """Send this once the ones before are done, `tries` times at most; what waits already is not asked twice."""
        request = _Request(letter, argument, tries)
        if request != self._out and request not in self._waiting:
            self._waiting.append(request)
        self._next()

    def take(self, message: Ack | Refusal) -> str:
        """The letter of the request that this replies to; empty where it replies to none."""
        out = self._out
        if out is None or message.tag != TAG or (isinstance(message, Ack) and message.command != out.letter):
            return ""
        self._unanswered = 0
        if isinstance(message, Refusal) and message.code == 0x01 and self._left > 0:  # it broke on the way
            self._again()
            return ""
        self._out = None
        self._next()
        return out.letter

    def heard(self, letter: str) -> None:
        """What the request was for has come: the board lives, and its reply need not be waited for."""
        self._unanswered = 0
        if self._out is not None and self._out.letter == letter:
            self._out = None
            self._next()

    def tick(self) -> None:
        """Look at the clock."""
        if self._out is None:
            self._next()
            return
        if self._clock() - self._sent_s < self._reply_s:
            return
        self._unanswered += 1
        if self._left > 0:
            self._again()
        else:
            self._out = None
            self._next()

    def clear(self) -> None:
        """Forget all: the line is a new one."""
        self._waiting.clear()
        self._out, self._unanswered = None, 0

    def _next(self) -> None:
        if self._out is None and self._waiting and not self.held:
            self._out = self._waiting.popleft()
            self._left = self._out.tries
            self._again()

    def _again(self) -> None:
        assert self._out is not None
        self._left -= 1
        self._sent_s = self._clock()
        self._send(encode_command(Command(self._out.letter, TAG, self._out.argument)) + b"\n")
