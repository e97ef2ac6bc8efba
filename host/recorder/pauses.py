"""Notices that the computer, or this program on it, stood still for a while."""

from __future__ import annotations

import time
from collections.abc import Callable

LONGEST_STEP_S = 3.0  # the recorder looks at its work four times a second


def time_with_sleep() -> float:
    """A clock (s) that goes on while the computer sleeps, where the system has one; else the one that does not."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if clock is None else time.clock_gettime(clock)


class PauseWatch:
    """Looks at the clock at every step; `clock` is in seconds and counts sleep."""

    def __init__(self, clock: Callable[[], float] = time_with_sleep) -> None:
        self._clock = clock
        self._last = clock()

    def look(self) -> float:
        """How long nothing was done since the last look (s), if that was longer than a step can take; else 0."""
        now = self._clock()
        paused, self._last = now - self._last, now
        return paused if paused > LONGEST_STEP_S else 0.0
