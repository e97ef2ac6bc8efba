"""A condition that must hold for some time to count, and be gone for some time to be over."""

from __future__ import annotations

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.columns import Bools, Ints


class Debounce:
    """On once the condition has held for `on_s`; off once it has been gone for `off_s`."""

    def __init__(self, on_s: float, off_s: float) -> None:
        self._on_us, self._off_us = round(on_s * 1e6), round(off_s * 1e6)
        self._absent, self._present = HoldLast(0), HoldLast(-(2**62))
        self._state, self._before = HoldLast(False), Previous(False)

    def push(self, board_us: Ints, condition: Bools, decided: Bools | None = None) -> tuple[Ints, Ints, Ints]:
        """Places in these frames where it goes on, where it goes off, and per frame since when (µs) it has held.

        Frames that are not `decided` say nothing: they neither count towards going on nor towards going off.
        """
        present = condition if decided is None else condition & decided
        if not self._state.last and not present.any():
            self._absent(board_us[-1:], ~present[-1:])
            none = np.empty(0, dtype=np.int64)
            return none, none, board_us
        since = self._absent(board_us, ~present)
        last = self._present(board_us, present if decided is None else condition | ~decided)
        on = present & (board_us - since >= self._on_us)
        off = board_us - last >= self._off_us
        state = self._state(on, on | off)
        before = self._before(state)
        return np.flatnonzero(state & ~before), np.flatnonzero(before & ~state), since
