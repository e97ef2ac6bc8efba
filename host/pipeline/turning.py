"""The wheel's speed over its last whole turn."""

from __future__ import annotations

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.columns import Floats, Ints
from host.pipeline.counts import Counts
from host.pipeline.pulses import Pulsing

_SLACK = 1.5  # of a pulse's time: a late pulse is not taken for slowing down at once


class TurnSpeed:
    """Frequency of the wheel's pulses over one whole turn, in which magnets glued on unevenly make no difference.

    After a stop or a restart of the board it is taken over the pulses since then, until they make a turn.
    """

    def __init__(self, pulses_per_turn: int) -> None:
        self._turn = max(pulses_per_turn, 1)
        self._stopped_before = Previous(True)
        self._first, self._held = HoldLast(0), HoldLast(0.0)
        # The pulses that a turn may still reach back to: their number, and when they came.
        self._number: Ints = np.empty(0, dtype=np.int64)
        self._edge = np.empty(0)

    def push(self, counts: Counts, wheel: Pulsing) -> Floats:
        """Hz on the board's clock in each frame, shape (n,); `wheel` is what its edges say one by one."""
        pulses = counts.wheel
        stopped = counts.broken | (wheel.frequency_hz <= 0)
        setting_off = pulses.timed & self._stopped_before(stopped)
        first = self._first(pulses.total, setting_off | stopped)
        timed = pulses.timed & ~counts.broken
        number = np.concatenate((self._number, pulses.total[timed]))
        edge = np.concatenate((self._edge, pulses.edge_us[timed].astype(np.float64)))
        over = np.minimum(self._turn, pulses.total - first)
        known = timed & ~stopped & (over > 0)
        hz = np.zeros(len(over))
        begin = np.interp(pulses.total[known] - over[known], number, edge) if known.any() else np.empty(0)
        hz[known] = over[known] * 1e6 / np.maximum(pulses.edge_us[known] - begin, 1.0)
        if len(number):
            kept = max(int(np.searchsorted(number, number[-1] - self._turn)) - 1, 0)
            self._number, self._edge = number[kept:], edge[kept:]
        held = self._held(hz, known | stopped)
        bound = _SLACK * 1e6 / np.maximum(wheel.idle_us, 1.0)
        turning = np.where(known, held, np.minimum(held, bound))
        return np.where(stopped, 0.0, np.where(held > 0, turning, wheel.frequency_hz))
