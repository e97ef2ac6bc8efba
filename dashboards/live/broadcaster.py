"""The newest message and the screens that wait for it.

One thread publishes; any number of screens on the server's event loop each take the newest when they are ready. A slow
screen skips what it missed: old numbers are worth nothing to the person walking.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from dashboards.live.figures import Figures


class Broadcaster:
    """Holds one message. `boot` tells one start of the server from the next; `seq` counts the messages.

    A message that stands for several reports counts as so many, so that a screen that got it has missed the others.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic, boot: str | None = None) -> None:
        self.boot = boot or secrets.token_hex(4)
        self._clock = clock
        self._lock = threading.Lock()
        self._seq = 0
        self._body = "{}"
        self._trace: list[Any] = []
        self._read_at: float | None = None
        self._figures = Figures()
        self._mailboxes: set[Mailbox] = set()

    def publish(
        self,
        row: dict[str, Any],
        trace: list[Any],
        read_at: float | None,
        reports: int = 1,
        figures: Figures | None = None,
    ) -> None:
        """Make `row` the newest message; `figures` are the same for programs.

        `read_at` is when the newest report was read, on this object's clock: it does not move when only the state of
        the recording has changed, so that a screen can tell fresh numbers from a repeated message.
        """
        body = json.dumps(row, separators=(",", ":"), ensure_ascii=False)
        with self._lock:
            self._seq += max(reports, 1)
            self._body, self._trace, self._read_at = body, trace, read_at
            self._figures = figures or Figures()
            mailboxes = list(self._mailboxes)
        for mailbox in mailboxes:
            mailbox.ring()

    def message(self, with_trace: bool) -> str:
        """JSON text of the newest message, its age counted up to now."""
        with self._lock:
            seq, body, trace, read_at = self._seq, self._body, self._trace, self._read_at
        age = "null" if read_at is None else str(max(0, round(1000 * (self._clock() - read_at))))
        history = f',"trace":{json.dumps(trace, separators=(",", ":"))}' if with_trace else ""
        return f'{{"boot":"{self.boot}","seq":{seq},"age_ms":{age},"row":{body}{history}}}'

    def figures(self) -> tuple[Figures, float | None]:
        """The newest numbers, and how old they are in seconds; None when there was no report."""
        with self._lock:
            figures, read_at = self._figures, self._read_at
        return figures, None if read_at is None else max(0.0, self._clock() - read_at)

    def open_mailbox(self) -> Mailbox:
        """A mailbox for one screen; call on the event loop that will wait on it."""
        mailbox = Mailbox(asyncio.get_running_loop())
        with self._lock:
            self._mailboxes.add(mailbox)
        return mailbox

    def close_mailbox(self, mailbox: Mailbox) -> None:
        """The screen has gone."""
        with self._lock:
            self._mailboxes.discard(mailbox)

    @property
    def seq(self) -> int:
        """Sequence number of the newest message."""
        return self._seq

    @property
    def screens(self) -> int:
        """How many screens are connected."""
        return len(self._mailboxes)


class Mailbox:
    """Says that there is something newer. It holds no message: whoever wakes takes the newest from `Broadcaster`."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._rung = asyncio.Event()
        self._rung.set()  # a screen that has just come gets the newest at once

    def ring(self) -> None:
        """Wake the screen that waits (thread-safe)."""
        with suppress(RuntimeError):  # the loop has ended: nobody is left to wake
            self._loop.call_soon_threadsafe(self._rung.set)

    async def wait(self, timeout_s: float) -> None:
        """Until something newer is there, or `timeout_s` has passed."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._rung.wait(), timeout_s)
        self._rung.clear()
