"""How long ago the board made the report that came last before it restarted: its own clock knows.

Lines wait where the way to the computer is blocked, and a board may send its last report once more after it has started
again (PROTOCOL.md section 8). Such a report arrives late, and the time that the board was down begins when it was made.
"""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Bools, Ints

_KEPT = 100  # reports before it, 5 s at 50 ms: among them some came in time
_PUNCTUAL_US = 250_000  # less is the computer's own hiccup


class Lateness:
    """Compares time between arrivals with time on the board's clock, from one start of the board to the next."""

    def __init__(self) -> None:
        self._behind: Ints = np.zeros(0, dtype=np.int64)  # µs, of the newest reports of this start

    def push(self, host_us: Ints, step_us: Ints, continues: Bools) -> Ints:
        """For frames that do not continue: how late the one before was, µs, shape (n,); 0 for all others.

        `host_us` and `step_us` are times since the frame before, on the host's clock and on the board's.
        """
        late = np.zeros(len(continues), dtype=np.int64)
        place = 0
        for start in [*np.flatnonzero(~continues).tolist(), len(continues)]:
            behind = np.cumsum((host_us - step_us)[place:start])
            if len(self._behind):
                behind = behind + self._behind[-1]
            self._behind = np.concatenate((self._behind, behind))[-_KEPT:]
            if start < len(continues):
                if len(self._behind):
                    by = int(self._behind[-1] - self._behind.min())
                    late[start] = by if by >= _PUNCTUAL_US else 0
                self._behind = np.zeros(1, dtype=np.int64)
            place = start + 1
        return late
