"""Notices that the computer, or this program on it, stood still for a while, and says so for a while."""

from __future__ import annotations

import time
from collections.abc import Callable

from host.events import pause_message

SAID_FOR_S = 600.0
LONGEST_STEP_S = 3.0  # the recorder looks at its work four times a second


def time_with_sleep() -> float:
    """A clock (s) that goes on while the computer sleeps, where the system has one; else the one that does not."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if clock is None else time.clock_gettime(clock)


class PauseWatch:
    """Looks at the clock at every step; `clock` is in seconds and counts sleep. `said` is what to tell now."""

    def __init__(self, clock: Callable[[], float] = time_with_sleep) -> None:
        self._clock = clock
        self._last = clock()
        self.said = ""
        self._said_until = self._last

    def look(self) -> float:
        """How long nothing was done since the last look (s), if that was longer than a step can take; else 0."""
        now = self._clock()
        paused, self._last = now - self._last, now
        if paused <= LONGEST_STEP_S:
            if now > self._said_until:
                self.said = ""
            return 0.0
        self.said, self._said_until = pause_message(paused), now + SAID_FOR_S
        return paused
