"""Rows that do not belong to known ground, put together into times: how much, how far, for how long, and why."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from host.pipeline.on_ground import Unassigned
from host.pipeline.rows import Why

_JOIN_S = 2.0
# Known ground may lie between two of these; dropped pulses are put back a report or more later, and belong together.
_ONE_BY_ONE = (Why.RESTART, Why.OTHER_COUNTS, Why.SILENCE)


class Apart:
    """Puts rows together into times, in order."""

    def __init__(self) -> None:
        self.found: list[Unassigned] = []
        self._last_us = -1  # board time at the end of the newest row

    def add(self, row: np.void, seconds: float, volume_m3: float, distance_m: float) -> None:
        """Add a row, with what of it is not assigned; one that follows another of its kind joins it."""
        why = Why(int(row["why"])) or Why.SWITCH_OPEN
        end_s = float(row["host_s"])
        start_s = end_s - float(row["step_s"])  # the board's clock may be off
        follows = why not in _ONE_BY_ONE or int(row["us"] - row["step_us"]) == self._last_us
        self._last_us = int(row["us"])
        before = self.found[-1] if self.found else None
        if before is not None and before.why == why and follows and start_s - before.end_s < _JOIN_S:
            self.found[-1] = replace(
                before,
                end_s=end_s,
                volume_m3=before.volume_m3 + volume_m3,
                distance_m=before.distance_m + distance_m,
                seconds=before.seconds + seconds,
            )
            return
        self.found.append(Unassigned(why, start_s, end_s, volume_m3, distance_m, seconds))

    def unheard(self, last_s: float, end_s: float) -> None:
        """From the last report on nothing came, and nobody knows what was sprayed."""
        self.found.append(Unassigned(Why.UNHEARD, last_s, end_s, math.nan, math.nan, end_s - last_s))
