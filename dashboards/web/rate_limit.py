"""How often somebody may do something: a bucket that fills again at a steady pace, one for each somebody."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

MOST_KEYS = 4096


class RateLimit:
    """`burst` things at once, and one more every `every_s` seconds, for each key.

    The keys used longest ago are forgotten when there are more than `most_keys`, and each once its bucket is full.
    """

    def __init__(
        self, burst: int, every_s: float, *, clock: Callable[[], float] = time.monotonic, most_keys: int = MOST_KEYS
    ) -> None:
        self._burst_s = burst * every_s
        self._every_s = every_s
        self._clock = clock
        self._most_keys = most_keys
        self._full_at: dict[str, float] = {}  # when the key's bucket is full again; the key used last stands last

    def __len__(self) -> int:
        """How many keys are remembered."""
        return len(self._full_at)

    def wait_s(self, key: str) -> float:
        """How many seconds `key` has to wait for the next one; 0 when it may now."""
        now = self._clock()
        return max(0.0, max(self._full_at.get(key, now), now) + self._every_s - self._burst_s - now)

    def take(self, key: str) -> float:
        """Take one if `key` may now, and return 0; otherwise the seconds to wait."""
        if wait := self.wait_s(key):
            return wait
        now = self._clock()
        self._full_at[key] = max(self._full_at.pop(key, now), now) + self._every_s
        self._forget(now)
        return 0.0

    def _forget(self, now: float) -> None:
        while self._full_at:
            oldest = next(iter(self._full_at))
            if self._full_at[oldest] > now and len(self._full_at) <= self._most_keys:
                return
            del self._full_at[oldest]


def retry_after(wait_s: float) -> tuple[bytes, bytes]:
    """The header that says how long to wait, in whole seconds (RFC 9110, 10.2.3)."""
    return b"retry-after", str(max(1, math.ceil(wait_s))).encode()
