"""Pulses that a board noticed and failed to count, put back where it says of which input they were (wire 1.1)."""

from __future__ import annotations

import numpy as np

from host.frames import Event
from host.pipeline.columns import Ints

_WRAP = 2**16


class LatePulses:
    """Reads the board's state lines. What was dropped before the first of them does not belong to the recording."""

    def __init__(self) -> None:
        self._boot: int | None = None
        self._said: dict[str, int] = {}
        self._to_come = {"flow": 0, "wheel": 0}  # for the next frame
        self.total = {"flow": 0, "wheel": 0}  # so far

    def push(self, n: int, events: list[Event]) -> dict[str, Ints]:
        """How many belong to each of `n` frames, by input; shape (n,) each."""
        late: dict[str, Ints] = {}
        for name, told in self._to_come.items():
            late[name] = np.zeros(n + 1, dtype=np.int64)
            late[name][0] = told
        for event in events:
            if event.kind == "board_state":
                self._take(event, late, min(event.before_frame, n))
        self._to_come = {name: int(counts[n]) for name, counts in late.items()}
        return {name: counts[:n] for name, counts in late.items()}

    def _take(self, event: Event, late: dict[str, Ints], place: int) -> None:
        boot, first = event.detail["boot"], self._boot is None
        for name, counts in late.items():
            said = int(event.detail[f"{name}_dropped"])
            before = said if first else self._said[name] if boot == self._boot else 0
            counts[place] += (said - before) % _WRAP
            self.total[name] += (said - before) % _WRAP
            self._said[name] = said
        self._boot = boot
